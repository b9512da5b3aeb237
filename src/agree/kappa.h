/* Two readers, the same cases, named or ordered classes. A table is k x k counts, row = first reader, column = second.
 * Counts may be any numbers >= 0 (weights of a resample). */
#ifndef SL_AGREE_KAPPA_H
#define SL_AGREE_KAPPA_H

#include "agree/estimate.h"
#include "core/arena.h"

#define SL_CLASSES 32 /* the most classes of a table */

typedef enum sl_weighting { SL_WEIGHT_NONE, SL_WEIGHT_LINEAR, SL_WEIGHT_QUADRATIC } sl_weighting;

/* Agreement weights, 1 on the diagonal: none 0 elsewhere, linear 1 - |i-j|/(k-1), quadratic 1 - ((i-j)/(k-1))^2. */
void sl_agreement_weights(sl_weighting weighting, int k, double *weight);
/* Disagreement weights v (0 on the diagonal) to agreement weights 1 - v / max v. */
void sl_from_disagreement(const double *disagreement, int k, double *weight);

typedef struct sl_kappa {
    sl_estimate kappa;       /* se: Fleiss, Cohen & Everitt, Psychol Bull 1969;72:323-327, doi 10.1037/h0028106 */
    double observed, expected; /* (weighted) agreement and that expected by chance */
    double se0, z, p;        /* under no agreement beyond chance; p two-sided */
} sl_kappa;

/* Cohen, Educ Psychol Meas 1960;20:37-46, doi 10.1177/001316446002000104; weighted: Psychol Bull 1968;70:213-220, doi
 * 10.1037/h0026256. `weight` NULL = none; it need not be symmetric. Not defined with an empty table, or when chance
 * alone gives full agreement (one class only). */
sl_kappa sl_cohen_kappa(const double *table, int k, const double *weight);

/* Gwet's AC1 (weight NULL) and AC2: Br J Math Stat Psychol 2008;61:29-48, doi 10.1348/000711006X126600. Standard error:
 * linearised, over cases; interval by Student's t with n - 1. */
sl_kappa sl_gwet_ac(const double *table, int k, const double *weight);

/* Words of Landis & Koch, Biometrics 1977;33:159-174, doi 10.2307/2529310, for a kappa. */
const char *sl_kappa_word(double kappa);

#endif
