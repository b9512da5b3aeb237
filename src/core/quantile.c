#include "core/quantile.h"

#include "core/order.h"
#include "core/units.h"

#include <stdlib.h>

int sl_sort_known(double *value, int count)
{
    int known = 0;
    for (int i = 0; i < count; i++)
        if (sl_known(value[i]))
            value[known++] = value[i];
    if (known > 1)
        qsort(value, (size_t)known, sizeof *value, sl_by_double);
    return known;
}

double sl_quantile_sorted(const double *sorted, int count, double share)
{
    if (count < 1)
        return SL_UNKNOWN;
    double at = share * (count - 1);
    int low = (int)at;
    return low + 1 < count ? sorted[low] + (at - low) * (sorted[low + 1] - sorted[low]) : sorted[count - 1];
}

double sl_quantile(double *value, int count, double share)
{
    return sl_quantile_sorted(value, sl_sort_known(value, count), share);
}

double sl_quantile_nearest(double *value, int count, double share)
{
    int known = sl_sort_known(value, count);
    return known ? value[(int)(share * (known - 1) + 0.5)] : SL_UNKNOWN;
}
