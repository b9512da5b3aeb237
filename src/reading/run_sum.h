/* Running sums down a beam of SL_DEPTHS rows, and the mean of rows by them. */
#ifndef SL_READING_RUN_SUM_H
#define SL_READING_RUN_SUM_H

#include "view/stack.h"

/* `sum` holds SL_DEPTHS + 1. */
static inline void sl_add_up(const float *value, float *sum)
{
    sum[0] = 0;
    for (int r = 0; r < SL_DEPTHS; r++)
        sum[r + 1] = sum[r] + value[r];
}

/* Of rows first..last, as far as they lie in the beam; 0 where none does. */
static inline float sl_mean_of(const float *sum, int first, int last)
{
    first = first < 0 ? 0 : first;
    last = last >= SL_DEPTHS ? SL_DEPTHS - 1 : last;
    return last >= first ? (sum[last + 1] - sum[first]) / (float)(last + 1 - first) : 0;
}

#endif
