/* Counts, lengths and other numbers, measured twice. */
#ifndef SL_AGREE_LENGTHS_H
#define SL_AGREE_LENGTHS_H

#include "agree/estimate.h"

/* Bland & Altman, Lancet 1986;1:307-310, doi 10.1016/S0140-6736(86)90837-8. d = first - second; SD with n - 1; limits
 * bias +- 1.96 SD (the normal quantile, not the paper's rounded 2); interval of the bias and of each limit by
 * Student's t, standard error of a limit sqrt(3 SD^2 / n) as in the paper. */
typedef struct sl_bland_altman {
    int n;
    sl_estimate bias, lower, upper;
    double sd;          /* of the differences */
    double correlation; /* of difference and mean: far from 0 means that the error grows with size; NAN: none */
} sl_bland_altman;

sl_bland_altman sl_limits_of_agreement(const double *first, const double *second, int n);

/* Lin's concordance correlation, Biometrics 1989;45:255-268, doi 10.2307/2532051 (moments with 1/n); interval by his
 * Z transformation, variance as corrected in Biometrics 2000;56:324-325. */
sl_estimate sl_concordance(const double *first, const double *second, int n);
/* The same with whole weights (resampling); value only. */
double sl_concordance_weighted(const double *first, const double *second, const int *weight, int n);

double sl_pearson(const double *first, const double *second, int n);

/* One reader, the same case read twice: within-case SD sqrt(sum d^2 / 2n), and the repeatability coefficient
 * 1.96 sqrt(2) times it (Bland & Altman 1986; ISO 5725). Interval: chi-square with n degrees of freedom. */
typedef struct sl_repeatability {
    sl_estimate within_sd, coefficient;
} sl_repeatability;

sl_repeatability sl_repeat_pairs(const double *first, const double *second, int n);

/* One case measured n times: the within-case SD with n - 1, interval by chi-square with n - 1 degrees of freedom (NIST/SEMATECH
 * e-Handbook 7.2.3.1, from memory), and the coefficient as above. Undefined with fewer than two. */
sl_repeatability sl_repeat_values(const double *value, int n);

/* Smallest change in one case that is more than measurement error: 1.96 sqrt(2) SEM (de Vet et al., J Clin Epidemiol
 * 2006;59:1033-1039, doi 10.1016/j.jclinepi.2005.10.015). `sem` from sl_icc. */
double sl_smallest_detectable_change(double sem);

#endif
