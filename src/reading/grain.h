/* How wide the speckle's grain is along and across the beam, by depth: what the clip itself says of its resolution.
 *
 * Speckle made with the amplitude point spread exp(-x^2 / 2 sigma^2) has an intensity correlation exp(-x^2 / 2 sigma^2), whose
 * full width at half maximum is that of the point spread at -6 dB (acoustics/speckle.h; Wagner et al., IEEE Trans Sonics Ultrason
 * 1983;30:156). Pictures show its logarithm: where intensities of fully developed speckle correlate by r, their logarithms
 * correlate by Li2(r) / (pi^2 / 6), the dilogarithm (from memory; tests/reading/test_resolution.c draws speckle and finds it so),
 * whatever the gain, the dynamic range and any linear grey map. So the measured correlation is brought back to that of the
 * intensity, and the lag at which it is one half is half the width.
 *
 * Compounding averages pictures before or after the logarithm; the width is then stated up to 22 % too large (were the grey
 * intensity itself: sqrt(ln 0.354 / ln 0.5)). Layers and borders correlate further than speckle: only the evener half of the
 * places in a band counts. Electronic noise that comes anew in each line makes the width too small. */
#ifndef SL_READING_GRAIN_H
#define SL_READING_GRAIN_H

#include "view/stack.h"

enum {
    SL_GRAIN_BANDS = 16,  /* sixteenths of the imaged depth */
    SL_GRAIN_LAGS = 4    /* rows or beams: further out layers and borders count more than grain */
};

/* Full widths at half maximum in rows (1/256 of the depth) and beams (1/128 of the view); NAN where no even speckle was seen. */
typedef struct sl_grain_widths {
    double along[SL_GRAIN_BANDS], across[SL_GRAIN_BANDS];
} sl_grain_widths;

/* Of a settled stack whose grey is still the scanner's own. `top`: the highest grey level in use (quality.h). Memory from
 * `scratch`; false when it is out. */
bool sl_grain_measure(const sl_stack *stack, double top, sl_arena *scratch, sl_grain_widths *widths);

/* Correlation of the logarithm of the intensity of speckle whose intensities correlate by r, and back; 0..1. */
double sl_grain_log_correlation(double r);
double sl_grain_intensity_correlation(double log_correlation);

#endif
