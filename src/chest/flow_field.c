#include "chest/flow_field.h"

#include "chest/random.h"
#include "core/units.h"

#include <math.h>

/* How fast breath and heart push, -1 to 1: inspiration draws fluid away from the probe, for the lung comes down and the layer thins. */
static double push(const sl_chest *chest, const sl_pose *pose)
{
    const sl_motion *m = &chest->scenario->motion;
    const double step = 0.02;
    sl_pose before, after;
    sl_pose_at(chest->scenario, fmax(pose->time_s - step, 0), &before);
    sl_pose_at(chest->scenario, pose->time_s + step, &after);
    double span = after.time_s - before.time_s;
    double breath = m->breaths_per_min > 0 ? (after.breath - before.breath) / span * 60 / m->breaths_per_min / 4 : 0; /* at most some 4 a breath */
    double beat = m->beats_per_min > 0 ? (after.beat - before.beat) / span / 12 : 0;
    return fmax(-1, fmin(1, -0.9 * breath + 0.5 * beat));
}

static sl_flow_kind fluid(const sl_chest *chest, const sl_flow_controls *f, const sl_pose *pose, double x, double below, double thick, double *velocity)
{
    double across = below / thick, profile = fmin(1, 6 * across * (1 - across));
    double patch = 0.75 + 0.35 * sl_chest_noise(chest, chest->seed ^ 0x666C, x / 9 + 3.1 * across);
    *velocity = f->fluid_mm_s * push(chest, pose) * profile * patch;
    return SL_FLOWS_FLUID;
}

typedef struct tube {
    double s0, z0, s1, z1, half;
} tube;

/* A vessel that comes from the deep, and the two it parts into; lengths in mm, z below the lung's surface. */
static int lay_tubes(const sl_chest *chest, const sl_flow_controls *f, double deep, tube *t)
{
    int n = 0;
    for (int v = 0; v < f->vessels && v < 2; v++) {
        uint64_t key = chest->seed ^ (0x766573 + (uint64_t)v);
        double reach = fmin(deep, 45), s = (f->vessels > 1 ? (v ? 9 : -9) : 0) + 4 * (sl_uniform(key, 1) - 0.5), lean = 8 * (sl_uniform(key, 2) - 0.5);
        double fork = (0.40 + 0.2 * sl_uniform(key, 3)) * reach, half = 0.5 * f->vessel_mm;
        t[n++] = (tube){s, 0.92 * reach, s + lean, fork, half};
        t[n++] = (tube){s + lean, fork, s + lean - 0.35 * fork, 0.2 * fork + 1.5, 0.75 * half};
        t[n++] = (tube){s + lean, fork, s + lean + 0.45 * fork, 0.25 * fork + 1.5, 0.7 * half};
    }
    return n;
}

static sl_flow_kind vessels(const sl_chest *chest, const sl_flow_controls *f, const sl_pose *pose, double s, double below, double deep, double spread,
                            double *velocity)
{
    tube t[6];
    int tubes = lay_tubes(chest, f, deep, t);
    const sl_motion *m = &chest->scenario->motion;
    double pulse = m->beats_per_min > 0 ? 1 - f->vessel_pulse + f->vessel_pulse * fmax(pose->beat, 0) : 1;
    for (int i = 0; i < tubes; i++) {
        double as = (t[i].s1 - t[i].s0) * spread, az = t[i].z1 - t[i].z0, length = hypot(as, az);
        double ps = (s - t[i].s0) * spread, pz = below - t[i].z0;
        double along = (ps * as + pz * az) / length, off = fabs(ps * az - pz * as) / length;
        if (along < 0 || along > length || off >= t[i].half)
            continue;
        double near = off / t[i].half;
        *velocity = f->vessel_mm_s * pulse * (1 - near * near) * -az / length * (f->vessel_away ? -1 : 1);
        return SL_FLOWS_VESSEL;
    }
    return SL_FLOWS_NOT;
}

sl_flow_kind sl_flow_field(const sl_chest *chest, const sl_flow_controls *f, const sl_pose *pose, double x, double depth, double *velocity)
{
    *velocity = 0;
    const sl_scenario *sc = chest->scenario;
    double pleura = sl_chest_pleura(chest, pose, x), below = depth - pleura;
    if (below <= 0 || sl_chest_rib_block(chest, pose, x) > 0.5)
        return SL_FLOWS_NOT;
    double thick = sc->effusion.depth_mm > 0 ? sl_chest_fluid(chest, pose, x) : 0;
    if (f->fluid_mm_s > 0 && thick > 0.5 && below < thick)
        return fluid(chest, f, pose, x, below, thick, velocity);
    int which = -1;
    double s = x - pose->lung_mm, deep = sl_chest_solid(chest, s, &which);
    if (thick > 0 && sc->effusion.solid_lung)
        deep = fmax(deep, sc->effusion.lung_mm);
    below -= fmax(thick, 0);
    if (f->vessels < 1 || below <= 0 || below >= deep)
        return SL_FLOWS_NOT;
    return vessels(chest, f, pose, s, below, deep, sl_spread(chest, depth), velocity);
}

double sl_flow_turn_over(double velocity, double most)
{
    return velocity - 2 * most * floor((velocity + most) / (2 * most));
}
