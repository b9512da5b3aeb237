/* One rule for quantiles and medians everywhere: linear between the sorted values, the share s of n values lying at place
 * s (n - 1) counted from 0 (type 7 of Hyndman & Fan, Am Stat 1996;50:361, doi 10.1080/00031305.1996.10473566; the usual rule
 * of numerical libraries). An even number of values thus has the mean of the middle two as its median. */
#ifndef SL_CORE_QUANTILE_H
#define SL_CORE_QUANTILE_H

/* Moves the values that are numbers to the front, sorted from small to large; returns how many they are. */
int sl_sort_known(double *value, int count);

/* The quantile of sorted values without gaps; NAN when there are none. `share` 0..1. */
double sl_quantile_sorted(const double *sorted, int count, double share);

/* Both at once: sorts `value`, leaves gaps (NAN) out. NAN when nothing is known. */
double sl_quantile(double *value, int count, double share);

/* The value itself that lies nearest to that place (halves go up), for what must have been measured somewhere rather than lie between
 * two measurements. Sorts `value`; NAN when nothing is known. */
double sl_quantile_nearest(double *value, int count, double share);

#endif
