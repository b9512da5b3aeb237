/* Single breaths in a path over time: turning points, the way between them and how fast it is gone. */
#ifndef SL_READING_BREATHS_H
#define SL_READING_BREATHS_H

#include "core/arena.h"
#include "reading/diaphragm_table.h"

#include <stdbool.h>

typedef struct sl_breath {
    int from, to;       /* indices of the path: from the low to the high turning point */
    int from_source, to_source; /* the same as frames of the file: for the caller to fill */
    double from_s, to_s;
    double low, high;   /* of the path there, means around the turning points */
    double speed;       /* of the middle 80 % of the way, units a second; NAN when times are not known */
    bool whole;         /* both turning points lie inside the clip */
} sl_breath;

typedef struct sl_breaths {
    int count;
    sl_breath breath[BREATHS_MOST];
    double range;       /* of the whole path, its ends' 2 % left out */
} sl_breaths;

/* `x` rises on the way that is listed. Times may be uneven; with unknown ones (NAN) frames count as 0.04 s for the smoothing.
 * Turns smaller than `least` are none. False when memory is out. */
bool sl_breaths_find(const double *time_s, const double *x, int n, double least, sl_arena *arena, sl_breaths *breaths);

/* The same where the turning points are given, as indices of the path, low[b] < high[b] (by hand): all are whole, and a way may be
 * 0 or less. */
bool sl_breaths_between(const double *time_s, const double *x, int n, const int *low, const int *high, int count, sl_arena *arena,
                        sl_breaths *breaths);

#endif
