/* What behind.c, mirror.c and spine.c share. Groups are those of ridge.h, of four beams each. */
#ifndef SL_READING_BEHIND_PARTS_H
#define SL_READING_BEHIND_PARTS_H

#include "reading/behind.h"
#include "reading/ridge.h"
#include "reading/run_sum.h"
#include "reading/spine_table.h"

#include <math.h>

enum { GROUPS = RIDGE_GROUPS, GROUP_BEAMS = SL_BEAMS / RIDGE_GROUPS };

/* Of the frames looked at: ln grey by group and row, and by cell freed of what changes slowly or runs across the beams. */
typedef struct sl_looked {
    int frames, index[BEHIND_FRAMES];
    float (*group)[GROUPS][SL_DEPTHS];
    float *grain[BEHIND_FRAMES];
} sl_looked;

/* The deep bright line. */
typedef struct sl_deep {
    int row[GROUPS];
    float score[GROUPS], shade[GROUPS]; /* ln: how far it stands out there; how much darker it is beyond than before */
    double wide, bent, clear;           /* share of the groups that show it; rows about its straight course; mean score */
} sl_deep;

/* Row of the line in the t-th frame looked at; -1 where it is not seen. */
static inline int sl_line_at(const sl_ridge *ridge, int t, int g)
{
    return isfinite(ridge->row[g]) ? (int)lrint((double)ridge->row[g] + ridge->moved[t]) : -1;
}

/* Fills image, chance and image_sd; `least` is the first row that lies in the chest. */
void sl_mirror_measure(const sl_looked *looked, const sl_ridge *ridge, int least, sl_behind *behind);
bool sl_spine_find(const sl_stack *stack, const sl_looked *looked, double row_mm, sl_arena *arena, sl_deep *deep);

#endif
