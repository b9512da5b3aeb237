/* Several readers at once. */
#ifndef SL_AGREE_RATERS_H
#define SL_AGREE_RATERS_H

#include "agree/estimate.h"
#include "core/arena.h"

typedef struct sl_fleiss {
    sl_estimate kappa;
    double observed, expected, se0, z, p; /* se0: Fleiss, Nee & Landis, Psychol Bull 1979;86:974, no agreement */
} sl_fleiss;

/* Fleiss, Psychol Bull 1971;76:378-382, doi 10.1037/h0031619. counts[item * classes + class]; every item has the same
 * number of readers (else not defined). Interval: linearised over items (Gwet 2008), Student's t with items - 1. */
sl_fleiss sl_fleiss_kappa(const double *counts, int items, int classes);

/* Randolph's free-marginal form: chance agreement 1 / classes. */
sl_estimate sl_free_marginal_kappa(const double *counts, int items, int classes);

typedef enum sl_metric { SL_NOMINAL, SL_ORDINAL, SL_INTERVAL, SL_RATIO } sl_metric;

/* Krippendorff's alpha: Content Analysis, ch. 11 (and Computing Krippendorff's Alpha-Reliability, 2011).
 * value[item * readers + reader]; NAN = not read. Items with fewer than two values do not count. `weight` (one
 * integer an item, NULL = 1 each) is for resampling. Ratio needs values >= 0. Memory from `arena`. No closed interval:
 * resample items or persons (bootstrap.h). */
sl_estimate sl_krippendorff_alpha(const double *value, int items, int readers, sl_metric metric, const int *weight,
                                  sl_arena *arena);

#endif
