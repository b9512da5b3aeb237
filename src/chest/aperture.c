#include "chest/private.h"
#include "core/units.h"

#include <math.h>

/* Beam widths by the diffraction integral of line apertures with a Hamming weight, as arrays are driven to keep side
 * lobes down: field at (x, z) = sum over the aperture of weight * exp(j k (path to the point - path to the focus)) /
 * sqrt(path), at the centre frequency. Checked against a general-purpose simulator in tests/oracle/check_beam.py. */

enum { POINTS = 96, ACROSS = 64 };

/* Amplitude at x = i * step, i < ACROSS, at depth z, of an aperture focused at `focus`. */
static void profile(double freq_mhz, double aperture, double focus, double z, double step, double *amplitude)
{
    double k = 2 * SL_PI * freq_mhz / 1.54, place[POINTS], weight[POINTS], to_focus[POINTS];
    for (int p = 0; p < POINTS; p++) {
        double t = (p + 0.5) / POINTS - 0.5;
        place[p] = t * aperture;
        weight[p] = 0.54 + 0.46 * cos(2 * SL_PI * t);
        to_focus[p] = hypot(place[p], focus);
    }
    for (int i = 0; i < ACROSS; i++) {
        double x = i * step, re = 0, im = 0;
        for (int p = 0; p < POINTS; p++) {
            double path = hypot(x - place[p], z), turn = k * (path - to_focus[p]), w = weight[p] / sqrt(path);
            re += w * cos(turn);
            im += w * sin(turn);
        }
        amplitude[i] = hypot(re, im);
    }
}

/* Full width at half of the largest amplitude, from a half profile. */
static double full_width(const double *amplitude, double step)
{
    double most = 0;
    for (int i = 0; i < ACROSS; i++)
        most = fmax(most, amplitude[i]);
    for (int i = ACROSS - 1; i > 0; i--)
        if (amplitude[i - 1] >= 0.5 * most)
            return 2 * step * (i - 1 + (amplitude[i - 1] - 0.5 * most) / (amplitude[i - 1] - amplitude[i]));
    return 2 * step * ACROSS;
}

void sl_chest_beam_widths(const sl_chest *chest, double depth_mm, double *two_way_mm, double *transmit_mm)
{
    const sl_probe *p = &chest->scenario->probe;
    const sl_controls *c = &chest->scenario->controls;
    double z = fmax(depth_mm, 2);
    double transmit = fmin(p->aperture_mm, c->focus_mm / p->fnumber), receive = fmin(p->aperture_mm, z / p->fnumber);
    double a[ACROSS], b[ACROSS], lambda = 1.54 / p->freq_mhz;
    /* Wide enough for both, fine enough for the narrower. */
    double step = 4 * lambda * fmax(p->fnumber, z / receive) / ACROSS * 1.2;
    profile(p->freq_mhz, transmit, c->focus_mm, z, step, a);
    profile(chest->receive_mhz, receive, z, z, step, b);
    for (int i = 0; i < ACROSS; i++)
        b[i] *= c->harmonics ? a[i] * a[i] : a[i]; /* the harmonic grows with pressure squared */
    *two_way_mm = full_width(b, step);
    double wide = 1.2 * (transmit * fabs(1 - z / c->focus_mm) + 3 * lambda * z / transmit) / ACROSS;
    profile(p->freq_mhz, transmit, c->focus_mm, z, wide, a);
    *transmit_mm = full_width(a, wide) / (c->harmonics ? sqrt(2) : 1);
}
