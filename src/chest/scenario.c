#include "chest/scenario.h"

#include <math.h>
#include <string.h>

/* Probes by kind. Frequencies and apertures are common practice, no source (convex 2 to 5 MHz with a large footprint,
 * linear 6 to 13 MHz, phased 1 to 5 MHz); the physics sheet A7 has a face reflection of 0.2 as its example; 0.35 gives the
 * strength of A-lines seen on clinical pictures. */
static const sl_probe probe_of_kind[] = {
    [SL_PROBE_CONVEX] = {SL_PROBE_CONVEX, 3.5, 0.45, 60, 58, 0, 22, 1.7, 3.5, 0.35, -36},
    [SL_PROBE_LINEAR] = {SL_PROBE_LINEAR, 8.0, 0.5, 0, 0, 38, 16, 1.8, 1.5, 0.35, -38},
    [SL_PROBE_PHASED] = {SL_PROBE_PHASED, 2.8, 0.45, 9, 78, 0, 20, 1.4, 4.0, 0.35, -34},
};

void sl_scenario_probe_defaults(sl_scenario *scenario, sl_probe_kind kind)
{
    scenario->probe = probe_of_kind[kind];
    sl_controls *c = &scenario->controls;
    c->depth_mm = kind == SL_PROBE_LINEAR ? 50 : 120;
    c->focus_mm = kind == SL_PROBE_LINEAR ? 14 : 26;
    c->beams = kind == SL_PROBE_PHASED ? 128 : 192;
    scenario->lung.haze_decay_db_cm = kind == SL_PROBE_LINEAR ? 18 : 10;
}

void sl_scenario_defaults(sl_scenario *scenario)
{
    memset(scenario, 0, sizeof *scenario);
    strcpy(scenario->name, "plain");
    scenario->grade = 1;
    scenario->seed = 1;
    sl_scenario_probe_defaults(scenario, SL_PROBE_CONVEX);
    sl_controls *c = &scenario->controls;
    c->dynamic_range_db = 60;
    c->grey_map = SL_MAP_LINEAR;
    c->parallel_beams = 4;
    c->frame_rate_hz = 25;
    c->duration_s = 4;
    c->compound_angles = 1;
    c->compound_step_deg = 7;
    c->persistence_frames = 1;
    c->picture_height = 480;
    sl_wall *w = &scenario->wall;
    w->skin_mm = 2;
    w->fat_mm = 7;
    w->muscle_mm = 15;
    w->fascias = 9;
    w->texture = 1;
    w->conform = 0.7;
    scenario->ribs = 2;
    scenario->rib[0] = (sl_rib){-17, 16, 14, 8, false};
    scenario->rib[1] = (sl_rib){18, 16, 14, 8, false};
    sl_motion *m = &scenario->motion;
    m->breaths_per_min = 16;
    m->sliding_mm = 8;
    m->through_mm = 2;
    m->pleura_rise_mm = 0.6;
    m->rib_glide_mm = 0.8;
    m->beats_per_min = 75;
    m->pulse_mm = 0.2;
    m->sway_mm = 0.2;
    sl_lung *l = &scenario->lung;
    l->haze_db = -28;
    l->roughness = 0.25;
    l->interstitial_spread = 0.5;
    l->interstitial_from_mm = -200;
    l->interstitial_to_mm = 200;
    l->interstitial_db = -20;
    l->interstitial_q = 330;
    scenario->effusion.lung_mm = 25;
    scenario->base.dome_mm = 60;
    scenario->base.dome_width_mm = 60;
    scenario->diaphragm.radius_mm = 90;
    scenario->heart.depth_mm = 4;
}

double sl_scenario_pleura_mm(const sl_scenario *scenario)
{
    return scenario->wall.skin_mm + scenario->wall.fat_mm + scenario->wall.muscle_mm;
}

double sl_scenario_frame_rate_most_hz(const sl_scenario *scenario)
{
    const sl_controls *c = &scenario->controls;
    return 1.54e6 / (2 * c->depth_mm * c->beams * c->compound_angles) * c->parallel_beams;
}
