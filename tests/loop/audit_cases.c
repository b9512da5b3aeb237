#include "audit_cases.h"

#include "core/units.h"

#include <math.h>
#include <stdio.h>

/* A small generator of its own: the cases should not change when the simulator's does. */
static double dice(uint64_t *state, double low, double high)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return low + (high - low) * ((double)(*state >> 11) / 9007199254740992.0);
}

static void place_ribs(sl_scenario *s, double gap, double middle)
{
    double pleura = sl_scenario_pleura_mm(s);
    s->ribs = 2;
    for (int side = 0; side < 2; side++) {
        double height = 7.5, depth = fmax(pleura - 5 - 0.5 * height, s->wall.skin_mm + 3);
        s->rib[side] = (sl_rib){middle + (side ? 0.5 : -0.5) * (gap + 13), depth, 13, height, false};
    }
}

/* What common practice asks for (the audit's table): convex probe, 11 to 13 cm or 16 to 19 cm, two ribs and the space
 * between them in the middle, a still hand, six seconds and more. What the lung shows is by chance. */
void audit_chest(uint64_t seed, bool deep, sl_scenario *s)
{
    uint64_t d = seed * 2862933555777941757u + 3037000493u;
    for (int i = 0; i < 4; i++)
        dice(&d, 0, 1);
    sl_scenario_defaults(s);
    snprintf(s->name, sizeof s->name, "audit-%llu", (unsigned long long)seed);
    s->seed = (double)(seed % 1000003);
    s->wall.fat_mm = dice(&d, 3, 10);
    s->wall.muscle_mm = dice(&d, 9, 16);
    s->wall.conform = dice(&d, 0.5, 1);
    s->wall.tilt_deg = dice(&d, -2.5, 2.5);
    s->wall.backscatter_db = dice(&d, -2, 4);
    s->probe.radius_mm = dice(&d, 45, 62);
    s->probe.field_deg = dice(&d, 54, 68);
    s->probe.freq_mhz = deep ? dice(&d, 2.5, 3.6) : dice(&d, 3, 4.8);
    sl_controls *c = &s->controls;
    c->depth_mm = deep ? floor(dice(&d, 162, 188)) : floor(dice(&d, 112, 128));
    double pleura = sl_scenario_pleura_mm(s);
    c->focus_mm = dice(&d, pleura, 0.5 * c->depth_mm);
    c->gain_db = dice(&d, -2, 2);
    c->depth_gain_db_cm = dice(&d, -0.1, 0.1);
    c->dynamic_range_db = dice(&d, 56, 68);
    c->grey_map = (int)dice(&d, 0, 1.999); /* a hard map is a low range to the eye */
    c->beams = 128 + 16 * (int)dice(&d, 0, 4.999);
    c->frame_rate_hz = floor(dice(&d, 14, 19));
    c->duration_s = dice(&d, 6.2, 6.8);
    c->picture_height = 32 * (int)dice(&d, 12, 18);
    place_ribs(s, dice(&d, 18, 26), dice(&d, -3, 3));
    s->motion.breaths_per_min = floor(dice(&d, 12, 24));
    s->motion.ventilated = dice(&d, 0, 1) < 0.4;
    s->motion.sliding_mm = dice(&d, 3, 12);
    s->motion.through_mm = dice(&d, 0, 2);
    s->motion.rib_glide_mm = dice(&d, 0, 1.2);
    s->motion.sway_mm = dice(&d, 0, 0.3);
    s->lung.haze_db = dice(&d, -30, -22);
    double kind = dice(&d, 0, 1);
    if (kind < 0.35)
        s->lung.roughness = dice(&d, 0.1, 0.3);
    else if (kind < 0.6)
        for (int i = 0, lines = 1 + (int)dice(&d, 0, 3.999); i < lines; i++)
            s->lung.trap[s->lung.traps++] = (sl_trap){(i - 0.5 * (lines - 1)) * 8 + dice(&d, -1.5, 1.5), 0.5, dice(&d, -22, -14),
                                                      dice(&d, 0.4, 0.9), dice(&d, 300, 420)};
    else if (kind < 0.8) {
        s->lung.interstitial_per_cm = dice(&d, 1.5, 5);
        s->lung.interstitial_db = dice(&d, -22, -16);
    } else if (deep || kind < 0.9) {
        s->effusion.depth_mm = dice(&d, 8, deep ? 30 : 14);
        s->effusion.swing_mm = 0.25 * s->effusion.depth_mm;
        s->effusion.solid_lung = true;
    } else {
        s->consolidations = 1;
        s->consolidation[0] = (sl_consolidation){dice(&d, -4, 4), dice(&d, 14, 30), dice(&d, 8, 22), 0.6, SL_BRONCHO_AIR, 0};
    }
    double most = sl_scenario_frame_rate_most_hz(s);
    if (c->frame_rate_hz > most)
        c->parallel_beams = (int)ceil(c->parallel_beams * c->frame_rate_hz / most);
}

/* ---- one thing wrong ---- */

static double mix(double low, double high, double u)
{
    return low + (high - low) * u;
}

static void none(sl_scenario *s, double u)
{
    (void)s;
    (void)u;
}

static void shallow(sl_scenario *s, double u)
{
    s->controls.depth_mm = floor(s->controls.depth_mm * mix(0.5, 0.72, u));
    s->controls.focus_mm = fmin(s->controls.focus_mm, 0.5 * s->controls.depth_mm);
}

static void deep_picture(sl_scenario *s, double u)
{
    s->controls.depth_mm = floor(s->controls.depth_mm * mix(1.4, 1.6, u));
}

