#include "acoustics/reverb.h"

#include "acoustics/beam.h"
#include "acoustics/echo.h"
#include "acoustics/loss.h"
#include "core/units.h"

double sl_repeat_depth_mm(double pleura_mm, int k)
{
    return k >= 1 ? k * pleura_mm : SL_UNKNOWN;
}

double sl_repeat_time_s(double pleura_mm, int k, double speed_m_s)
{
    return sl_echo_time_s(sl_repeat_depth_mm(pleura_mm, k), speed_m_s);
}

double sl_repeat_amplitude(int k, double r_pleura, double r_face, sl_attenuation attenuation, double freq_mhz,
                           double pleura_mm)
{
    if (k < 1)
        return SL_UNKNOWN;
    double loss_db = sl_loss_round_trip_db(attenuation, freq_mhz, pleura_mm) * k;
    return pow(fabs(r_pleura), k) * pow(fabs(r_face), k - 1) * pow(10, -loss_db / 20);
}

double sl_repeat_step_db(double r_pleura, double r_face, sl_attenuation attenuation, double freq_mhz,
                         double pleura_mm, bool depth_gain_matched)
{
    double step = 20 * log10(fabs(r_pleura * r_face));
    return depth_gain_matched ? step : step - sl_loss_round_trip_db(attenuation, freq_mhz, pleura_mm);
}

typedef struct point {
    double x, z;
} point;

/* Mirror image in the pleura: the line through (0, depth) that falls with the tangent of the tilt. */
static point in_pleura(point at, double depth_mm, double tilt_rad)
{
    double normal_x = -sin(tilt_rad), normal_z = cos(tilt_rad);
    double beyond = at.x * normal_x + (at.z - depth_mm) * normal_z;
    return (point){at.x - 2 * beyond * normal_x, at.z - 2 * beyond * normal_z};
}

/* Magnitude of the k-th repeat, in units of its own. Points every half wavelength along the aperture. */
static double repeat_sum(int k, double tilt_rad, double pleura_mm, double aperture_mm, double focus_mm,
                         double wave_number)
{
    enum { MOST = 256 };
    double from[MOST], sent_mm[MOST], heard_mm[MOST], shown_mm = k * pleura_mm, re = 0, im = 0;
    double wanted = aperture_mm * wave_number / SL_PI;
    int points = wanted < 32 ? 32 : wanted > MOST ? MOST : (int)wanted;
    for (int i = 0; i < points; i++) {
        from[i] = aperture_mm * ((i + 0.5) / points - 0.5);
        sent_mm[i] = isfinite(focus_mm) ? hypot(from[i], focus_mm) - focus_mm : 0;
        heard_mm[i] = hypot(from[i], shown_mm) - shown_mm;
    }
    for (int j = 0; j < points; j++) {
        point image = in_pleura((point){from[j], 0}, pleura_mm, tilt_rad);
        for (int pass = 1; pass < k; pass++)
            image = in_pleura((point){image.x, -image.z}, pleura_mm, tilt_rad);
        for (int i = 0; i < points; i++) {
            double across = image.x - from[i], way = sqrt(across * across + image.z * image.z);
            double phase = wave_number * (way - 2 * shown_mm - sent_mm[i] - heard_mm[j]),
                   weight = 1 / sqrt(way);
            re += weight * cos(phase);
            im += weight * sin(phase);
        }
    }
    return hypot(re, im);
}

double sl_repeat_tilt_share(int k, double tilt_rad, double pleura_mm, double aperture_mm, double focus_mm,
                            double freq_mhz, double speed_m_s)
{
    double wavelength = sl_wavelength_mm(freq_mhz, speed_m_s);
    if (k < 1 || k > 100 || !(pleura_mm > 0 && aperture_mm > 0 && focus_mm > 0 && wavelength > 0))
        return SL_UNKNOWN;
    if (2 * k * fabs(tilt_rad) >= SL_PI / 2)
        return 0;
    double wave_number = 2 * SL_PI / wavelength;
    return repeat_sum(k, tilt_rad, pleura_mm, aperture_mm, focus_mm, wave_number) /
           repeat_sum(k, 0, pleura_mm, aperture_mm, focus_mm, wave_number);
}

