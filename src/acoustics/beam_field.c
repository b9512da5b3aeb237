/* The beam's width by the diffraction integral. */
#include "acoustics/beam.h"

#include "core/units.h"

enum { FEWEST = 48, MOST = 1024, STEPS = 160 };

typedef struct source_line {
    int points;
    double from_mm[MOST],
        delay_mm[MOST]; /* place of each point and how much longer its way to the focus is */
} source_line;

/* Points every half wavelength are enough: the phase then changes by less than half a turn
 * between two. */
static void set_line(sl_aperture aperture, double wavelength_mm, source_line *line)
{
    double wanted = 2 * aperture.width_mm / wavelength_mm, focus_mm = aperture.focus_mm;
    line->points = wanted < FEWEST ? FEWEST : wanted > MOST ? MOST : (int)wanted;
    for (int i = 0; i < line->points; i++) {
        double from = aperture.width_mm * ((i + 0.5) / line->points - 0.5);
        line->from_mm[i] = from;
        line->delay_mm[i] = isfinite(focus_mm) ? hypot(from, focus_mm) - focus_mm : 0;
    }
}

/* Amplitude at (x, z), cylindrical spreading; phases relative to the way along the axis. */
static double field(double wave_number, const source_line *line, double x, double z)
{
    double re = 0, im = 0;
    for (int i = 0; i < line->points; i++) {
        double across = x - line->from_mm[i], way = sqrt(across * across + z * z);
        double phase = wave_number * (way - z - line->delay_mm[i]), weight = 1 / sqrt(way);
        re += weight * cos(phase);
        im += weight * sin(phase);
    }
    return hypot(re, im);
}

double sl_beam_width_integral_mm(double freq_mhz, sl_aperture transmit, sl_aperture receive, double depth_mm,
                                 double speed_m_s)
{
    double wavelength = sl_wavelength_mm(freq_mhz, speed_m_s);
    double narrow = fmin(transmit.width_mm, receive.width_mm);
    if (!(narrow > 0 && depth_mm > 0 && transmit.focus_mm > 0 && receive.focus_mm > 0 && wavelength > 0))
        return SL_UNKNOWN;
    source_line out, back;
    set_line(transmit, wavelength, &out);
    set_line(receive, wavelength, &back);
    double amplitude[STEPS];
    /* Far enough to the side to hold the geometric shadow and the first lobes; then, where the beam is
     * narrow, again over its inner part. */
    double k = 2 * SL_PI / wavelength, reach = narrow + 3 * wavelength * depth_mm / narrow;
    for (int look = 0;; look++) {
        double peak = 0;
        for (int i = 0; i < STEPS; i++) {
            double x = reach * i / STEPS;
            amplitude[i] = field(k, &out, x, depth_mm) * field(k, &back, x, depth_mm);
            peak = fmax(peak, amplitude[i]);
        }
        int last = STEPS - 1;
        while (last > 0 && amplitude[last] < peak / 2)
            last--;
        if (last >= STEPS / 4 || look == 2) { /* between two samples by a straight line */
            double share = 0;
            if (last + 1 < STEPS)
                share = (amplitude[last] - peak / 2) / (amplitude[last] - amplitude[last + 1]);
            return 2 * reach * (last + share) / STEPS;
        }
        reach *= 2.0 * (last + 1) / STEPS;
    }
}
