#include "chest/random.h"
#include "chest/scenario.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>

/* A chest by chance. Ranges are those of adults in the ward as a clinician meets them (common practice, no source); the
 * grades differ in how steady, how well set and how plain they are, not in whether the rules of physics hold. */

typedef struct dice {
    uint64_t key;
    int64_t next;
} dice;

static double between(dice *d, double low, double high)
{
    return low + (high - low) * sl_uniform(d->key, d->next++);
}

static bool chance(dice *d, double share)
{
    return sl_uniform(d->key, d->next++) < share;
}

static double tidy(double value)
{
    return floor(value * 100 + 0.5) / 100;
}

static void probe_and_wall(dice *d, int grade, sl_scenario *s)
{
    sl_controls *c = &s->controls;
    sl_wall *w = &s->wall;
    double u = between(d, 0, 1);
    sl_scenario_probe_defaults(s, u < 0.68 ? SL_PROBE_CONVEX : u < 0.86 ? SL_PROBE_LINEAR : SL_PROBE_PHASED);
    bool linear = s->probe.kind == SL_PROBE_LINEAR;
    w->skin_mm = tidy(between(d, 1.2, 2.6));
    double thick = grade == 1 ? 1 : grade == 2 ? 1.3 : 1.7;
    w->fat_mm = tidy(linear ? between(d, 1.5, 8) : between(d, 2, 12 * thick));
    w->muscle_mm = tidy(linear ? between(d, 6, 13) : between(d, 8, 18));
    w->fascias = (int)between(d, 3, 12);
    w->conform = tidy(between(d, 0.45, 1));
    w->tilt_deg = tidy(between(d, -1, 1) * (grade == 1 ? 3 : grade == 2 ? 6 : 11));
    w->bow_mm = linear ? tidy(between(d, -0.3, 1.2)) : tidy(between(d, -1, 2));
    w->backscatter_db = tidy(between(d, -3, 6));
    if (grade > 1 && chance(d, 0.35))
        *(chance(d, 0.5) ? &w->lost_left : &w->lost_right) = tidy(between(d, 0.03, grade == 2 ? 0.12 : 0.25));
    s->probe.bandwidth = tidy(between(d, 0.35, 0.55));
    double pleura = sl_scenario_pleura_mm(s);
    if (s->probe.kind == SL_PROBE_CONVEX) {
        bool small = chance(d, 0.2);
        s->probe.radius_mm = tidy(small ? between(d, 12, 25) : between(d, 40, 62));
        s->probe.field_deg = tidy(small ? between(d, 60, 85) : between(d, 50, 70));
        s->probe.freq_mhz = tidy(small ? between(d, 3.5, 6) : between(d, 2.5, 5));
        if (small)
            s->probe.aperture_mm = 14;
    } else if (linear) {
        s->probe.freq_mhz = tidy(between(d, 6, 12));
        s->probe.width_mm = tidy(between(d, 28, 50));
    } else {
        s->probe.freq_mhz = tidy(between(d, 2, 3.5));
        s->probe.field_deg = tidy(between(d, 60, 90));
    }
    double deep = linear ? fmax(between(d, 30, 65), 1.9 * pleura) : fmax(between(d, 75, 175), 2.6 * pleura);
    c->depth_mm = floor(deep / 5 + 0.5) * 5;
    c->focus_mm = tidy(grade == 1 ? pleura * between(d, 0.9, 1.4) : between(d, 0.7 * pleura, grade == 2 ? 0.7 * c->depth_mm : c->depth_mm));
    c->focus_mm = fmax(c->focus_mm, 8);
}

static void controls(dice *d, int grade, sl_scenario *s)
{
    sl_controls *c = &s->controls;
    double pleura = sl_scenario_pleura_mm(s);
    c->beams = 96 + 16 * (int)between(d, 0, 9);
    c->dynamic_range_db = tidy(grade == 1 ? between(d, 55, 65) : grade == 2 ? between(d, 50, 72) : between(d, 45, 80));
    c->gain_db = tidy(between(d, -1, 1) * (grade == 1 ? 3 : grade == 2 ? 5 : 8));
    c->depth_gain_db_cm = tidy(between(d, -1, 1) * (grade == 1 ? 0.2 : 0.5));
    c->grey_map = (int)between(d, 0, 2.999);
    c->frame_rate_hz = floor(between(d, grade == 3 ? 12 : 18, 40));
    c->duration_s = tidy(between(d, grade == 1 ? 4 : 3, 6));
    if (grade > 1) {
        c->compound_angles = chance(d, 0.25) ? 3 : 1;
        c->harmonics = s->probe.freq_mhz < 4 && chance(d, 0.2);
        c->persistence_frames = chance(d, 0.3) ? 2 : 1;
        c->mirrored = chance(d, 0.15);
        if (chance(d, 0.4) && s->probe.kind == SL_PROBE_CONVEX)
            c->crop_top_mm = tidy(between(d, 0, 0.55 * pleura));
    }
    c->ruler = chance(d, 0.3);
    c->picture_height = 32 * (int)between(d, 11, 20);
    double most = sl_scenario_frame_rate_most_hz(s);
    if (c->frame_rate_hz > most)
        c->parallel_beams = (int)ceil(c->parallel_beams * c->frame_rate_hz / most);
}