static void linear_probe(sl_scenario *s, double u)
{
    sl_controls kept = s->controls;
    sl_scenario_probe_defaults(s, SL_PROBE_LINEAR);
    kept.focus_mm = fmin(kept.focus_mm, 30);
    s->controls = kept;
    s->controls.beams = 192;
    s->probe.freq_mhz = mix(7, 11, u);
}

static void high_frequency(sl_scenario *s, double u)
{
    s->probe.freq_mhz = mix(7.5, 10, u);
}

static void far_focus(sl_scenario *s, double u)
{
    s->controls.focus_mm = s->controls.depth_mm * mix(0.85, 1.0, u);
}

static void gain_high(sl_scenario *s, double u)
{
    s->controls.gain_db += mix(22, 30, u);
}

static void gain_low(sl_scenario *s, double u)
{
    s->controls.gain_db -= mix(24, 32, u);
}

static void near_bright(sl_scenario *s, double u)
{
    s->controls.gain_db += mix(24, 30, u);
    s->controls.depth_gain_db_cm = -mix(3.2, 4, u);
}

static void far_dark(sl_scenario *s, double u)
{
    s->controls.depth_gain_db_cm -= mix(2.6, 4, u);
    s->controls.depth_gain_db_cm = fmax(s->controls.depth_gain_db_cm, -4);
    s->controls.gain_db += 3;
}

static void range_low(sl_scenario *s, double u)
{
    s->controls.dynamic_range_db = mix(30, 37, u);
}

static void range_high(sl_scenario *s, double u)
{
    s->controls.dynamic_range_db = mix(98, 110, u);
}

static void on_a_rib(sl_scenario *s, double u)
{
    double pleura = sl_scenario_pleura_mm(s);
    s->ribs = 5;
    for (int i = 0; i < 5; i++)
        s->rib[i] = (sl_rib){(i - 2) * 28 + mix(-4, 4, u), fmax(pleura - 9, 5), 30, 8, false};
}

static void tilted(sl_scenario *s, double u)
{
    s->wall.tilt_deg = (u < 0.5 ? -1 : 1) * mix(13, 20, fabs(2 * u - 1));
}

static void rib_in_the_middle(sl_scenario *s, double u)
{
    double pleura = sl_scenario_pleura_mm(s), depth = fmax(pleura - 9, 5);
    s->ribs = 3;
    for (int i = 0; i < 3; i++)
        s->rib[i] = (sl_rib){(i - 1) * 32 + mix(-3, 3, u), depth, i == 1 ? 24 : 14, 8, false};
}

static void contact_lost(sl_scenario *s, double u)
{
    *(u < 0.5 ? &s->wall.lost_left : &s->wall.lost_right) = mix(0.3, 0.45, fabs(2 * u - 1));
}

static void compounded(sl_scenario *s, double u)
{
    s->controls.compound_angles = u < 0.5 ? 5 : 7;
    s->controls.compound_step_deg = mix(4, 7, u);
    s->controls.parallel_beams *= s->controls.compound_angles;
}

static void harmonic(sl_scenario *s, double u)
{
    s->probe.freq_mhz = mix(1.8, 2.6, u);
    s->controls.harmonics = true;
}

static void persistent(sl_scenario *s, double u)
{
    s->controls.persistence_frames = 4 + (int)mix(0, 3.99, u);
}

static void too_short(sl_scenario *s, double u)
{
    s->controls.duration_s = mix(0.8, 2, u);
}

static void few_frames(sl_scenario *s, double u)
{
    s->controls.frame_rate_hz = floor(mix(3, 6, u));
}

static void moving(sl_scenario *s, double u)
{
    s->motion.sway_mm = mix(4, 8, u);
}

const audit_fault audit_faults[] = {
    {"", "", "nothing", false, none},
    {"depth-shallow", "", "depth 50 to 72 % of what is asked", false, shallow},
    {"depth-deep", "", "depth 140 to 160 %", false, deep_picture},
    {"probe-target", "frequency-high", "linear probe at that depth", false, linear_probe},
    {"frequency-high", "", "7.5 to 10 MHz with a convex probe", false, high_frequency},
    {"focus-off", "", "focus at 85 to 100 % of the depth", false, far_focus},
    {"gain-high", "near-bright", "gain 22 to 30 dB up", false, gain_high},
    {"gain-low", "", "gain 24 to 32 dB down", false, gain_low},
    {"near-bright", "gain-high", "near field up 24 to 30 dB, falling 3.2 to 4 dB/cm", false, near_bright},
    {"far-empty", "", "depth gain 2.6 to 4 dB/cm down", true, far_dark},
    {"range-low", "", "30 to 37 dB shown", false, range_low},
    {"range-high", "", "98 to 110 dB shown", false, range_high},
    {"pleura-unseen", "ribs", "probe along a rib", false, on_a_rib},
    {"tilted", "", "pleura tilted by 13 to 20 degrees", false, tilted},
    {"ribs", "not-between-ribs", "a rib in the middle", false, rib_in_the_middle},
    {"contact", "", "30 to 45 % of the face without contact", false, contact_lost},
    {"compounding", "", "5 or 7 angles averaged", false, compounded},
    {"harmonics", "", "second harmonic", false, harmonic},
    {"persistence", "", "4 to 7 frames averaged", false, persistent},
    {"length", "", "0.8 to 2 s", false, too_short},
    {"frame-rate", "", "3 to 6 pictures a second", false, few_frames},
    {"moving", "", "hand sways 4 to 8 mm", false, moving},
};
const int audit_fault_count = (int)(sizeof audit_faults / sizeof audit_faults[0]);
