/* What is lost on the way: attenuation, depth gain, penetration, the pulse's fall in frequency, mechanical
 * index; and how what remains becomes grey. Sources beside each. Attenuation is one way unless the name says
 * round trip. */
#ifndef SL_ACOUSTICS_LOSS_H
#define SL_ACOUSTICS_LOSS_H

#include "acoustics/media.h"

/* 1 Np = 20 / ln 10 dB. */
#define SL_DB_PER_NP 8.685889638065035

/* alpha[Np/m] = alpha[dB/cm] * 100 / 8.6859, and back. */
double sl_np_per_m(double db_per_cm);
double sl_db_per_cm(double np_per_m);

/* The attenuation type from a table that prints Np/m at some frequency (IT'IS). */
sl_attenuation sl_attenuation_from_np_per_m(double np_per_m, double freq_mhz, double power);

/* alpha(f), dB/cm. */
double sl_attenuation_db_per_cm(sl_attenuation attenuation, double freq_mhz);

/* Loss over a path, dB: one way; there and back. */
double sl_loss_db(sl_attenuation attenuation, double freq_mhz, double path_mm);
double sl_loss_round_trip_db(sl_attenuation attenuation, double freq_mhz, double depth_mm);

/* Depth gain that exactly undoes the loss: 2 alpha f dB a cm of depth; or alpha f c, dB a microsecond. */
double sl_depth_gain_db_per_cm(sl_attenuation attenuation, double freq_mhz);
double sl_depth_gain_db_per_us(sl_attenuation attenuation, double freq_mhz, double speed_m_s);

/* Depth at which the round trip has used up `dynamic_range_db`: DR / (2 alpha(f)). mm. */
double sl_penetration_mm(sl_attenuation attenuation, double freq_mhz, double dynamic_range_db);

/* Highest frequency that still reaches `depth_mm` with that budget: inverse of the above. MHz. */
double sl_freq_most_mhz(sl_attenuation attenuation, double depth_mm, double dynamic_range_db);

/* Fall of the centre frequency of a Gaussian pulse (amplitude spectrum exp(-(f-f0)^2 / 2 sigma^2)) on a round
 * trip to `depth_mm` where attenuation is proportional to frequency: -sigma^2 alpha0' 2d. MHz, negative. NAN
 * when power != 1. */
double sl_centre_shift_mhz(sl_attenuation attenuation, double sigma_mhz, double depth_mm);

/* Mechanical index: derated peak rarefactional pressure in MPa / sqrt(f in MHz); derating 0.3 dB/cm/MHz.
 * Nightingale et al., J Ultrasound Med 2015;34(7):1-41, 10.7863/ultra.34.7.15.13.0001. */
#define SL_DERATING_DB_PER_CM_MHZ 0.3
double sl_derated_pressure_mpa(double water_pressure_mpa, double freq_mhz, double depth_mm);
double sl_mechanical_index(double derated_pressure_mpa, double freq_mhz);
double sl_pressure_for_index_mpa(double mechanical_index, double freq_mhz);

/* Logarithmic compression: clamp(255 (1 + 20 log10(A / A_most) / DR), 0, 255); the grey levels that a gain
 * adds; and back to A / A_most. */
double sl_grey_level(double amplitude_share, double dynamic_range_db);
double sl_grey_per_db(double dynamic_range_db);
double sl_amplitude_share(double grey_level, double dynamic_range_db);

#endif
