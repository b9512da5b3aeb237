/* First- and second-order statistics of fully developed speckle. Burckhardt, IEEE Trans Sonics Ultrason
 * 1978;25:1; Wagner et al., ibid. 1983;30:156 (from memory); Goodman, J Opt Soc Am
 * 1976, 10.1364/JOSA.66.001145. */
#ifndef SL_ACOUSTICS_SPECKLE_H
#define SL_ACOUSTICS_SPECKLE_H

/* Amplitude mean over standard deviation (Rayleigh): sqrt(pi / (4 - pi)). */
#define SL_SPECKLE_MEAN_OVER_SD 1.9130583802711007
/* Standard deviation of 20 log10 A: 10 pi / (ln 10 sqrt 6), whatever the mean. */
#define SL_SPECKLE_LOG_SD_DB 5.570043140052483
/* Mean of 10 log10 I against 10 log10 of the mean of I: -10 gamma / ln 10. */
#define SL_SPECKLE_LOG_BIAS_DB (-2.506815781348522)
/* Full width at half maximum over sigma of a Gaussian: 2 sqrt(2 ln 2). Speckle made with the amplitude point
 * spread exp(-x^2 / 2 sigma^2) has an intensity autocovariance of exactly this width times sigma. */
#define SL_FWHM_OVER_SIGMA 2.3548200450309493

/* Grey-level standard deviation after log compression to 255 levels: 5.57 * 255 / DR. */
double sl_speckle_grey_sd(double dynamic_range_db);

/* Mean over standard deviation of the amplitude after averaging `looks` uncorrelated pictures: 1.913
 * sqrt(looks). */
double sl_speckle_compound_ratio(double looks);

/* Standard error of the mean of log speckle, dB, over an area that holds area / cell independent cells (at
 * least 1). */
double sl_speckle_mean_error_db(double area_mm2, double cell_mm2);

/* Correlation of the intensity after a shift of `shift_mm` across a point spread of `sigma_mm` (amplitude):
 * exp(-shift^2 / (2 sigma^2)). */
double sl_speckle_shift_correlation(double shift_mm, double sigma_mm);

#endif
