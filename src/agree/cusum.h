/* Charts of a learner's successes and failures: the standard CUSUM, the two-limit form, and the LC-CUSUM, which starts
 * from "not yet competent" and signals competence. A limit is never copied from a paper: what it means (false
 * discovery, power) depends on the number of attempts and is computed here exactly. */
#ifndef SL_AGREE_CUSUM_H
#define SL_AGREE_CUSUM_H

#include "agree/estimate.h"

/* Standard CUSUM (Page, Biometrika 1954;41:100-115): failure rates p0 acceptable < p1 unacceptable. S starts at 0;
 * S = max(0, S + W), W = ln(p1/p0) for a failure, ln((1-p1)/(1-p0)) for a success. success[i] is 0 or 1; fills s[i].
 * Returns the first attempt (from 1) with S > h, or 0. */
int sl_cusum(double p0, double p1, double h, const int *success, int n, double *s);

/* Two limits (de Oliveira Filho, Anesth Analg 2002;95:411-416): + (1 - s) for a failure, - s for a success; above
 * `upper` the rate is unacceptable, below -`lower` acceptable, with errors alpha and beta. */
typedef struct sl_two_limits {
    double p, q, s, upper, lower;
} sl_two_limits;

sl_two_limits sl_two_limits_for(double p0, double p1, double alpha, double beta);
void sl_two_limit_chart(const sl_two_limits *limits, const int *success, int n, double *s);

/* LC-CUSUM (Biau & Porcher, Stat Med 2010;29:1900-1909, doi 10.1002/sim.3947; Biau et al., Br J Surg 2008;95:925-929,
 * doi 10.1002/bjs.6056): inadequate failure rate p0 > adequate p1. Success + ln((1-p1)/(1-p0)), failure + ln(p1/p0),
 * S = max(0, S + W); competence is signalled when S > h. */
typedef struct sl_lc_plan {
    double p0, p1, h;
    int n; /* attempts over which false discovery and power are stated */
} sl_lc_plan;

/* Returns the first attempt (from 1) with S > h, or 0. `s` may be NULL. */
int sl_lc_cusum(const sl_lc_plan *plan, const int *success, int n, double *s);

/* Probability that S passes h within n attempts when the true failure rate is `rate`: exact, by carrying the
 * distribution of S (its states are finite) from attempt to attempt. False discovery: rate = p0; power: rate = p1.
 * `start` is where S stands now (0 at the beginning). NAN on bad arguments or when memory runs out. */
double sl_lc_signal_probability(const sl_lc_plan *plan, double rate, double start, int n);

/* Smallest h, in steps of 0.05, whose false discovery within n attempts is at most `most`; NAN when none up to 20. */
double sl_lc_limit(double p0, double p1, int n, double most);

/* How many more attempts from S = `start`: successes in a row that would pass h, and attempts until the signal has
 * come with probability 1/2 when the true failure rate is `rate`; -1 when not within `most` attempts. */
int sl_lc_fewest(const sl_lc_plan *plan, double start);
int sl_lc_median(const sl_lc_plan *plan, double rate, double start, int most);

#endif
