/* Intervals by resampling whole persons: clips of one person resemble each other, so persons, not clips, are drawn
 * with replacement (Efron & Tibshirani 1993; Field & Welsh, J R Stat Soc B 2007;69:369-390, doi
 * 10.1111/j.1467-9868.2007.00593.x). Draw r depends on the seed and r only, so the result is the same with any number
 * of workers. */
#ifndef SL_AGREE_BOOTSTRAP_H
#define SL_AGREE_BOOTSTRAP_H

#include "agree/estimate.h"
#include "core/error.h"

#include <stdint.h>

/* Fills value[0 .. statistics-1] for the cases where case i counts weight[i] times; NAN where not defined. Called from
 * several threads at once. */
typedef void (*sl_resampled)(const void *context, const int *weight, double *value);

typedef struct sl_resampling {
    int draws;      /* SL_DRAWS is the default */
    uint64_t seed;
    int workers;    /* < 1: one a core */
} sl_resampling;

#define SL_DRAWS 2000 /* Efron & Tibshirani 1993, ch. 14: 1000 or more for percentile intervals */

typedef struct sl_spread {
    double low, high; /* percentiles of SL_LEVEL, linear between order statistics; NAN: none */
    int undefined;    /* draws in which the statistic was not defined */
    const char *why;  /* NULL or why there is no interval */
} sl_spread;

/* group[i] is the person of case i, 0 .. groups-1. `spread` has one entry a statistic. With fewer than two persons, or
 * when over a tenth of the draws leave a statistic undefined, that interval is left out. */
sl_status sl_bootstrap(const int *group, int groups, int cases, int statistics, sl_resampled statistic,
                       const void *context, const sl_resampling *how, sl_spread *spread, sl_error *error);

/* How often each person is drawn in draw `draw`: times[0 .. groups-1]. */
void sl_bootstrap_draw(uint64_t seed, int draw, int groups, int *times);

/* A fixed order of 0 .. n-1 for a seed (Fisher & Yates). */
void sl_shuffled(uint64_t seed, int n, int *order);

#endif
