#include "chest/private.h"
#include "chest/random.h"
#include "core/units.h"

/* One breath, phase 0..1 from the start of inspiration -> 0..1. Spontaneous: smooth rise over 0.4, smooth fall over
 * 0.45, rest. By machine: constant flow over a third, exponential fall. A sniff: up over a tenth, back over a fifth (common
 * practice, no source). */
static double breath_shape(double phase, bool ventilated, bool sniff)
{
    if (ventilated) {
        if (phase < 0.33)
            return phase / 0.33;
        double fall = exp(-(phase - 0.33) / 0.13);
        double rest = exp(-0.67 / 0.13);
        return (fall - rest) / (1 - rest);
    }
    if (sniff)
        return phase < 0.1 ? 0.5 - 0.5 * cos(SL_PI * phase / 0.1) : phase < 0.3 ? 0.5 + 0.5 * cos(SL_PI * (phase - 0.1) / 0.2) : 0;
    if (phase < 0.4)
        return 0.5 - 0.5 * cos(SL_PI * phase / 0.4);
    if (phase < 0.85)
        return 0.5 + 0.5 * cos(SL_PI * (phase - 0.4) / 0.45);
    return 0;
}

void sl_pose_at(const sl_scenario *scenario, double time_s, sl_pose *pose)
{
    const sl_motion *m = &scenario->motion;
    uint64_t key = sl_hash((uint64_t)scenario->seed, 0x6D6F7665);
    pose->time_s = time_s;
    pose->breath = pose->lung_breath = 0.5;
    if (m->breaths_per_min > 0) {
        double start = sl_uniform(key, 1);
        double phase = start + time_s * m->breaths_per_min / 60;
        if (!m->ventilated) /* no breath is quite like the last */
            phase += 0.03 * sl_smooth_noise(sl_hash(key, 2), phase);
        pose->breath = breath_shape(phase - floor(phase), m->ventilated, m->sniff);
        double lung = phase - m->sliding_lag;
        pose->lung_breath = breath_shape(lung - floor(lung), m->ventilated, m->sniff);
    }
    pose->beat = 0;
    if (m->beats_per_min > 0) {
        double phase = sl_uniform(key, 3) + time_s * m->beats_per_min / 60;
        phase -= floor(phase);
        /* a quick push and a slower, smaller return */
        double push = (phase - 0.15) / 0.06, back = (phase - 0.38) / 0.1;
        pose->beat = exp(-0.5 * push * push) - 0.45 * exp(-0.5 * back * back);
    }
    /* An unsteady hand: slow drift and a faster part. */
    pose->sway_mm = m->sway_mm / 0.75 * (0.85 * sl_smooth_noise(sl_hash(key, 4), time_s / 0.9) +
                                         0.3 * sl_smooth_noise(sl_hash(key, 5), time_s / 0.2));
    pose->lung_mm = pose->sway_mm + m->sliding_mm * (pose->lung_breath - 0.5) + m->pulse_mm * pose->beat;
    pose->through_mm = m->through_mm * (pose->lung_breath - 0.5) +
                       0.3 * m->sway_mm * sl_smooth_noise(sl_hash(key, 6), time_s / 0.7);
    pose->pleura_mm = m->pleura_rise_mm * (pose->breath - 0.5) - 0.3 * m->pulse_mm * pose->beat;
    pose->rib_mm = pose->sway_mm + m->rib_glide_mm * (pose->breath - 0.5);
}
