#include "organ_chests.h"

#include "chest/random.h"
#include "moving_chests.h"
#include "solid_chests.h"

#include <math.h>

const char *const organ_kind_names[ORGAN_KINDS] = {"aerated", "small consolidation", "lobar consolidation", "fluid", "organ beside lung",
                                                   "organ from below", "heart", "fluid organ and spine", "fluid and organ without spine",
                                                   "deep organ beside lung", "solid lung organ and spine", "organ from below still"};

typedef struct dice {
    uint64_t key;
    int64_t next;
} dice;

static double between(dice *d, double low, double high)
{
    return floor((low + (high - low) * sl_uniform(d->key, d->next++)) * 100 + 0.5) / 100;
}

/* The base of a chest, looked at by a convex or sector probe from the side: organ to the right, lung to the left. */
static void side_base(dice *d, bool spine, sl_scenario *s)
{
    sl_controls *c = &s->controls;
    if (s->probe.kind == SL_PROBE_LINEAR)
        sl_scenario_probe_defaults(s, SL_PROBE_CONVEX);
    s->probe.freq_mhz = between(d, 2.2, 4.5);
    s->base.organ = between(d, 0, 1) < 0.5 ? SL_ORGAN_LIVER : SL_ORGAN_SPLEEN;
    s->base.edge_mm = between(d, -8, 16);
    s->base.swing_mm = between(d, 3, 15);
    s->base.dome_mm = between(d, 45, 75);
    s->base.dome_width_mm = between(d, 40, 80);
    double at = between(d, 90, 125);
    s->base.spine_mm = spine ? at : 0;
    c->depth_mm = floor((spine ? at + between(d, 15, 40) : at - between(d, 5, 15)) / 5 + 0.5) * 5;
    c->focus_mm = between(d, 0.5, 0.9) * c->depth_mm;
    c->parallel_beams = c->parallel_beams > 4 ? c->parallel_beams : 4;
}

void organ_scenario(organ_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *s)
{
    static const solid_kind alike[ORGAN_KINDS] = {SOLID_WELL, SOLID_SMALL, SOLID_LOBE, SOLID_FLUID, SOLID_ORGAN, SOLID_WELL, SOLID_HEART,
                                                  SOLID_FLUID_LUNG, SOLID_FLUID_LUNG, SOLID_WELL};
    dice d = {sl_hash(seed, 0x6F726761), 0};
    if (kind == ORGAN_BELOW || kind == ORGAN_STILL)
        moving_scenario(kind == ORGAN_BELOW ? MOVING_DOME : MOVING_DOME_STILL, seed, grade, duration_s, s);
    else
        solid_scenario(alike[kind], seed, grade, duration_s, s);
    if (kind == ORGAN_HEART && s->motion.beats_per_min < 50)
        s->motion.beats_per_min = floor(between(&d, 55, 120));
    if (kind < ORGAN_SPINE || kind == ORGAN_STILL)
        return;
    side_base(&d, kind != ORGAN_NO_SPINE, s);
    s->effusion.swing_mm = 0;
    if (kind == ORGAN_SPINE || kind == ORGAN_NO_SPINE) {
        s->effusion.swing_mm = 0.2 * s->effusion.depth_mm;
        s->effusion.solid_lung = true;
        s->effusion.lung_mm = between(&d, 12, 28);
    }
    if (kind == ORGAN_SOLID) {
        s->consolidations = 1;
        s->consolidation[0] = (sl_consolidation){.width_mm = 200, .depth_mm = between(&d, 30, 70), .shred = between(&d, 0.1, 0.5),
                                                 .bronchogram = (int)between(&d, 0, 3.999), .bronchogram_move_mm = 3};
    }
}
