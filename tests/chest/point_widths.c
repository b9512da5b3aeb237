/* Points in the simulator's picture: a unit echo in one column, through beam, pulse and detection. Prints for each probe
 * and depth the settings and the -6 dB width across, mm: freq_mhz bandwidth aperture_mm fnumber focus_mm depth_mm width_mm */
#include "phantom.h"

#include <stdio.h>
#include <string.h>

int main(void)
{
    static const struct { double freq, focus, depth[4]; } setting[] = {{3.5, 35, {20, 35, 60, 90}}, {8, 20, {10, 20, 30, 45}}, {5, 50, {20, 35, 50, 80}}};
    for (int k = 0; k < 3; k++) {
        sl_scenario s;
        even_medium(&s, setting[k].freq, 90);
        s.controls.depth_mm = 110;
        s.controls.beams = 400;
        s.controls.frame_rate_hz = 2;
        s.controls.focus_mm = setting[k].focus;
        sl_chest *chest = make_chest(&s);
        size_t n = (size_t)chest->samples;
        sl_pose pose;
        sl_pose_at(&s, 0, &pose);
        chest->noise = 0;
        for (int c = 0; c < chest->columns; c++)
            chest->ring[c].at = -1;
        for (int d = 0; d < 4; d++) {
            memset(chest->raw_re, 0, n * (size_t)chest->columns * sizeof(float));
            memset(chest->raw_im, 0, n * (size_t)chest->columns * sizeof(float));
            int beam = chest->beams / 2, sample = (int)(setting[k].depth[d] / chest->sample_mm + 0.5);
            chest->raw_re[(size_t)(beam * chest->over) * n + (size_t)sample] = 1;
            sl_chest_detect(chest, &pose, 0, 0, chest->level);
            double peak = level_at(chest, chest->level, beam, sample), before = peak;
            int b = beam;
            double at;
            while ((at = level_at(chest, chest->level, ++b, sample)) > peak - 6.0206)
                before = at;
            double half = (b - 1 - beam + (before - (peak - 6.0206)) / (before - at)) * chest->column_mm * chest->over;
            printf("%g %g %g %g %g %g %.4f\n", s.probe.freq_mhz, s.probe.bandwidth, s.probe.aperture_mm, s.probe.fnumber,
                   s.controls.focus_mm, sample * chest->sample_mm, 2 * half);
        }
        sl_chest_free(&chest);
    }
    return 0;
}
