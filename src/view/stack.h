/* Straightened frames: beam x depth instead of x, y.
 *
 * A grid of SL_BEAMS beams by SL_DEPTHS depths over the view; cell (depth row i, beam j) is the bilinear
 * sample at beam (j + 0.5)/SL_BEAMS, depth (i + 0.5)/SL_DEPTHS. Rows are depths, so that a row of
 * neighbouring beams is contiguous. The table of source pixels and weights is computed once a clip. */
#ifndef SL_VIEW_STACK_H
#define SL_VIEW_STACK_H

#include "core/arena.h"
#include "core/error.h"
#include "core/image.h"
#include "view/view.h"

#include <stdbool.h>
#include <stdint.h>

enum {
    SL_BEAMS = 128,
    SL_DEPTHS = 256,
    SL_CELLS = SL_BEAMS * SL_DEPTHS,
    SL_STACK_MOST = 600 /* frames held at once; a longer clip is read in segments of this length */
};

typedef struct sl_straightener sl_straightener;

sl_status sl_straightener_new(const sl_view *view, sl_straightener **straightener, sl_error *error);
/* `cell` has SL_CELLS bytes. Cells outside the picture become 0. */
void sl_straighten(const sl_straightener *straightener, sl_gray frame, uint8_t *cell);
/* SL_CELLS bytes, 1 = inside the picture. Owned by the straightener. */
const uint8_t *sl_straightener_mask(const sl_straightener *straightener);
void sl_straightener_free(sl_straightener **straightener);

/* A segment of a clip, straightened. Black frames and exact or near copies of the frame before are left out
 * (filmed or re-encoded screens repeat frames); `source` says which frames of the file remain. */
typedef struct sl_stack {
    int frames, most;    /* held; room for */
    uint8_t *cell;       /* [frame][depth][beam] */
    double *time_s;      /* of each frame, NAN when times are not known */
    int *source;         /* index of each frame in the file */
    const uint8_t *mask; /* [depth][beam], of the straightener */
    const sl_view *view;
    bool times_known;
    double frame_s; /* median time between kept frames, NAN when unknown */
    int dropped_black, dropped_copies;
    double *level;   /* mean grey of each frame inside the picture */
    double *change;  /* mean change from the frame kept before, grey levels; NAN for the first */
    double *scratch; /* room for settling */
} sl_stack;

/* Room for `most` frames (at most SL_STACK_MOST) from the arena. */
sl_status sl_stack_new(sl_arena *arena, const sl_straightener *straightener, const sl_view *view, int most,
                       sl_stack *stack, sl_error *error);
/* Straightens and adds a frame (straightened at once; the picture is not needed afterwards). False when the
 * stack is full: settle and read it, then begin the next segment. */
bool sl_stack_add(sl_stack *stack, const sl_straightener *straightener, const sl_frame *frame);
/* Marks what is black or a copy and closes the gaps; call once before reading. */
void sl_stack_settle(sl_stack *stack);
/* Brings the grey levels of a settled stack to one grey map, so that what is measured does not hang on the scanner's map
 * or the display's gamma: v' = 255 (v / 255)^gamma with gamma such that the clip's brighter quantiles have a fixed mean
 * logarithm. Quantiles follow any power law exactly, so a clip and its gamma-altered copy become the same up to rounding.
 * Returns gamma. For reading only: pictures that people see keep their levels. `level` and `change` stay those of the old levels. */
double sl_stack_level_grey(sl_stack *stack);

static inline const uint8_t *sl_stack_frame(const sl_stack *stack, int frame)
{
    return stack->cell + (size_t)frame * SL_CELLS;
}

/* The mean of frames first .. last - 1 into `mean`, SL_CELLS of them. */
void sl_stack_mean(const sl_stack *stack, int first, int last, float *restrict mean);

#endif
