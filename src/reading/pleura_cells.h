/* The signs of the pleural line, cell by cell: what each cell of the straightened picture would look like if
 * the line ran through it. The signs are dimensionless and free of gain; pleura_weights.h joins them into a
 * log-likelihood.
 *
 * Why these: above the pleura lie layers and speckle of the chest wall, below it only what the air sends back
 * (copies of the wall, verticals, or nothing), so texture along the beam ends there, grey falls, columns
 * begin, and what lies below moves and flickers otherwise than the wall (../shared/evidence sheet, steps 4
 * and "ideas not tried yet"). */
#ifndef SL_READING_PLEURA_CELLS_H
#define SL_READING_PLEURA_CELLS_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/pleura.h"
#include "view/stack.h"

#include <stdbool.h>
#include <stdint.h>

enum {
    PLEURA_LEVEL,      /* log of grey above over grey below */
    PLEURA_LAYERS,     /* log of texture along the beam above over below, each per grey */
    PLEURA_TEXTURE,    /* log of texture below per grey */
    PLEURA_CHANGE,     /* log of change over time above over below, each per grey */
    PLEURA_SHARE,      /* grey here over the most in the beam */
    PLEURA_RIVAL_UP,   /* log of the strongest ridge above over the ridge here */
    PLEURA_RIVAL_DOWN, /* the same below */
    PLEURA_COLUMNS,    /* 0..1: how far the pattern across beams stays the same over depth, below */
    PLEURA_COLUMNS_UP, /* the same above */
    PLEURA_DEPTH,      /* fraction of the imaged depth */
    PLEURA_DEPTH_SQUARED,
    PLEURA_ONSET, /* rise of grey on the way down */
    PLEURA_SIGNS
};

/* Planes of [SL_DEPTHS][SL_BEAMS] (sums have one row more), made once a clip in the arena and filled again
 * and again. */
typedef struct sl_pleura_cells {
    float *grey; /* mean over five beams, in units of the wall's level */
    float *sum_grey, *sum_texture, *sum_change, *sum_pattern, *sum_pattern2; /* running sums down each beam */
    float *ridge, *rival_up, *rival_down;
    float most[SL_BEAMS]; /* largest grey of each beam where the line may lie */
    float level;          /* grey levels: the unit */
    bool moving;          /* changes over time are known */
} sl_pleura_cells;

/* false when memory is out */
bool sl_pleura_cells_new(sl_arena *arena, sl_pleura_cells *cells);

/* The unit of grey: the 80th percentile of `mean` inside the mask where the line may lie; 0 for a black
 * picture. */
float sl_pleura_level(const float *mean, const uint8_t *mask);

/* The mean change from frame to frame, running sums; call before the next one, once a clip. `change`: mean
 * absolute difference of neighbouring frames in grey levels, NULL for a still. */
void sl_pleura_cells_change(sl_pleura_cells *cells, const float *change, float level);

/* Everything else from a mean picture. */
void sl_pleura_cells_fill(sl_pleura_cells *cells, const float *mean);

/* The signs of a row of cells. */
void sl_pleura_signs(const sl_pleura_cells *cells, int row, float sign[PLEURA_SIGNS][SL_BEAMS]);

/* sl_pleura_find with other weights than pleura_weights.h (PLEURA_SIGNS of them), for fitting and its
 * cross-validation. */
sl_status sl_pleura_find_weighted(const sl_stack *stack, const float *weight, sl_arena *arena,
                                  sl_pleura *pleura, sl_error *error);

#endif