double sl_band_spacing_mm(double gap_mm, double speed_m_s)
{
    return sl_shown_depth_mm(gap_mm, speed_m_s);
}

double sl_mirror_depth_mm(double mirror_mm, double before_mm)
{
    return mirror_mm + before_mm;
}

double sl_trap_slab_mhz(double length_mm, int m, double speed_m_s)
{
    return m >= 1 && length_mm > 0 ? m * speed_m_s * 1e-3 / (2 * length_mm) : SL_UNKNOWN;
}

double sl_trap_rigid_slab_mhz(double length_mm, int m, double speed_m_s)
{
    return m >= 1 && length_mm > 0 ? (2 * m - 1) * speed_m_s * 1e-3 / (4 * length_mm) : SL_UNKNOWN;
}

double sl_trap_rectangle_mhz(double a_mm, double b_mm, int m, int n, double speed_m_s)
{
    return m >= 1 && n >= 1 && a_mm > 0 && b_mm > 0 ? speed_m_s * 0.5e-3 * hypot(m / a_mm, n / b_mm)
                                                    : SL_UNKNOWN;
}

/* The n-th zero of J_m: between two neighbours of a scan by bisection; jn() of the C library is exact enough.
 */
static double bessel_zero(int m, int n)
{
    double step = 0.1, x = m > 0 ? (double)m : step; /* the first zero of J_m lies beyond m */
    double before = jn(m, x);
    for (int found = 0; x < 1e4; x += step) {
        double after = jn(m, x + step);
        if (signbit(before) != signbit(after) && ++found == n) {
            double low = x, high = x + step;
            for (int i = 0; i < 60; i++) {
                double middle = 0.5 * (low + high);
                if (signbit(jn(m, middle)) == signbit(before))
                    low = middle;
                else
                    high = middle;
            }
            return 0.5 * (low + high);
        }
        before = after;
    }
    return SL_UNKNOWN;
}

double sl_trap_disc_mhz(double radius_mm, int m, int n, double speed_m_s)
{
    if (m < 0 || m > 100 || n < 1 || n > 100 || !(radius_mm > 0))
        return SL_UNKNOWN;
    return bessel_zero(m, n) * speed_m_s * 1e-3 / (2 * SL_PI * radius_mm);
}

double sl_bubble_khz(double radius_um, double kappa)
{
    const double pressure_pa = 101325, density_kg_m3 = 1000;
    return radius_um > 0
               ? sqrt(3 * kappa * pressure_pa / density_kg_m3) / (2 * SL_PI * radius_um * 1e-6) * 1e-3
               : SL_UNKNOWN;
}

double sl_trap_decay_db_per_us(double r_mouth, double r_wall, double length_mm, double speed_m_s)
{
    double round_trip_us = sl_echo_time_s(length_mm, speed_m_s) * 1e6;
    return 20 * log10(fabs(r_mouth * r_wall)) / round_trip_us;
}

double sl_trap_streak_mm(double r_mouth, double r_wall, double length_mm, double speed_m_s, double display_db)
{
    double time_us = -display_db / sl_trap_decay_db_per_us(r_mouth, r_wall, length_mm, speed_m_s);
    return sl_echo_depth_mm(time_us * 1e-6, SL_SPEED_SCANNER_M_S);
}

double sl_trap_quality(double r_mouth, double r_wall, double length_mm, double speed_m_s, double freq_mhz)
{
    double np_per_us = -sl_trap_decay_db_per_us(r_mouth, r_wall, length_mm, speed_m_s) / SL_DB_PER_NP;
    return SL_PI * freq_mhz / np_per_us;
}
