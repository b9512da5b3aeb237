/* Two strips a frame, flattened along the pleural line and freed of everything that does not change along the beams: the
 * line with what hangs on it (lung), and the chest wall just above it (wall). Where the strips lie follows the line's
 * mean path, so that a pleura that rises and falls with breathing stays in its strip. */
#ifndef SL_READING_STRIPS_H
#define SL_READING_STRIPS_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/motion_table.h"
#include "reading/pleura.h"
#include "view/stack.h"

typedef struct sl_strips {
    int frames;
    const float *value;    /* [frames][STRIP_ROWS][SL_BEAMS], lung rows first; 0 where lit is 0 */
    const float *still;    /* [STRIP_LUNG_ROWS][SL_BEAMS] what was taken out of every frame's lung rows */
    float use[SL_BEAMS];   /* 1 for beams of a space that lie in the picture */
    float lit[SL_BEAMS];   /* and for those beside them where the line goes on over darkness, as it does over free air */
    float line[SL_BEAMS];  /* rows of the clip's mean line, NAN where there is none; beside a space, of the straight one where that was followed */
    const float *rise;     /* [frames] rows the line lies deeper than on the clip's mean line */
    double lung_depth, wall_depth; /* of the line (what is drawn below it lies further down the same beams and goes sideways with it) and of
                                     the wall's strip's middle, share of the imaged depth */
} sl_strips;

sl_status sl_strips_cut(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_strips *strips, sl_error *error);

static inline const float *sl_strip_lung(const sl_strips *strips, int frame)
{
    return strips->value + (size_t)frame * STRIP_ROWS * SL_BEAMS;
}

static inline const float *sl_strip_wall(const sl_strips *strips, int frame)
{
    return sl_strip_lung(strips, frame) + STRIP_LUNG_ROWS * SL_BEAMS;
}

#endif