static void ribs_and_motion(dice *d, int grade, sl_scenario *s)
{
    double pleura = sl_scenario_pleura_mm(s);
    s->ribs = 0;
    double wide = s->probe.kind == SL_PROBE_LINEAR ? s->probe.width_mm
                                                   : sl_rad(s->probe.field_deg) * (pleura + (s->probe.kind == SL_PROBE_CONVEX ? s->probe.radius_mm : 0));
    double gap = between(d, 17, 27), middle = between(d, -1, 1) * (grade == 1 ? 3 : grade == 2 ? 6 : 9);
    if (!chance(d, 0.12)) /* sometimes the probe lies along a space */
        for (int side = -2; side <= 1 && s->ribs < SL_MOST_RIBS; side++) {
            double width = between(d, 10, 16), height = between(d, 6, 9);
            double x = middle + (side + 0.5) * (gap + width);
            if (fabs(x) - 0.5 * width > 0.5 * wide)
                continue;
            double depth = fmax(pleura - between(d, 4, 7) - height * 0.5, s->wall.skin_mm + 2);
            if (depth > pleura - 2)
                continue;
            s->rib[s->ribs++] = (sl_rib){tidy(x), tidy(depth), tidy(width), tidy(height), false};
        }
    sl_motion *m = &s->motion;
    m->breaths_per_min = floor(between(d, 10, grade == 1 ? 22 : 34));
    m->ventilated = chance(d, 0.35);
    m->sliding_mm = tidy(between(d, grade == 3 ? 1.5 : 3, 14));
    m->through_mm = tidy(between(d, 0, grade == 1 ? 1.5 : 4));
    m->pleura_rise_mm = tidy(between(d, -0.3, 1.2));
    m->rib_glide_mm = tidy(between(d, 0, 2));
    m->beats_per_min = floor(between(d, 55, 125));
    m->pulse_mm = tidy(between(d, 0, 0.5));
    m->sway_mm = tidy(between(d, 0, grade == 1 ? 0.3 : grade == 2 ? 0.8 : 2));
}

static void lung(dice *d, int grade, sl_scenario *s)
{
    sl_lung *l = &s->lung;
    l->haze_db = tidy(between(d, -30, -20));
    /* What is scattered many times dies faster at higher frequencies (common practice, no source). */
    l->haze_decay_db_cm = tidy(between(d, 8, 15) * pow(fmax(s->probe.freq_mhz / 3.5, 1), 0.7));
    l->roughness = tidy(between(d, 0.1, grade == 1 ? 0.35 : 0.6));
    double kind = between(d, 0, 1);
    /* At 354 the ring falls as fast as the automatic depth gain rises (both grow with frequency): 8.686 pi f / Q a second
     * against 2 x 0.5 dB/cm/MHz. Lines that reach the far edge lie around it, short ones far below. */
    double q_low = grade == 1 ? 270 : 190;
    if (kind < 0.35) { /* none, or one short one */
        if (grade > 1 && chance(d, 0.4))
            l->trap[l->traps++] = (sl_trap){tidy(between(d, -15, 15)), 0, tidy(between(d, -30, -20)), 0.5, tidy(between(d, 30, 80))};
    } else if (kind < 0.8) { /* single ones */
        int count = 1 + (int)between(d, 0, grade == 1 ? 4 : 7);
        double step = between(d, 7, 11);
        for (int i = 0; i < count; i++)
            l->trap[l->traps++] = (sl_trap){tidy((i - 0.5 * (count - 1)) * step + between(d, -2, 2)), tidy(between(d, -1, 1) * (grade == 1 ? 0.8 : 2)),
                                            tidy(between(d, grade == 3 ? -30 : -26, -14)), tidy(between(d, 0.3, 0.9)), tidy(between(d, q_low, 460))};
    } else { /* merged */
        l->interstitial_per_cm = tidy(between(d, 1.5, 7));
        l->interstitial_db = tidy(between(d, -26, -16));
        l->interstitial_q = tidy(between(d, q_low, 420));
        l->interstitial_spread = tidy(between(d, 0.2, 0.8));
    }
    if (grade == 1)
        return;
    double wide = s->probe.kind == SL_PROBE_LINEAR ? 0.5 : 1;
    if (chance(d, 0.06)) {
        s->effusion.depth_mm = tidy(between(d, 4, 25) * wide);
        s->effusion.swing_mm = tidy(0.3 * s->effusion.depth_mm);
        s->effusion.kind = (int)between(d, 0, 2.999);
        s->effusion.solid_lung = chance(d, 0.4);
    } else if (chance(d, 0.10)) {
        s->consolidations = 1;
        s->consolidation[0] = (sl_consolidation){tidy(between(d, -8, 8)), tidy(between(d, 6, 40) * wide), tidy(between(d, 4, 30) * wide),
                                                 tidy(between(d, 0.2, 1)), (int)between(d, 0, 3.999), 2};
    } else if (chance(d, 0.06)) {
        s->pneumothorax.present = true;
        s->pneumothorax.edge_mm = tidy(between(d, -25, 12));
        s->pneumothorax.swing_mm = tidy(between(d, 0, 10));
    }
}

void sl_scenario_random(uint64_t seed, int grade, sl_scenario *scenario)
{
    dice d = {sl_hash(seed, 0x64696365), 0};
    sl_scenario_defaults(scenario);
    grade = grade < 1 ? 1 : grade > 3 ? 3 : grade;
    snprintf(scenario->name, sizeof scenario->name, "random-%llu-%d", (unsigned long long)seed, grade);
    snprintf(scenario->title, sizeof scenario->title, "An invented chest by chance, seed %llu, grade %d", (unsigned long long)seed, grade);
    scenario->grade = grade;
    scenario->seed = (double)(sl_hash(seed, 1) >> 12);
    probe_and_wall(&d, grade, scenario);
    ribs_and_motion(&d, grade, scenario);
    lung(&d, grade, scenario);
    controls(&d, grade, scenario);
}
