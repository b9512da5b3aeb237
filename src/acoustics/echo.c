#include "acoustics/echo.h"

#include "core/units.h"

double sl_echo_time_s(double depth_mm, double speed_m_s)
{
    return speed_m_s > 0 ? 2e-3 * depth_mm / speed_m_s : SL_UNKNOWN;
}

double sl_echo_depth_mm(double time_s, double speed_m_s)
{
    return speed_m_s > 0 ? 500.0 * time_s * speed_m_s : SL_UNKNOWN;
}

double sl_shown_depth_mm(double true_mm, double speed_m_s)
{
    return speed_m_s > 0 ? true_mm * SL_SPEED_SCANNER_M_S / speed_m_s : SL_UNKNOWN;
}

double sl_true_depth_mm(double shown_mm, double speed_m_s)
{
    return speed_m_s > 0 ? shown_mm * speed_m_s / SL_SPEED_SCANNER_M_S : SL_UNKNOWN;
}

static double at_least_one(int count)
{
    return count > 1 ? (double)count : 1.0;
}

/* Depth times frame rate, mm/s: everything of the budget but the depth. */
static double depth_rate_mm_hz(const sl_frame_budget *budget, double speed_m_s)
{
    if (!(speed_m_s > 0) || budget->beams < 1)
        return SL_UNKNOWN;
    double transmissions = budget->beams * at_least_one(budget->focal_zones) * at_least_one(budget->angles) *
                           at_least_one(budget->pulses) / at_least_one(budget->parallel);
    return 500.0 * speed_m_s / transmissions;
}

double sl_frame_rate_most_hz(const sl_frame_budget *budget, double speed_m_s)
{
    return budget->depth_mm > 0 ? depth_rate_mm_hz(budget, speed_m_s) / budget->depth_mm : SL_UNKNOWN;
}

double sl_frame_depth_most_mm(const sl_frame_budget *budget, double frame_rate_hz, double speed_m_s)
{
    return frame_rate_hz > 0 ? depth_rate_mm_hz(budget, speed_m_s) / frame_rate_hz : SL_UNKNOWN;
}

double sl_pulse_rate_most_hz(double depth_mm, double speed_m_s)
{
    return depth_mm > 0 && speed_m_s > 0 ? 500.0 * speed_m_s / depth_mm : SL_UNKNOWN;
}

double sl_doppler_shift_hz(double freq_mhz, double velocity_m_s, double angle_rad, double speed_m_s)
{
    return speed_m_s > 0 ? 2e6 * freq_mhz * velocity_m_s * cos(angle_rad) / speed_m_s : SL_UNKNOWN;
}

/* A beam across the motion sees nothing: within this of 90 degrees nothing can be told. */
static bool across(double angle_rad)
{
    return fabs(cos(angle_rad)) < 1e-9;
}

double sl_doppler_velocity_m_s(double freq_mhz, double shift_hz, double angle_rad, double speed_m_s)
{
    if (!(freq_mhz > 0) || across(angle_rad))
        return SL_UNKNOWN;
    return shift_hz * speed_m_s / (2e6 * freq_mhz * cos(angle_rad));
}

double sl_nyquist_velocity_m_s(double freq_mhz, double pulse_rate_hz, double angle_rad, double speed_m_s)
{
    if (!(freq_mhz > 0) || across(angle_rad))
        return SL_UNKNOWN;
    return speed_m_s * pulse_rate_hz / (4e6 * freq_mhz * fabs(cos(angle_rad)));
}

double sl_aliased_velocity_m_s(double velocity_m_s, double nyquist_m_s)
{
    if (!(nyquist_m_s > 0))
        return SL_UNKNOWN;
    double span = 2 * nyquist_m_s;
    return velocity_m_s - span * floor((velocity_m_s + nyquist_m_s) / span);
}

double sl_range_velocity_m_s(double freq_mhz, double depth_mm, double speed_m_s)
{
    return freq_mhz > 0 && depth_mm > 0 ? speed_m_s * speed_m_s / (8e3 * freq_mhz * depth_mm) : SL_UNKNOWN;
}
