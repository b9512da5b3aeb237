#include "acoustics/loss.h"

#include "core/units.h"

double sl_np_per_m(double db_per_cm)
{
    return db_per_cm * 100.0 / SL_DB_PER_NP;
}

double sl_db_per_cm(double np_per_m)
{
    return np_per_m * SL_DB_PER_NP / 100.0;
}

sl_attenuation sl_attenuation_from_np_per_m(double np_per_m, double freq_mhz, double power)
{
    return (sl_attenuation){.db_per_cm = sl_db_per_cm(np_per_m) / pow(freq_mhz, power), .power = power};
}

double sl_attenuation_db_per_cm(sl_attenuation attenuation, double freq_mhz)
{
    return freq_mhz > 0 ? attenuation.db_per_cm * pow(freq_mhz, attenuation.power) : SL_UNKNOWN;
}

double sl_loss_db(sl_attenuation attenuation, double freq_mhz, double path_mm)
{
    return sl_attenuation_db_per_cm(attenuation, freq_mhz) * path_mm / 10.0;
}

double sl_loss_round_trip_db(sl_attenuation attenuation, double freq_mhz, double depth_mm)
{
    return sl_loss_db(attenuation, freq_mhz, 2 * depth_mm);
}

double sl_depth_gain_db_per_cm(sl_attenuation attenuation, double freq_mhz)
{
    return 2 * sl_attenuation_db_per_cm(attenuation, freq_mhz);
}

double sl_depth_gain_db_per_us(sl_attenuation attenuation, double freq_mhz, double speed_m_s)
{
    double cm_per_us = speed_m_s * 1e-4;
    return sl_attenuation_db_per_cm(attenuation, freq_mhz) * cm_per_us;
}

double sl_penetration_mm(sl_attenuation attenuation, double freq_mhz, double dynamic_range_db)
{
    return 10.0 * dynamic_range_db / (2 * sl_attenuation_db_per_cm(attenuation, freq_mhz));
}

double sl_freq_most_mhz(sl_attenuation attenuation, double depth_mm, double dynamic_range_db)
{
    if (!(depth_mm > 0 && dynamic_range_db > 0 && attenuation.db_per_cm > 0 && attenuation.power > 0))
        return SL_UNKNOWN;
    double db_per_cm = 10.0 * dynamic_range_db / (2 * depth_mm);
    return pow(db_per_cm / attenuation.db_per_cm, 1 / attenuation.power);
}

double sl_centre_shift_mhz(sl_attenuation attenuation, double sigma_mhz, double depth_mm)
{
    if (fabs(attenuation.power - 1) > 1e-9)
        return SL_UNKNOWN;
    double np_per_m_mhz = sl_np_per_m(attenuation.db_per_cm);
    return -sigma_mhz * sigma_mhz * np_per_m_mhz * 2e-3 * depth_mm;
}

double sl_derated_pressure_mpa(double water_pressure_mpa, double freq_mhz, double depth_mm)
{
    return water_pressure_mpa * pow(10, -SL_DERATING_DB_PER_CM_MHZ * freq_mhz * depth_mm / 200.0);
}

double sl_mechanical_index(double derated_pressure_mpa, double freq_mhz)
{
    return freq_mhz > 0 ? derated_pressure_mpa / sqrt(freq_mhz) : SL_UNKNOWN;
}

double sl_pressure_for_index_mpa(double mechanical_index, double freq_mhz)
{
    return freq_mhz > 0 ? mechanical_index * sqrt(freq_mhz) : SL_UNKNOWN;
}

double sl_grey_level(double amplitude_share, double dynamic_range_db)
{
    if (!(dynamic_range_db > 0))
        return SL_UNKNOWN;
    if (!(amplitude_share > 0))
        return 0;
    double grey = 255 * (1 + 20 * log10(amplitude_share) / dynamic_range_db);
    return grey < 0 ? 0 : grey > 255 ? 255 : grey;
}

double sl_grey_per_db(double dynamic_range_db)
{
    return dynamic_range_db > 0 ? 255 / dynamic_range_db : SL_UNKNOWN;
}

double sl_amplitude_share(double grey_level, double dynamic_range_db)
{
    return pow(10, (grey_level / 255 - 1) * dynamic_range_db / 20);
}
