/* Chests by chance that differ in how their lung moves, and their way through the reader up to the straightened stack, in
 * memory. Invented; the ranges are those of adults in the ward (common practice, no source). */
#ifndef TESTS_LOOP_MOVING_CHESTS_H
#define TESTS_LOOP_MOVING_CHESTS_H

#include "chest/chest.h"
#include "chest/scenario.h"
#include "view/stack.h"

typedef enum moving_kind {
    MOVING_SLIDES,     /* 2 to 14 mm with breathing */
    MOVING_STILL,      /* breathes, the lung stuck to the wall; or does not breathe */
    MOVING_PULSE,      /* no sliding, moved by the heart */
    MOVING_AIR,        /* free air under the whole picture */
    MOVING_LUNG_POINT, /* free air under a part of it, its edge travelling with breathing */
    MOVING_CURTAIN,    /* lung comes over liver or spleen */
    MOVING_MIXED,      /* those above are drawn by turns where no kind is named */
    MOVING_DOME = MOVING_MIXED, /* the diaphragm's dome from below, quiet, deep or a sniff */
    MOVING_WALL,       /* the diaphragm where it lies on the wall, by a linear probe */
    MOVING_DOME_STILL, /* the dome does not move */
    MOVING_BASE_STILL, /* lung and organ side by side, the lung's edge stands still */
    MOVING_LAGS,       /* slides, but comes before or after the chest's own movement */
    MOVING_KINDS
} moving_kind;

extern const char *const moving_names[MOVING_KINDS];

void moving_scenario(moving_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *scenario);

/* All pictures of a chest straightened in the view that the reader finds, with its scale; not yet settled. `cell` is
 * [frame][SL_CELLS], of malloc; moving_capture_free. False with a sentence in `why` when no view is found. */
typedef struct moving_capture_of {
    sl_view view;
    int frames;
    double frame_rate_hz;
    uint8_t *cell;
    char why[512];
} moving_capture_of;

bool moving_capture(sl_chest *chest, int most_frames, moving_capture_of *kept);
/* To a file and back, so that chests need to be rendered once; view, rate and pictures as they are in memory. */
void moving_capture_save(const moving_capture_of *kept, const char *path);
bool moving_capture_load(const char *path, moving_capture_of *kept);
/* From `path` where it was kept, else made and kept there; `path` "": made. */
bool moving_capture_once(sl_chest *chest, int most_frames, const char *path, moving_capture_of *kept);
void moving_capture_free(moving_capture_of *kept);

/* Every `every`-th picture as a stack that is ready to be read. */
typedef struct moving_clip {
    sl_view view;
    sl_straightener *straightener;
    sl_stack stack;
    char why[512];
} moving_clip;

bool moving_every(const moving_capture_of *kept, int every, sl_arena *arena, moving_clip *clip);
/* Both at once. */
bool moving_render(sl_chest *chest, int every, int most_frames, sl_arena *arena, moving_clip *clip);
void moving_clip_free(moving_clip *clip);

#endif
