/* A bright line that lies across many beams and moves along them as a whole: found and followed through the frames.
 *
 * Each cell is scored by how far it stands out from what lies above and below it. The line is rows s(group of beams) + m(frame):
 * its course comes by dynamic programming over the groups, its movement by dynamic programming over the frames, one after the
 * other until both agree, from several frames to begin with; the fraction of a row from the mean profile about it. */
#ifndef SL_READING_RIDGE_H
#define SL_READING_RIDGE_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/diaphragm_table.h"
#include "view/stack.h"

#include <stdbool.h>

typedef struct sl_ridges { /* scores, [frames][RIDGE_GROUPS][SL_DEPTHS]; -1 outside the picture */
    int frames;
    const float *value;
    bool inside[RIDGE_GROUPS][SL_DEPTHS];
} sl_ridges;

typedef struct sl_ridge_search {
    int first_row, last_row;   /* where the line may lie */
    int reach;                 /* rows it may move from where it lies in the frame it was found in, at most SL_DEPTHS / 2 */
    int step;                  /* rows from frame to frame */
} sl_ridge_search;

typedef struct sl_ridge {
    float row[RIDGE_GROUPS];      /* its course on the clip's mean; NAN where it is not seen */
    float strength[RIDGE_GROUPS]; /* mean score along its path, grey levels */
    double *moved;                /* [frames] rows deeper than there; arena */
    int best;                     /* group where it is clearest */
    int seen;                     /* groups in the run around it that are at least DOME_STRONG as clear */
    double level;                 /* mean strength of these */
} sl_ridge;

/* `half` rows on either side of a cell belong to the line, `away` rows off it is compared with. */
sl_status sl_ridges_score(const sl_stack *stack, int half, int away, sl_arena *arena, sl_ridges *ridges, sl_error *error);
/* The strongest such line; `best` is -1 when there is none. */
sl_status sl_ridge_follow(const sl_ridges *ridges, const sl_ridge_search *search, sl_arena *arena, sl_ridge *ridge,
                          sl_error *error);

#endif
