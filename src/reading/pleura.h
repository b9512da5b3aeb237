/* The pleural line of a clip, to a fraction of a cell, over beams and time.
 *
 * Rows are in cells of the straightened stack, row 0 at the centre of the first cell: the depth as a fraction
 * of the imaged depth is (row + 0.5) / SL_DEPTHS, the beam coordinate of beam j is (j + 0.5) / SL_BEAMS.
 *
 * How: every cell is scored by how much it looks like the last interface that sound passes (see
 * pleura_table.h); dynamic programming finds the line of best score over all beams at once, first for the
 * clip, then for blocks of about 160 ms with a pull towards the clip's line. Rib beams carry the line on, so
 * that it is one curve across the picture; beams.kind says where it was seen. */
#ifndef SL_READING_PLEURA_H
#define SL_READING_PLEURA_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/beams.h"
#include "view/stack.h"

#include <stdbool.h>

enum { SL_PLEURA_SCENE = 6 };

typedef struct sl_pleura {
    bool seen; /* `found` is above the table's threshold; the rest is filled as far as it could be anyway */
    double found;         /* 0..1: probability that `line` is the pleura where one is in the picture; no more than `shown` when out of view */
    double right;         /* 0..1: the same, with how surely one is in the picture: what is stated */
    float line[SL_BEAMS]; /* the clip's line, rows; carried on over ribs; NAN outside and without contact */
    float sure[SL_BEAMS]; /* 0..1: how far the beam's row stands out from the other rows it could be */
    sl_beams beams;
    double clear; /* 0..1: mean of `sure` over the spaces */
    double shown; /* 0..1: probability that the picture shows a pleura at all; 0 where nothing was looked at */
    double scene[SL_PLEURA_SCENE]; /* what `shown` rests on (pleura_scene.h) */
    bool out_of_view; /* `shown` is so low, or as low as not and the line unlikely, that nothing is read from it: `seen` is false whatever it looks like */
    double depth; /* fraction of the imaged depth: median over the beams of the spaces; NAN when there are
                     none */
    double depth_low, depth_high; /* its 95 % interval, over beams and blocks */
    int blocks;                   /* at least 1 for a stack with a frame */
    int block_frames;             /* frames in a block; the last one may hold fewer */
    const float *row;  /* [blocks][SL_BEAMS] rows of the line in each block, NAN as in `line`; arena */
    const float *mean; /* [SL_DEPTHS][SL_BEAMS] mean grey of the clip, for others who need it; arena */
    const float *change; /* the same of the difference between neighbouring frames; NULL for a still */
} sl_pleura;

/* Finds the line. An empty or black stack is no error: `seen` is false, `found` 0, rows NAN. SL_MEMORY when
 * the arena cannot give room. A stack of one frame (a still picture) works, without the signs from movement.
 */
sl_status sl_pleura_find(const sl_stack *stack, sl_arena *arena, sl_pleura *pleura, sl_error *error);

/* "" when the line was seen, else why not: a clause for a person. */
const char *sl_pleura_unseen(bool seen, bool out_of_view);

/* Row of the line in `frame` of the stack at `beam`, interpolated between the middles of the blocks; NAN
 * where none. */
double sl_pleura_row_at(const sl_pleura *pleura, int frame, int beam);

/* The line in `frame` as (beam, depth) pairs in beam coordinates 0..1, beams without it left out; both arrays
 * hold SL_BEAMS. Returns the number of points. */
int sl_pleura_line_at(const sl_pleura *pleura, int frame, double *beam, double *depth);

#endif
