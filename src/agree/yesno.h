/* Yes/no against yes/no: counts, shares with Wilson intervals, likelihood ratios; and an index in [0, 1] that is meant
 * as a probability against yes/no: calibration. */
#ifndef SL_AGREE_YESNO_H
#define SL_AGREE_YESNO_H

#include "agree/estimate.h"

/* `right` of `all`; not defined when `all` is 0. Interval: Wilson, JASA 1927;22:209-212, doi
 * 10.1080/01621459.1927.10502953. Counts may be any real numbers >= 0. */
sl_estimate sl_share(double right, double all);

typedef struct sl_fourfold {
    double tp, fp, fn, tn; /* "positive" is what the reading says, "true" what the reference says */
} sl_fourfold;

sl_estimate sl_sensitivity(sl_fourfold t);
sl_estimate sl_specificity(sl_fourfold t);
sl_estimate sl_ppv(sl_fourfold t);
sl_estimate sl_npv(sl_fourfold t);
sl_estimate sl_accuracy(sl_fourfold t);
/* Positive and negative likelihood ratio; interval on the log scale: Simel, Samsa & Matchar, J Clin Epidemiol
 * 1991;44:763-770, doi 10.1016/0895-4356(91)90128-V. `se` is that of the logarithm. */
sl_estimate sl_lr_positive(sl_fourfold t);
sl_estimate sl_lr_negative(sl_fourfold t);

/* Mean squared distance of `index` (0..1) from `truth` (0/1): Brier, Mon Weather Rev 1950;78:1-3. */
sl_estimate sl_brier(const double *index, const int *truth, int n);

/* Reliability: `bins` equal parts of [0, 1]; the last one holds 1 too. */
typedef struct sl_reliability_bin {
    int n;
    double mean_index;    /* NAN when empty */
    sl_estimate observed; /* share that is true, Wilson */
} sl_reliability_bin;

void sl_reliability(const double *index, const int *truth, int n, int bins, sl_reliability_bin *bin);
/* Mean over the clips of |observed share - mean index| of their bin. */
sl_estimate sl_calibration_gap(const sl_reliability_bin *bin, int bins);

#endif
