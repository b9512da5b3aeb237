#include "acoustics/beam.h"

#include "core/units.h"

double sl_width_constant(sl_width width)
{
    switch (width) {
    case SL_WIDTH_TWO_WAY_6DB: /* sinc^2 = 1/2: the same point as -3 dB one way */
    case SL_WIDTH_ONE_WAY_3DB:
        return 0.8858929413789047;
    case SL_WIDTH_ONE_WAY_6DB: /* sinc = 1/2 at 0.60335 */
        return 1.2067091288032284;
    case SL_WIDTH_RAYLEIGH_BAR:
        return 1;
    case SL_WIDTH_RAYLEIGH_DISC: /* first zero of J1 / pi */
        return 1.2196698912665045;
    }
    return SL_UNKNOWN;
}

double sl_wavelength_mm(double freq_mhz, double speed_m_s)
{
    return freq_mhz > 0 ? speed_m_s * 1e-3 / freq_mhz : SL_UNKNOWN;
}

double sl_axial_resolution_mm(double freq_mhz, double cycles, double speed_m_s)
{
    return cycles * sl_wavelength_mm(freq_mhz, speed_m_s) / 2;
}

double sl_pulse_bandwidth_mhz(double freq_mhz, double cycles)
{
    return cycles > 0 ? freq_mhz / cycles : SL_UNKNOWN;
}

double sl_f_number(double focus_mm, double aperture_mm)
{
    return aperture_mm > 0 ? focus_mm / aperture_mm : SL_UNKNOWN;
}

double sl_lateral_resolution_mm(sl_width width, double freq_mhz, double f_number, double speed_m_s)
{
    return sl_width_constant(width) * sl_wavelength_mm(freq_mhz, speed_m_s) * f_number;
}

double sl_beam_width_mm(double freq_mhz, double aperture_mm, double focus_mm, double depth_mm,
                        double speed_m_s)
{
    if (!(aperture_mm > 0 && focus_mm > 0 && depth_mm > 0))
        return SL_UNKNOWN;
    double one_way = sl_width_constant(SL_WIDTH_ONE_WAY_6DB);
    double receive = one_way * sl_wavelength_mm(freq_mhz, speed_m_s) * depth_mm / aperture_mm;
    double transmit = hypot(receive, aperture_mm * (1 - depth_mm / focus_mm));
    /* Two equal Gaussians give 1/sqrt(2) of the one-way width, two sinc 0.734: this makes the focus exact. */
    double exact = sl_width_constant(SL_WIDTH_TWO_WAY_6DB) / (one_way * sqrt(0.5));
    return exact / sqrt(1 / (transmit * transmit) + 1 / (receive * receive));
}

double sl_focal_zone_mm(double freq_mhz, double f_number, double speed_m_s)
{
    return SL_FOCAL_ZONE_CONSTANT * sl_wavelength_mm(freq_mhz, speed_m_s) * f_number * f_number;
}

double sl_near_field_mm(double freq_mhz, double aperture_mm, double speed_m_s)
{
    return aperture_mm * aperture_mm / (4 * sl_wavelength_mm(freq_mhz, speed_m_s));
}

double sl_divergence_rad(double freq_mhz, double aperture_mm, double speed_m_s)
{
    double sine =
        sl_width_constant(SL_WIDTH_RAYLEIGH_DISC) * sl_wavelength_mm(freq_mhz, speed_m_s) / aperture_mm;
    return sine > 0 && sine <= 1 ? asin(sine) : SL_UNKNOWN;
}

double sl_aperture_response(double freq_mhz, double aperture_mm, double sine, double speed_m_s)
{
    double x = SL_PI * aperture_mm * sine / sl_wavelength_mm(freq_mhz, speed_m_s);
    return fabs(x) < 1e-8 ? 1 : sin(x) / x;
}

double sl_grating_lobe_rad(double freq_mhz, double pitch_mm, double steer_rad, int order, double speed_m_s)
{
    if (order == 0 || !(pitch_mm > 0))
        return SL_UNKNOWN;
    double sine = sin(steer_rad) + order * sl_wavelength_mm(freq_mhz, speed_m_s) / pitch_mm;
    return fabs(sine) <= 1 ? asin(sine) : SL_UNKNOWN;
}

double sl_pitch_most_mm(double freq_mhz, double steer_rad, double speed_m_s)
{
    return sl_wavelength_mm(freq_mhz, speed_m_s) / (1 + fabs(sin(steer_rad)));
}

double sl_focus_delay_s(double x_mm, double focus_x_mm, double focus_z_mm, double speed_m_s)
{
    return speed_m_s > 0 ? (hypot(x_mm - focus_x_mm, focus_z_mm) - focus_z_mm) * 1e-3 / speed_m_s
                         : SL_UNKNOWN;
}
