/* Values of which some count more. */
#ifndef SL_CORE_WEIGHED_H
#define SL_CORE_WEIGHED_H

#include "core/units.h"

#include <stdlib.h>

typedef struct sl_weighed {
    double value, weight; /* weight >= 0 */
} sl_weighed;

static inline int sl_by_weighed_value(const void *a, const void *b)
{
    double x = ((const sl_weighed *)a)->value, y = ((const sl_weighed *)b)->value;
    return (x > y) - (x < y);
}

/* The value below which the share `share` (0..1) of the weight lies; NAN of none. Sorts `v`; no value may be NAN. */
static inline double sl_weighted_quantile(sl_weighed *v, int n, double share)
{
    double all = 0, sum = 0;
    for (int i = 0; i < n; i++)
        all += v[i].weight;
    qsort(v, (size_t)n, sizeof *v, sl_by_weighed_value);
    for (int i = 0; i < n; i++)
        if ((sum += v[i].weight) >= share * all)
            return v[i].value;
    return n ? v[n - 1].value : SL_UNKNOWN;
}

#endif
