/* The beam's width by the diffraction integral. */
#include "acoustics/beam.h"

#include "core/units.h"

enum { FEWEST = 64, MOST = 1024, STEPS = 400 };

/* Field at (x, z) of a line aperture focused at `focus_mm`, phases relative to the way along the axis;
 * cylindrical spreading. `phase` per element of the aperture is kept by the caller. */
static double field(double wave_number, double aperture_mm, int points, const double *delay_mm, double x,
                    double z)
{
    double re = 0, im = 0;
    for (int i = 0; i < points; i++) {
        double from = aperture_mm * ((i + 0.5) / points - 0.5);
        double way = sqrt((x - from) * (x - from) + z * z);
        double phase = wave_number * (way - z - delay_mm[i]), weight = 1 / sqrt(way);
        re += weight * cos(phase);
        im += weight * sin(phase);
    }
    return hypot(re, im);
}

static void set_delays(double aperture_mm, int points, double focus_mm, double *delay_mm)
{
    for (int i = 0; i < points; i++) {
        double from = aperture_mm * ((i + 0.5) / points - 0.5);
        delay_mm[i] = isfinite(focus_mm) ? hypot(from, focus_mm) - focus_mm : 0;
    }
}

double sl_beam_width_integral_mm(double freq_mhz, double aperture_mm, double transmit_mm, double receive_mm,
                                 double depth_mm, double speed_m_s)
{
    double wavelength = sl_wavelength_mm(freq_mhz, speed_m_s);
    if (!(aperture_mm > 0 && depth_mm > 0 && transmit_mm > 0 && wavelength > 0))
        return SL_UNKNOWN;
    if (!sl_known(receive_mm) && !isinf(receive_mm))
        receive_mm = depth_mm;
    /* points every third of a wavelength are enough: the phase changes by less than a third of a turn between
     * two */
    double wanted = 3 * aperture_mm / wavelength;
    int points = wanted < FEWEST ? FEWEST : wanted > MOST ? MOST : (int)wanted;
    double transmit_delay[MOST], receive_delay[MOST], amplitude[STEPS];
    set_delays(aperture_mm, points, transmit_mm, transmit_delay);
    set_delays(aperture_mm, points, receive_mm, receive_delay);
    /* Far enough to the side to hold the geometric shadow of the transmitted beam and its first lobes; finer
     * steps where the beam is narrow: one look at the coarse grid, one at its inner part. */
    double k = 2 * SL_PI / wavelength, reach = aperture_mm + 3 * wavelength * depth_mm / aperture_mm;
    for (int look = 0; look < 3; look++) {
        double peak = 0;
        for (int i = 0; i < STEPS; i++) {
            double x = reach * i / STEPS;
            amplitude[i] = field(k, aperture_mm, points, transmit_delay, x, depth_mm) *
                           field(k, aperture_mm, points, receive_delay, x, depth_mm);
            peak = fmax(peak, amplitude[i]);
        }
        int last = STEPS - 1;
        while (last > 0 && amplitude[last] < peak / 2)
            last--;
        if (last >= STEPS / 4 || look == 2) {
            /* between two samples by a straight line */
            double share =
                last + 1 < STEPS ? (amplitude[last] - peak / 2) / (amplitude[last] - amplitude[last + 1]) : 0;
            return 2 * reach * (last + share) / STEPS;
        }
        reach *= 2.0 * (last + 1) / STEPS;
    }
    return SL_UNKNOWN;
}
