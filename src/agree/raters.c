#include "agree/raters.h"
#include "core/order.h"

#include <stdlib.h>

/* Readers an item, or 0 when they differ or are fewer than two. */
static double readers_of(const double *counts, int items, int classes)
{
    double readers = 0;
    for (int i = 0; i < items; i++) {
        double sum = 0;
        for (int c = 0; c < classes; c++)
            sum += counts[i * classes + c];
        if (i && sum != readers)
            return 0;
        readers = sum;
    }
    return readers >= 2 ? readers : 0;
}

static double item_agreement(const double *item, int classes, double readers)
{
    double squares = 0;
    for (int c = 0; c < classes; c++)
        squares += item[c] * item[c];
    return (squares - readers) / (readers * (readers - 1));
}

sl_fleiss sl_fleiss_kappa(const double *counts, int items, int classes)
{
    sl_fleiss result = {sl_undefined("needs the same two or more readers for every case"), SL_UNKNOWN, SL_UNKNOWN,
                        SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN};
    double n = readers_of(counts, items, classes);
    if (items < 1 || classes < 1 || n == 0)
        return result;
    double observed = 0, expected = 0, pq = 0, skew = 0;
    for (int i = 0; i < items; i++)
        observed += item_agreement(counts + i * classes, classes, n);
    observed /= items;
    for (int c = 0; c < classes; c++) {
        double p = 0;
        for (int i = 0; i < items; i++)
            p += counts[i * classes + c];
        p /= items * n;
        expected += p * p;
        pq += p * (1 - p);
        skew += p * (1 - p) * (1 - 2 * p);
    }
    result.observed = observed;
    result.expected = expected;
    if (1 - expected < 1e-12) {
        result.kappa.why = "all cases fall in one class, so chance alone gives full agreement";
        return result;
    }
    double kappa = (observed - expected) / (1 - expected);
    result.kappa = sl_point(kappa);
    double root = pq * pq - skew;
    if (root > 1e-18) {
        result.se0 = sqrt(2.0) / (pq * sqrt(items * n * (n - 1))) * sqrt(root);
        result.z = kappa / result.se0;
        result.p = sl_normal_two_sided(result.z);
    }
    double spread = 0;
    for (int i = 0; i < items; i++) {
        const double *item = counts + i * classes;
        double part = 0; /* sum over classes of the item's share times the overall share */
        for (int c = 0; c < classes; c++) {
            double p = 0;
            if (item[c] == 0)
                continue;
            for (int j = 0; j < items; j++)
                p += counts[j * classes + c];
            part += item[c] / n * (p / (items * n));
        }
        double one = (item_agreement(item, classes, n) - expected) / (1 - expected) -
                     2 * (1 - kappa) * (part - expected) / (1 - expected) - kappa;
        spread += one * one;
    }
    if (items > 1 && spread > 1e-15) {
        double t = sl_level_t(items - 1);
        result.kappa.se = sqrt(spread / ((double)items * (items - 1)));
        result.kappa.low = fmax(-1, kappa - t * result.kappa.se);
        result.kappa.high = fmin(1, kappa + t * result.kappa.se);
    } else {
        result.kappa.why = "no interval: no spread among the cases";
    }
    return result;
}

sl_estimate sl_free_marginal_kappa(const double *counts, int items, int classes)
{
    double n = readers_of(counts, items, classes), observed = 0;
    if (items < 1 || classes < 2 || n == 0)
        return sl_undefined("needs two classes and the same two or more readers for every case");
    for (int i = 0; i < items; i++)
        observed += item_agreement(counts + i * classes, classes, n);
    observed /= items;
    return sl_point((observed - 1.0 / classes) / (1 - 1.0 / classes));
}

