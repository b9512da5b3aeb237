/* A statistic that may not be defined. Nothing here makes a number up: where a formula has no value, `value` is NAN
 * and `why` says in a clause what is lacking; where only the interval has none, `low` and `high` are NAN and `why`
 * says so. */
#ifndef SL_AGREE_ESTIMATE_H
#define SL_AGREE_ESTIMATE_H

#include "core/units.h"

#include <stddef.h>

typedef struct sl_estimate {
    double value;     /* NAN: not defined */
    double low, high; /* interval at SL_LEVEL; NAN: none */
    double se;        /* large-sample standard error; NAN: none */
    const char *why;  /* NULL, or why something is not defined; a constant text, never freed */
} sl_estimate;

/* Two-sided level of every interval. */
#define SL_LEVEL 0.95

static inline sl_estimate sl_undefined(const char *why)
{
    return (sl_estimate){SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, why};
}

static inline sl_estimate sl_point(double value)
{
    return (sl_estimate){value, SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, NULL};
}

/* Quantiles and tails. Probabilities outside (0, 1) and degrees of freedom that are not positive give NAN. */
double sl_normal_quantile(double p);
double sl_normal_two_sided(double z); /* P(|Z| > |z|) */
double sl_t_quantile(double p, double df);
double sl_f_quantile(double p, double df1, double df2);
double sl_chi2_quantile(double p, double df);

/* 1.959964...: the normal quantile of SL_LEVEL. */
double sl_level_z(void);
/* The t quantile of SL_LEVEL. */
double sl_level_t(double df);

#endif
