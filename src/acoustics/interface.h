/* Interfaces: reflection, transmission, refraction between fluids, and layers between two media.
 * Source: Kinsler et al., Fundamentals of Acoustics (from memory). Solids (bone) also convert to shear waves;
 * this fluid model leaves that out. Impedances in MRayl, pressure unless the name says intensity. */
#ifndef SL_ACOUSTICS_INTERFACE_H
#define SL_ACOUSTICS_INTERFACE_H

#include "acoustics/media.h"

/* R = (Z2 - Z1) / (Z2 + Z1); its sign says whether the pulse turns over. T = 1 + R. */
double sl_reflection(double z1_mrayl, double z2_mrayl);
double sl_transmission(double z1_mrayl, double z2_mrayl);
/* Intensities: R^2 and 1 - R^2. */
double sl_reflection_intensity(double z1_mrayl, double z2_mrayl);
double sl_transmission_intensity(double z1_mrayl, double z2_mrayl);
/* 20 log10 |R|, dB (0 or below; -HUGE_VAL for equal media). */
double sl_echo_loss_db(double z1_mrayl, double z2_mrayl);

/* Snell: angle in the second medium, NAN beyond the critical angle. */
double sl_refraction_rad(double angle_rad, double speed1_m_s, double speed2_m_s);
/* asin(c1 / c2), NAN when c2 <= c1 (there is none). */
double sl_critical_rad(double speed1_m_s, double speed2_m_s);

/* Pressure reflection of a plane wave at `angle_rad` from the normal:
 * (Z2/cos t2 - Z1/cos t1) / (Z2/cos t2 + Z1/cos t1). Beyond the critical angle all is reflected: 1 (its
 * magnitude; the phase then varies with the angle and is not given). */
double sl_reflection_oblique(const sl_medium *from, const sl_medium *to, double angle_rad);

/* A layer of thickness L (impedance z2, phase k2 L = 2 pi f L / c2) between two half spaces, normal
 * incidence: R = (R12 + R23 e^{2ikL}) / (1 + R12 R23 e^{2ikL}). Sets the real and imaginary part. */
void sl_slab_reflection(double z1_mrayl, double z2_mrayl, double z3_mrayl, double phase_rad, double *re,
                        double *im);

/* One way through a layer thicker than the pulse (so that its faces do not interfere): intensity lost at both
 * faces and attenuation within, dB > 0. Rib: SL_BONE; aerated lung: SL_LUNG_AERATED. */
double sl_layer_loss_db(sl_medium_id around, sl_medium_id layer, double thickness_mm, double freq_mhz);

/* Into a medium through one face and on to `path_mm` behind it, one way, dB > 0. */
double sl_entry_loss_db(sl_medium_id from, sl_medium_id into, double path_mm, double freq_mhz);

#endif
