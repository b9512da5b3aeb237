/* The simulator: a chest, a probe and its controls -> a clip and its true reading. See scenario.h for what a
 * scenario holds; the physics is described in docs/simulator.md. */
#ifndef SL_CHEST_CHEST_H
#define SL_CHEST_CHEST_H

#include "core/arena.h"
#include "core/error.h"
#include "core/image.h"
#include "reading/reading.h"
#include "view/view.h"

typedef struct sl_scenario sl_scenario; /* scenario.h */
typedef struct sl_chest sl_chest;

/* Prepares a chest for imaging (fields, tables). The scenario must outlive it. */
sl_status sl_chest_new(const sl_scenario *scenario, sl_chest **chest, sl_error *error);
/* The same, taking over what depends on the seed alone from `like` (may be NULL) where it has the same seed: most of the
 * work when only a control was turned. The chest made is as if by sl_chest_new(). */
sl_status sl_chest_new_like(const sl_scenario *scenario, const sl_chest *like, sl_chest **chest, sl_error *error);
int sl_chest_frames(const sl_chest *chest);
double sl_chest_frame_rate_hz(const sl_chest *chest);
/* Size of the scan-converted picture and its exact geometry, with scale. */
void sl_chest_view(const sl_chest *chest, sl_view *view);
/* Frame `index` as the scanner would show it; the picture is owned by the chest until the next call. Frames may be
 * asked for in any order; the same scenario gives the same bytes. */
sl_status sl_chest_frame(sl_chest *chest, int index, sl_gray *picture, sl_error *error);
/* What is true, from geometry, never from the picture. */
sl_reading *sl_chest_truth(sl_chest *chest, sl_arena *arena);
/* How many threads a frame may use (default: all cores); the bytes are the same. */
void sl_chest_workers(sl_chest *chest, int workers);
void sl_chest_free(sl_chest **chest);

#endif
