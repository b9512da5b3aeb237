#include "chest/demo.h"

#include <stdio.h>
#include <string.h>

/* Harbour 7 does not exist. A ventilated chest with fluid in the lungs on the first date, mostly cleared on the second;
 * a dressing hides one zone on both, so that the examination has a gap to show. */
const char sl_demo_person[] = "Harbour 7 (invented)";
const char sl_demo_title[] = "Demo examination, invented: a simulated chest, no person";
const char sl_demo_question[] = "Invented example: is there less fluid in the lungs after two days of treatment?";
const char sl_demo_protocol[] = "8-zones";

typedef struct zone_state {
    int lines;             /* single vertical artifacts */
    double per_cm;         /* or merged ones */
    double effusion_mm;
    double solid_mm;       /* consolidation */
    double roughness;
} zone_state;

#define DAY1 "2031-03-04"
#define DAY2 "2031-03-06"
#define DRESSING "invented; the left basal lateral zone could not be scanned: dressing"

const sl_demo_clip sl_demo_clips[] = {
    {DAY1, "R-upper-anterior", "r-upper-anterior", "invented"},
    {DAY1, "R-lower-anterior", "r-lower-anterior", "invented"},
    {DAY1, "R-upper-lateral", "r-upper-lateral", "invented"},
    {DAY1, "R-basal-lateral", "r-basal-lateral", "invented"},
    {DAY1, "L-upper-anterior", "l-upper-anterior", DRESSING},
    {DAY1, "L-lower-anterior", "l-lower-anterior", "invented"},
    {DAY1, "L-upper-lateral", "l-upper-lateral", "invented"},
    {DAY2, "R-upper-anterior", "r-upper-anterior", "invented"},
    {DAY2, "R-lower-anterior", "r-lower-anterior", "invented"},
    {DAY2, "R-upper-lateral", "r-upper-lateral", "invented"},
    {DAY2, "R-basal-lateral", "r-basal-lateral", "invented"},
    {DAY2, "L-upper-anterior", "l-upper-anterior", DRESSING},
    {DAY2, "L-lower-anterior", "l-lower-anterior", "invented"},
    {DAY2, "L-upper-lateral", "l-upper-lateral", "invented"},
};
const int sl_demo_clip_count = (int)(sizeof sl_demo_clips / sizeof sl_demo_clips[0]);

static const zone_state states[] = {
    {3, 0, 0, 0, 0.25},   {0, 3.5, 0, 0, 0.3}, {0, 5.0, 0, 0, 0.35}, {0, 0, 16, 0, 0.3},
    {0, 0, 0, 0, 0.15},   {3, 0, 0, 0, 0.25},  {0, 2.5, 0, 9, 0.45},
    {0, 0, 0, 0, 0.18},   {2, 0, 0, 0, 0.22},  {3, 0, 0, 0, 0.3},    {2, 0, 0, 0, 0.25},
    {0, 0, 0, 0, 0.15},   {0, 0, 0, 0, 0.18},  {3, 0, 0, 4, 0.4},
};

void sl_demo_scenario(int index, sl_scenario *s)
{
    const sl_demo_clip *clip = &sl_demo_clips[index];
    const zone_state *state = &states[index];
    sl_scenario_defaults(s);
    snprintf(s->name, sizeof s->name, "demo-%s-%s", clip->date, clip->file);
    snprintf(s->title, sizeof s->title, "Invented: Harbour 7, %s, %s", clip->zone, clip->date);
    int place = index % 7;
    bool lateral = strstr(clip->zone, "lateral") != NULL;
    s->seed = 7000 + place; /* the same wall on both dates */
    s->wall.fat_mm = lateral ? 8 : 5;
    s->wall.muscle_mm = lateral ? 11 : 13 + place;
    double pleura = sl_scenario_pleura_mm(s);
    for (int r = 0; r < 2; r++)
        s->rib[r] = (sl_rib){(r ? 18.5 : -17.5) + 0.8 * (place - 3), pleura - 8.5, 13, 7.5, false};
    s->controls.depth_mm = lateral ? 130 : 110;
    s->controls.focus_mm = pleura;
    s->controls.frame_rate_hz = 20;
    s->controls.duration_s = 4;
    s->controls.ruler = true;
    s->controls.gain_db = 3;
    s->motion.ventilated = true;
    s->motion.breaths_per_min = 18;
    s->motion.sliding_mm = 4 + 2 * (place % 3);
    s->motion.beats_per_min = 88;
    s->motion.pulse_mm = place > 3 ? 0.35 : 0.1;
    s->motion.sway_mm = 0.25;
    s->lung.roughness = state->roughness;
    for (int i = 0; i < state->lines; i++) {
        static const double size[] = {0.46, 0.66, 0.88};
        s->lung.trap[s->lung.traps++] = (sl_trap){(i - 0.5 * (state->lines - 1)) * 8.5 + (i % 2 ? 0.8 : -0.6), 0.4 * (i - 1), -15 - 1.5 * i,
                                                  size[i % 3], 340 + 30 * i};
    }
    s->lung.interstitial_per_cm = state->per_cm;
    s->lung.interstitial_db = -18;
    s->lung.interstitial_q = 330;
    if (state->solid_mm > 0) {
        s->consolidations = 1;
        s->consolidation[0] = (sl_consolidation){-2, 16, state->solid_mm, 0.7, SL_BRONCHO_AIR, 0};
    }
    if (state->effusion_mm > 0) {
        s->effusion.depth_mm = state->effusion_mm;
        s->effusion.swing_mm = 5;
        s->effusion.solid_lung = true;
        s->effusion.lung_mm = 22;
    }
    if (place == 3) { /* the base: liver and curtain, or fluid above the diaphragm */
        s->base = (sl_base){SL_ORGAN_LIVER, 22, 14, 55, 50, state->effusion_mm > 0 ? 95 : 0};
        s->ribs = 1;
    }
}
