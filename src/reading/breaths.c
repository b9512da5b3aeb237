#include "reading/breaths.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/motion_table.h"

#include <string.h>

static double smoothed(const double *time_s, const double *x, int n, int at)
{
    double sum = x[at], weights = 1;
    for (int side = -1; side <= 1; side += 2)
        for (int i = at + side; i >= 0 && i < n; i += side) {
            double away = sl_known(time_s[i]) ? fabs(time_s[i] - time_s[at]) : MOTION_FRAME_S * (i > at ? i - at : at - i);
            if (away > 0.5 * BREATH_SMOOTH_S)
                break;
            sum += x[i];
            weights++;
        }
    return sum / weights;
}

/* Time at which the smoothed path passes `level` between two frames on its way up; NAN when it does not. */
static double passes(const double *time_s, const double *y, int from, int to, double level)
{
    for (int i = to; i > from; i--)
        if (y[i - 1] <= level && y[i] > level)
            return time_s[i - 1] + (level - y[i - 1]) / (y[i] - y[i - 1]) * (time_s[i] - time_s[i - 1]);
    return SL_UNKNOWN;
}

static bool smooth_all(const double *time_s, const double *x, int n, sl_arena *arena, double **y)
{
    *y = SL_NEW(arena, n + 1, double);
    for (int i = 0; *y && i < n; i++)
        (*y)[i] = smoothed(time_s, x, n, i);
    return *y != NULL;
}

static void add(const double *time_s, const double *y, int n, int low, int high, sl_breaths *breaths)
{
    if (breaths->count == BREATHS_MOST)
        return;
    double way = y[high] - y[low];
    double first = passes(time_s, y, low, high, y[low] + 0.1 * way), last = passes(time_s, y, low, high, y[low] + 0.9 * way);
    breaths->breath[breaths->count++] =
        (sl_breath){.from = low, .to = high, .from_s = time_s[low], .to_s = time_s[high], .low = y[low], .high = y[high],
                    .speed = last > first ? 0.8 * way / (last - first) : SL_UNKNOWN, .whole = low > 0 && high < n - 1};
}

bool sl_breaths_find(const double *time_s, const double *x, int n, double least, sl_arena *arena, sl_breaths *breaths)
{
    memset(breaths, 0, sizeof *breaths);
    double *y, *sorted = SL_NEW(arena, n + 1, double);
    if (!sorted || !smooth_all(time_s, x, n, arena, &y))
        return false;
    memcpy(sorted, y, (size_t)n * sizeof *y);
    int known = sl_sort_known(sorted, n);
    if (known < 2)
        return true;
    breaths->range = sl_quantile_sorted(sorted, known, 0.98) - sl_quantile_sorted(sorted, known, 0.02);
    double turn = fmax(BREATH_TURN_SHARE * breaths->range, least);
    /* Zigzag: a turning point is settled once the path has come back from it by `turn`. */
    int low = 0, high = 0, direction = 0;
    for (int i = 1; i < n; i++) {
        if (direction >= 0 && y[i] > y[high])
            high = i;
        if (direction <= 0 && y[i] < y[low])
            low = i;
        if (direction == 0) {
            if (y[i] - y[low] > turn) {
                direction = 1;
                high = i;
            } else if (y[high] - y[i] > turn) {
                direction = -1;
                low = i;
            }
        } else if (direction > 0 && y[high] - y[i] > turn) {
            add(time_s, y, n, low, high, breaths);
            direction = -1;
            low = i;
        } else if (direction < 0 && y[i] - y[low] > turn) {
            direction = 1;
            high = i;
        }
    }
    if (direction > 0)
        add(time_s, y, n, low, high, breaths);
    /* A way that the clip's first frames begin or its last ones end is a part of one: the turning point is not seen, unless the
     * path lay flat there. */
    for (int b = 0; b < breaths->count; b++) {
        sl_breath *it = &breaths->breath[b];
        double flat = 0.08 * (it->high - it->low);
        bool begins = it->from > 0, ends = it->to < n - 1;
        double step = n > 1 && sl_known(time_s[n - 1]) ? (time_s[n - 1] - time_s[0]) / (n - 1) : MOTION_FRAME_S;
        int look = (int)(0.3 / (step > 0 ? step : MOTION_FRAME_S)) + 1;
        if (it->from < look && it->from + look < n)
            begins = fabs(y[it->from + look] - y[it->from]) < flat || y[0] - y[it->from] > flat;
        if (it->to > n - 1 - look && it->to - look >= 0)
            ends = y[it->to] - y[n - 1] > flat || fabs(y[it->to] - y[it->to - look]) < flat;
        it->whole = begins && ends;
    }
    return true;
}

bool sl_breaths_between(const double *time_s, const double *x, int n, const int *low, const int *high, int count, sl_arena *arena, sl_breaths *breaths)
{
    memset(breaths, 0, sizeof *breaths);
    double *y;
    if (!smooth_all(time_s, x, n, arena, &y))
        return false;
    double least = INFINITY, most = -INFINITY;
    for (int b = 0; b < count && b < BREATHS_MOST; b++) {
        add(time_s, y, n, low[b], high[b], breaths);
        breaths->breath[b].whole = true;
        least = fmin(least, fmin(y[low[b]], y[high[b]]));
        most = fmax(most, fmax(y[low[b]], y[high[b]]));
    }
    breaths->range = breaths->count ? most - least : 0;
    return true;
}
