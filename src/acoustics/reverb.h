/* Sound that goes back and forth: repeats of the pleura (A-lines), bands between close reflectors, mirror
 * images, and small traps that ring (vertical artifacts).
 *
 * Models: repeats by image sources; traps as cavities with air walls (pressure release), Soldati, Smargiassi,
 * Demi & Inchingolo, Appl Sci 2020;10:1570, 10.3390/app10051570; that centre frequency dominates what is
 * seen: Mento & Demi, J Acoust Soc Am 2020;148:975, 10.1121/10.0001797. Depths along the beam from the
 * probe's face, mm. */
#ifndef SL_ACOUSTICS_REVERB_H
#define SL_ACOUSTICS_REVERB_H

#include "acoustics/media.h"

#include <stdbool.h>

/* Where the k-th appearance of the pleura lies (k = 1 is the pleura itself): k d, and when it arrives. On a
 * convex probe the repeats are arcs about the same apex: radii R0 + k d. */
double sl_repeat_depth_mm(double pleura_mm, int k);
double sl_repeat_time_s(double pleura_mm, int k, double speed_m_s);

/* Its amplitude, without diffraction, before depth gain: R_pleura^k R_face^(k-1) 10^(-2 alpha d k / 20). */
double sl_repeat_amplitude(int k, double r_pleura, double r_face, sl_attenuation attenuation, double freq_mhz,
                           double pleura_mm);
/* From one repeat to the next, dB (negative); with a depth gain that undoes the attenuation; without. */
double sl_repeat_step_db(double r_pleura, double r_face, sl_attenuation attenuation, double freq_mhz,
                         double pleura_mm, bool depth_gain_matched);

/* Share of the amplitude that the k-th repeat keeps when the pleura is tilted by `tilt_rad` against the
 * probe's flat face, its middle `pleura_mm` away: each reflection turns the wave by twice the tilt, so after
 * k of them it comes back at 2 k tilt and about 2 k^2 tilt d to the side. Sums exp(ik way) over all pairs of
 * a transmitting point and the k-fold image of a receiving one (image sources in two dimensions, continuous
 * wave, unweighted line apertures), transmit focused as given, receive on the axis at the depth where the
 * repeat is shown. Focused on the pleura the first echo halves near tilt = 1 / (4 F#), the repeats much
 * sooner. Costs about a millisecond. */
double sl_repeat_tilt_share(int k, double tilt_rad, double pleura_mm, double aperture_mm, double focus_mm,
                            double freq_mhz, double speed_m_s);

/* Bands between two parallel reflectors `gap_mm` apart in a medium of speed c are shown gap * c0 / c apart.
 * They merge into a streak when that is below the axial resolution. */
double sl_band_spacing_mm(double gap_mm, double speed_m_s);

/* Depth at which a mirror at `mirror_mm` shows a structure that lies `before_mm` in front of it. */
double sl_mirror_depth_mm(double mirror_mm, double before_mm);

/* Resonances of a trap, MHz. Order m, n >= 1. NAN for what makes no sense.
 * Slab, both walls air: m c / (2 L). One wall air and one rigid: (2m - 1) c / (4 L).
 * Rectangle a x b, air all round: c/2 sqrt((m/a)^2 + (n/b)^2).
 * Disc of radius a, air all round: j(m,n) c / (2 pi a), j(m,n) the n-th zero of the Bessel function of order
 * m >= 0. */
double sl_trap_slab_mhz(double length_mm, int m, double speed_m_s);
double sl_trap_rigid_slab_mhz(double length_mm, int m, double speed_m_s);
double sl_trap_rectangle_mhz(double a_mm, double b_mm, int m, int n, double speed_m_s);
double sl_trap_disc_mhz(double radius_mm, int m, int n, double speed_m_s);

/* Resonance of a gas bubble in water-like tissue (Minnaert): sqrt(3 kappa p0 / rho) / (2 pi R), kHz;
 * kappa 1.4 adiabatic, 1 isothermal; p0 = 101325 Pa, rho = 1000 kg/m^3. Far below imaging frequencies. */
double sl_bubble_khz(double radius_um, double kappa);

/* A trap of length L with one open mouth: each round trip 2 L / c keeps |R_mouth R_wall|. Its loss, dB a
 * microsecond (negative), and the length in depth over which it falls by `display_db` (the streak), mm as
 * shown. */
double sl_trap_decay_db_per_us(double r_mouth, double r_wall, double length_mm, double speed_m_s);
double sl_trap_streak_mm(double r_mouth, double r_wall, double length_mm, double speed_m_s,
                         double display_db);
/* Its quality factor at `freq_mhz`: pi f / (decay of the amplitude, Np a second). */
double sl_trap_quality(double r_mouth, double r_wall, double length_mm, double speed_m_s, double freq_mhz);

#endif
