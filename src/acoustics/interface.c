#include "acoustics/interface.h"

#include "acoustics/loss.h"
#include "core/units.h"

#include <complex.h>

double sl_reflection(double z1_mrayl, double z2_mrayl)
{
    double sum = z1_mrayl + z2_mrayl;
    return sum > 0 ? (z2_mrayl - z1_mrayl) / sum : SL_UNKNOWN;
}

double sl_transmission(double z1_mrayl, double z2_mrayl)
{
    return 1 + sl_reflection(z1_mrayl, z2_mrayl);
}

double sl_reflection_intensity(double z1_mrayl, double z2_mrayl)
{
    double r = sl_reflection(z1_mrayl, z2_mrayl);
    return r * r;
}

double sl_transmission_intensity(double z1_mrayl, double z2_mrayl)
{
    /* Not 1 - R^2: that loses digits when R is near 1 (air). */
    double sum = z1_mrayl + z2_mrayl;
    return sum > 0 ? 4 * z1_mrayl * z2_mrayl / (sum * sum) : SL_UNKNOWN;
}

double sl_echo_loss_db(double z1_mrayl, double z2_mrayl)
{
    return 20 * log10(fabs(sl_reflection(z1_mrayl, z2_mrayl)));
}

double sl_refraction_rad(double angle_rad, double speed1_m_s, double speed2_m_s)
{
    double sine = sin(angle_rad) * speed2_m_s / speed1_m_s;
    return fabs(sine) <= 1 ? asin(sine) : SL_UNKNOWN;
}

double sl_critical_rad(double speed1_m_s, double speed2_m_s)
{
    return speed2_m_s > speed1_m_s ? asin(speed1_m_s / speed2_m_s) : SL_UNKNOWN;
}

double sl_reflection_oblique(const sl_medium *from, const sl_medium *to, double angle_rad)
{
    double z1 = sl_impedance_mrayl(from->density_kg_m3, from->speed_m_s);
    double z2 = sl_impedance_mrayl(to->density_kg_m3, to->speed_m_s);
    double refracted = sl_refraction_rad(angle_rad, from->speed_m_s, to->speed_m_s);
    if (!sl_known(refracted))
        return 1;
    return sl_reflection(z1 / cos(angle_rad), z2 / cos(refracted));
}

void sl_slab_reflection(double z1_mrayl, double z2_mrayl, double z3_mrayl, double phase_rad, double *re,
                        double *im)
{
    double r12 = sl_reflection(z1_mrayl, z2_mrayl), r23 = sl_reflection(z2_mrayl, z3_mrayl);
    double complex turn = cexp(2.0 * I * phase_rad);
    double complex r = (r12 + r23 * turn) / (1.0 + r12 * r23 * turn);
    *re = creal(r);
    *im = cimag(r);
}

static double face_loss_db(sl_medium_id from, sl_medium_id into)
{
    return -10 *
           log10(sl_transmission_intensity(sl_medium_impedance_mrayl(from), sl_medium_impedance_mrayl(into)));
}

double sl_layer_loss_db(sl_medium_id around, sl_medium_id layer, double thickness_mm, double freq_mhz)
{
    return face_loss_db(around, layer) + sl_entry_loss_db(around, layer, thickness_mm, freq_mhz);
}

double sl_entry_loss_db(sl_medium_id from, sl_medium_id into, double path_mm, double freq_mhz)
{
    const sl_medium *medium = sl_medium_get(into);
    if (!medium || !sl_medium_get(from))
        return SL_UNKNOWN;
    return face_loss_db(from, into) + sl_loss_db(medium->attenuation, freq_mhz, path_mm);
}
