#include "acoustics/transducer.h"

#include "acoustics/beam.h"
#include "core/units.h"

#include <stddef.h>
#include <string.h>

/* Bands: convex 2 to 5 MHz with a large footprint, linear 6 to 13 MHz, phased 1 to 5 MHz: common practice, no
 * source; so are the sizes, which are round values of the trade. */
static const sl_transducer probes[SL_TRANSDUCERS] = {
    /* kind, name, band, radius, footprint, elements, pitch, elevation, its focus, sector, depths, beams, F#,
     * cycles, angles */
    {SL_TRANSDUCER_CONVEX, "convex", 2, 5, 60, 60, 128, 0.46875, 13, 70, 0, 40, 300, 128, 2, 2, 3},
    {SL_TRANSDUCER_MICROCONVEX, "microconvex", 4, 8, 14, 24, 128, 0.1875, 6, 40, 0, 30, 170, 128, 2, 2, 3},
    {SL_TRANSDUCER_LINEAR, "linear", 6, 13, 0, 38.4, 192, 0.2, 4, 20, 0, 20, 80, 192, 1.5, 2, 5},
    {SL_TRANSDUCER_PHASED, "phased", 1, 5, 0, 19.2, 64, 0.3, 13, 80, SL_PI / 2, 40, 300, 128, 1, 2, 3},
};

const sl_transducer *sl_transducer_get(sl_transducer_kind kind)
{
    return (int)kind >= 0 && kind < SL_TRANSDUCERS ? &probes[kind] : NULL;
}

int sl_transducer_find(const char *name)
{
    for (int i = 0; name && i < SL_TRANSDUCERS; i++)
        if (!strcmp(probes[i].name, name))
            return i;
    return -1;
}

double sl_transducer_opening_rad(const sl_transducer *probe)
{
    return probe->radius_mm > 0 ? probe->footprint_mm / probe->radius_mm : probe->sector_rad;
}

double sl_transducer_field_mm(const sl_transducer *probe, double depth_mm)
{
    if (probe->radius_mm > 0)
        return sl_transducer_opening_rad(probe) * (probe->radius_mm + depth_mm);
    return probe->sector_rad > 0 ? probe->sector_rad * depth_mm : probe->footprint_mm;
}

double sl_transducer_acceptance_rad(const sl_transducer *probe, double freq_mhz, double speed_m_s)
{
    double half = sl_width_constant(SL_WIDTH_ONE_WAY_6DB) / 2;
    double sine = half * sl_wavelength_mm(freq_mhz, speed_m_s) / probe->pitch_mm;
    return sine < 1 ? asin(sine) : SL_PI / 2;
}

double sl_transducer_aperture_most_mm(const sl_transducer *probe, double freq_mhz, double depth_mm,
                                      double speed_m_s)
{
    if (!(depth_mm > 0))
        return SL_UNKNOWN;
    double psi = sl_transducer_acceptance_rad(probe, freq_mhz, speed_m_s);
    double whole = probe->footprint_mm, seen;
    if (probe->radius_mm > 0) {
        double radius = probe->radius_mm;
        double phi = psi - asin(radius * sin(psi) / (radius + depth_mm));
        seen = 2 * radius * sin(phi);
        whole = 2 * radius * sin(fmin(SL_PI / 2, probe->footprint_mm / radius / 2));
    } else {
        seen = psi < SL_PI / 2 ? 2 * depth_mm * tan(psi) : HUGE_VAL;
    }
    return fmin(fmin(whole, seen), depth_mm / probe->f_number_least);
}
