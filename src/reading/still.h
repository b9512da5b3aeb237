/* What stands still in the strips (strips.h) draws every match towards no movement, so its mean over time is taken out; but only where the
 * strip changes, for what hardly moves is its own mean. */
#ifndef SL_READING_STILL_H
#define SL_READING_STILL_H

#include "core/arena.h"
#include "reading/motion_table.h"

#include <stdbool.h>

/* Both change `value` [frames][STRIP_ROWS][SL_BEAMS] in place; `use` [SL_BEAMS] is 1 for beams that are looked at. Memory of the arena. */

/* Of the lung's rows, beam by beam: the share of the power that the mean holds, over neighbouring beams (copies of the wall and clutter lie
 * under parts of a lung that slides). What was taken out, [STRIP_LUNG_ROWS][SL_BEAMS]; NULL when memory is out. */
const float *sl_still_lung(const float *use, int frames, sl_arena *arena, float *value);

/* Of the wall's rows, everywhere alike, since the wall moves as one: what is fixed to the probe (side lobes, a layer that shines where it lies
 * across the beam) hides in some places that the rest moves. How much is told by the places that change most; noise, which neighbouring
 * frames do not share, does not count as change. False when memory is out. */
bool sl_still_wall(int frames, sl_arena *arena, float *value);

#endif