static int find_value(const double *sorted, int count, double wanted)
{
    int low = 0, high = count - 1;
    while (low < high) {
        int middle = (low + high) / 2;
        if (sorted[middle] < wanted)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Squared difference of the values at places i < j. `below[i]` is the number of values at places before i. */
static double squared_difference(sl_metric metric, const double *level, const double *marginal, const double *below,
                                 int i, int j)
{
    double d;
    switch (metric) {
    case SL_NOMINAL:
        return 1;
    case SL_ORDINAL:
        d = below[j] + marginal[j] - below[i] - 0.5 * (marginal[i] + marginal[j]);
        return d * d;
    case SL_INTERVAL:
        d = level[i] - level[j];
        return d * d;
    default:
        d = (level[i] - level[j]) / (level[i] + level[j]);
        return d * d;
    }
}

sl_estimate sl_krippendorff_alpha(const double *value, int items, int readers, sl_metric metric, const int *weight,
                                  sl_arena *arena)
{
    /* Only values that can be paired count: those of items with two or more. */
    size_t room = (size_t)items * (size_t)readers;
    double *level = SL_NEW(arena, room ? room : 1, double);
    if (!level)
        return sl_undefined("memory ran out");
    int count = 0;
    for (int i = 0; i < items; i++) {
        int known = 0;
        for (int r = 0; r < readers; r++)
            known += sl_known(value[i * readers + r]);
        if (known < 2 || (weight && !weight[i]))
            continue;
        for (int r = 0; r < readers; r++)
            if (sl_known(value[i * readers + r]))
                level[count++] = value[i * readers + r];
    }
    if (!count)
        return sl_undefined("no case that two readers read");
    qsort(level, (size_t)count, sizeof *level, sl_by_double);
    if (metric == SL_RATIO && level[0] < 0)
        return sl_undefined("a ratio scale has no values below 0");
    int levels = 0;
    for (int i = 0; i < count; i++)
        if (!levels || level[i] != level[levels - 1])
            level[levels++] = level[i];
    if (levels < 2)
        return sl_undefined("all values are the same, so there is nothing to disagree about");
    double *marginal = SL_NEW(arena, levels, double), *below = SL_NEW(arena, levels, double);
    int *place = SL_NEW(arena, readers, int);
    if (!marginal || !below || !place)
        return sl_undefined("memory ran out");
    for (int i = 0; i < items; i++) {
        double w = weight ? weight[i] : 1;
        int known = 0;
        for (int r = 0; r < readers; r++)
            known += sl_known(value[i * readers + r]);
        for (int r = 0; known > 1 && w > 0 && r < readers; r++)
            if (sl_known(value[i * readers + r]))
                marginal[find_value(level, levels, value[i * readers + r])] += w;
    }
    double n = 0;
    for (int i = 0; i < levels; i++) {
        below[i] = n;
        n += marginal[i];
    }
    double observed = 0, expected = 0;
    for (int i = 0; i < items; i++) {
        double w = weight ? weight[i] : 1, within = 0;
        int known = 0;
        for (int r = 0; r < readers; r++)
            if (sl_known(value[i * readers + r]))
                place[known++] = w > 0 ? find_value(level, levels, value[i * readers + r]) : 0;
        if (known < 2 || !(w > 0))
            continue;
        for (int a = 0; a < known; a++)
            for (int b = a + 1; b < known; b++) {
                int low = place[a] < place[b] ? place[a] : place[b], high = place[a] < place[b] ? place[b] : place[a];
                if (low != high)
                    within += 2 * squared_difference(metric, level, marginal, below, low, high);
            }
        observed += w * within / (known - 1);
    }
    for (int i = 0; i < levels; i++)
        for (int j = i + 1; j < levels; j++)
            expected += 2 * marginal[i] * marginal[j] * squared_difference(metric, level, marginal, below, i, j);
    observed /= n;
    expected /= n * (n - 1);
    if (!(expected > 0))
        return sl_undefined("all values are the same, so there is nothing to disagree about");
    return sl_point(1 - observed / expected);
}
