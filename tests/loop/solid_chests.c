#include "solid_chests.h"

#include "chest/random.h"

#include <math.h>

const char *const solid_names[SOLID_KINDS] = {"aerated",     "fluid", "fluid and collapsed lung", "subpleural consolidation",
                                              "lobar consolidation", "organ", "heart"};

typedef struct dice {
    uint64_t key;
    int64_t next;
} dice;

static double between(dice *d, double low, double high)
{
    return floor((low + (high - low) * sl_uniform(d->key, d->next++)) * 100 + 0.5) / 100;
}

void solid_scenario(solid_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *s)
{
    sl_scenario_random(seed, grade, s);
    dice d = {sl_hash(seed, 0x736F6C69), 0};
    double wide = s->probe.kind == SL_PROBE_LINEAR ? 0.45 : 1, pleura = sl_scenario_pleura_mm(s);
    double room = s->controls.depth_mm - pleura;
    s->consolidations = 0;
    s->effusion.depth_mm = s->effusion.swing_mm = 0;
    s->effusion.solid_lung = false;
    s->pneumothorax.present = false;
    s->controls.duration_s = duration_s;
    if (kind == SOLID_FLUID || kind == SOLID_FLUID_LUNG) {
        s->effusion.depth_mm = fmax(3, fmin(between(&d, 5, 45) * wide, 0.6 * room));
        s->effusion.swing_mm = floor(between(&d, 0.05, 0.4) * s->effusion.depth_mm * 100) / 100;
        s->effusion.kind = (int)between(&d, 0, 2.999);
        s->effusion.solid_lung = kind == SOLID_FLUID_LUNG;
        s->effusion.lung_mm = between(&d, 12, 30) * wide;
    } else if (kind == SOLID_SMALL) {
        s->consolidations = 1;
        s->consolidation[0] = (sl_consolidation){.x_mm = between(&d, -8, 8) * wide, .width_mm = between(&d, 8, 35) * wide,
                                                 .depth_mm = between(&d, 5, 22) * wide, .shred = between(&d, 0.2, 1),
                                                 .bronchogram = (int)between(&d, 0, 3.999), .bronchogram_move_mm = 2};
    } else if (kind == SOLID_LOBE) {
        s->consolidations = 1;
        s->consolidation[0] = (sl_consolidation){.width_mm = 200, .depth_mm = fmin(between(&d, 25, 70) * wide, 0.75 * room),
                                                 .shred = between(&d, 0.1, 0.5), .bronchogram = (int)(seed % 4),
                                                 .bronchogram_move_mm = between(&d, 2, 5)};
    } else if (kind == SOLID_ORGAN) {
        s->base.organ = between(&d, 0, 1) < 0.6 ? SL_ORGAN_LIVER : SL_ORGAN_SPLEEN;
        s->base.edge_mm = between(&d, -25, 12) * wide;
        s->base.swing_mm = between(&d, 4, 25) * wide;
        s->base.dome_mm = between(&d, 50, 90);
        s->base.dome_width_mm = between(&d, 50, 90);
    } else if (kind == SOLID_HEART) {
        s->heart.present = true;
        s->heart.edge_mm = between(&d, -20, 10) * wide;
        s->heart.depth_mm = between(&d, 4, 15);
    }
}
