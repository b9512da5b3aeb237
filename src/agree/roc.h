/* ROC curves: area, its standard error and the comparison of two indices on the same cases (DeLong, DeLong &
 * Clarke-Pearson, Biometrics 1988;44:837-845, doi 10.2307/2531595). A higher index means "more surely there". */
#ifndef SL_AGREE_ROC_H
#define SL_AGREE_ROC_H

#include "agree/estimate.h"
#include "core/arena.h"

typedef struct sl_roc {
    int points;               /* from (0, 0) to (1, 1), one a distinct index */
    double *threshold;        /* index >= threshold is called present; +inf at the first point */
    double *false_positive, *true_positive; /* shares */
} sl_roc;

/* Area with DeLong's standard error; interval: normal, cut at 0 and 1. The points go to `roc` unless it is NULL.
 * Not defined with one class only; no interval with fewer than two cases in a class or where the classes are fully
 * apart (the standard error is then 0, which says nothing). All memory from `arena`. */
sl_estimate sl_roc_area(const double *index, const int *truth, int n, sl_arena *arena, sl_roc *roc);

/* Standard error of an area under the exponential model of Hanley & McNeil, Radiology 1982;143:29-36, doi
 * 10.1148/radiology.143.1.7063747, with `yes` and `no` cases. */
double sl_hanley_mcneil_se(double area, int yes, int no);

/* Two indices on the same cases. */
typedef struct sl_roc_pair {
    sl_estimate first, second, difference; /* difference = first - second */
    double covariance, z, p;               /* two-sided; NAN where the difference has no variance */
} sl_roc_pair;

sl_roc_pair sl_roc_compare(const double *first, const double *second, const int *truth, int n, sl_arena *arena);

/* For resampling: the area where case order[i] counts weight[order[i]] times. `order` sorts the index ascending
 * (sl_roc_order). NAN with one class only. */
void sl_roc_order(const double *index, int n, int *order);
double sl_roc_weighted_area(const double *index, const int *truth, const int *order, const int *weight, int n);

#endif
