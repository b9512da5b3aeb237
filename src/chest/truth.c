#include "chest/truth.h"

#include "chest/private.h"
#include "chest/truth_table.h"
#include "core/json.h"
#include "core/units.h"

#include <stdlib.h>
#include <string.h>

static double shown_beam(const sl_chest *chest, double beam)
{
    return chest->scenario->controls.mirrored ? 1 - beam : beam;
}

static double shown_depth(const sl_chest *chest, double depth_mm)
{
    const sl_controls *c = &chest->scenario->controls;
    return (depth_mm - c->crop_top_mm) / (c->depth_mm - c->crop_top_mm);
}

static double gain_db(const sl_chest *chest, double depth_mm)
{
    int i = (int)(depth_mm / chest->sample_mm);
    i = i < 0 ? 0 : i >= chest->samples ? chest->samples - 1 : i;
    return sl_level_db((double)chest->depth_gain[i]);
}

/* What the haze and the receiver's noise show at a depth below the lung's surface at `from_mm`. */
static double background_db(const sl_chest *chest, double heard, double from_mm, double depth_mm)
{
    const sl_lung *l = &chest->scenario->lung;
    double haze = heard * pow(10, (l->haze_db - l->haze_decay_db_cm * (depth_mm - from_mm) / 10) / 20);
    return sl_level_db(hypot(haze, chest->noise)) + gain_db(chest, depth_mm);
}

/* What a source's ring has left, `after_mm` below its start: its own samples around there, for the slower tones outlive
 * the mean. 0.79: share of the middle of the line (frame.c: the three ways across). */
static double ring_db(const sl_chest *chest, const sl_site *site, double after_mm)
{
    int middle = (int)(after_mm / chest->sample_mm), half = (int)(4 / chest->sample_mm), n = 0;
    double power = 0;
    for (int i = middle - half; i <= middle + half; i++)
        if (i >= 0 && i < chest->ring_samples) {
            power += (double)site->re[0][i] * (double)site->re[0][i] + (double)site->im[0][i] * (double)site->im[0][i];
            n++;
        }
    return n ? 10 * log10(power / n + 1e-24) + sl_level_db(0.79) : -240;
}

typedef struct run {
    double first, last; /* columns */
} run;

static int by_first(const void *a, const void *b)
{
    double x = ((const run *)a)->first, y = ((const run *)b)->first;
    return (x > y) - (x < y);
}

/* Vertical artifacts: each source whose ring stands out at the pleura and stays above black to the far edge holds the
 * beams within the -6 dB width of its line; lines that touch are one run. */
static void vertical_artifacts(sl_chest *chest, const sl_pose *pose, sl_frame_truth *t)
{
    const sl_controls *c = &chest->scenario->controls;
    double slice_sd = chest->scenario->probe.slice_mm / 2.3548, range = c->dynamic_range_db;
    run runs[SL_MOST_SITES];
    int count = 0;
    struct sl_bench *bench = chest->bench[0];
    for (int i = 0; i < chest->sites; i++) {
        const sl_site *site = &chest->site[i];
        double off = (site->y_mm - pose->through_mm) / slice_sd, seen = exp(-0.5 * off * off);
        double x = site->x_mm + pose->lung_mm, column = x / chest->column_mm + 0.5 * (chest->columns - 1);
        if (seen < 0.05 || column < 0 || column > chest->columns - 1)
            continue;
        double at, heard = sl_chest_heard(chest, pose, column, bench, &at);
        if (!(heard > 0))
            continue;
        /* Seen where it stands out at a quarter, a half, three quarters of the way and near the far edge. A line that
         * reaches the far edge and most of the way there is one; one seen only on the way is a short one. */
        double share = sl_level_db(seen * heard), far = SL_REACHES * (c->depth_mm - c->crop_top_mm) + c->crop_top_mm;
        int on_the_way = 0;
        bool at_the_edge = false;
        for (int k = 1; k <= 4; k++) {
            double depth = at + (far - at) * k / 4;
            double level = share + ring_db(chest, site, depth - at) + gain_db(chest, depth) + sl_level_db(sl_chest_ring_focus(chest, at, depth));
            /* Steering angles put the line elsewhere each, so that the mean of levels shows a part of its height. */
            bool here = level > -range + SL_SEEN_FLOOR_DB &&
                        level > background_db(chest, heard, at, depth) + SL_SEEN_OVER_DB * c->compound_angles;
            on_the_way += here && k < 4;
            at_the_edge = here && k == 4;
        }
        if (!at_the_edge || on_the_way < 2) {
            t->short_runs += on_the_way > 0;
            continue;
        }
        double half = 1.177 * sl_chest_ring_sd_mm(chest, site, at) / chest->column_mm;
        runs[count++] = (run){fmax(column - half, 0), fmin(column + half, chest->columns - 1)};
    }
    qsort(runs, (size_t)count, sizeof runs[0], by_first);
    for (int i = 0; i < count; i++) {
        double first = runs[i].first / (chest->columns - 1), last = runs[i].last / (chest->columns - 1);
        double gap = SL_MERGE_GAP * (last - first);
        if (t->runs && first - t->last[t->runs - 1] < gap)
            t->last[t->runs - 1] = fmax(t->last[t->runs - 1], last);
        else if (t->runs < SL_MOST_RUNS) {
            t->first[t->runs] = first;
            t->last[t->runs++] = last;
        }
    }
}

/* Only what lies between the ribs can be seen: runs are cut to the columns that show pleura, a run under a rib falls into
 * its parts, and slivers at a rib's edge are no lines. */
static void cut_to_space(sl_chest *chest, const sl_pose *pose, sl_frame_truth *t)
{
    enum { FINE = 512 };
    const sl_scenario *sc = chest->scenario;
    double first[SL_MOST_RUNS], last[SL_MOST_RUNS];
    int runs = 0;
    for (int r = 0; r < t->runs; r++) {
        double from = -1, least = fmin(0.3 * (t->last[r] - t->first[r]), 0.02);
        for (int i = (int)(t->first[r] * FINE); i <= (int)(t->last[r] * FINE) + 1; i++) {
            double share = (double)i / FINE, x = sl_column_x(chest, share * (chest->columns - 1));
            bool seen = i <= (int)(t->last[r] * FINE) && share >= sc->wall.lost_left && share <= 1 - sc->wall.lost_right &&
                        sl_chest_rib_block(chest, pose, x) <= 0.5;
            if (seen && from < 0)
                from = share;
            if (!seen && from >= 0) {
                if (share - from > least && runs < SL_MOST_RUNS) {
                    first[runs] = fmax(from, t->first[r]);
                    last[runs++] = fmin(share, t->last[r]);
                }
                from = -1;
            }
        }
    }
    t->runs = runs;
    memcpy(t->first, first, sizeof first[0] * (size_t)runs);
    memcpy(t->last, last, sizeof last[0] * (size_t)runs);
}

/* The share of the space (beams that show pleura) that the runs hold. */
static double covered(const sl_frame_truth *t, const bool *space, int beams)
{
    int all = 0, held = 0;
    for (int b = 0; b < beams; b++) {
        double at = (b + 0.5) / beams;
        if (!space[b])
            continue;
        all++;
        for (int r = 0; r < t->runs; r++)
            if (at >= t->first[r] && at <= t->last[r]) {
                held++;
                break;
            }
    }
    return all ? (double)held / all : 0;
}

void sl_chest_frame_truth(sl_chest *chest, int index, sl_frame_truth *t)
{
    memset(t, 0, sizeof *t);
    const sl_scenario *sc = chest->scenario;
    sl_pose pose;
    sl_pose_at(sc, index / sc->controls.frame_rate_hz, &pose);
    t->time_s = pose.time_s;
    t->breath = pose.breath;
    t->lung_breath = pose.lung_breath;
    t->lung_mm = pose.lung_mm;
    t->a_line_db = t->a_line_over_db = -INFINITY;
    t->air_edge = t->base_edge = t->fluid_base_mm = NAN;
    double wide = chest->column_mm * (chest->columns - 1);
    bool space[SL_TRUTH_BEAMS];
    int shown = 0;
    struct sl_bench *bench = chest->bench[0];
    for (int b = 0; b < SL_TRUTH_BEAMS; b++) {
        double share = (b + 0.5) / SL_TRUTH_BEAMS, column = share * (chest->columns - 1), x = sl_column_x(chest, column);
        bool contact = share >= sc->wall.lost_left && share <= 1 - sc->wall.lost_right;
        t->shadow[b] = !contact || sl_chest_rib_block(chest, &pose, x) > 0.5;
        bool lung = !(sc->diaphragm.dome_mm > 0) &&
                    !(sc->base.organ != SL_ORGAN_NONE && x > sl_chest_base_edge(chest, &pose)) &&
                    !(sc->heart.present && x > sc->heart.edge_mm + pose.sway_mm);
        space[b] = lung && !t->shadow[b];
        if (!lung && !t->shadow[b] && sc->base.organ != SL_ORGAN_NONE && !(sc->diaphragm.dome_mm > 0))
            t->muscle_mm = sl_chest_diaphragm_mm(chest, &pose);
        t->dome_mm[b] = sl_chest_dome(chest, &pose, x);
        if (!contact || t->dome_mm[b] >= sc->controls.depth_mm)
            t->dome_mm[b] = NAN;
        t->pleura[b] = NAN;
        if (!space[b])
            continue;
        shown++;
        double depth = sl_chest_pleura(chest, &pose, x), at;
        t->pleura[b] = shown_depth(chest, depth);
        int which = -1;
        t->fluid_mm = fmax(t->fluid_mm, sl_chest_fluid(chest, &pose, x));
        if (sc->base.organ != SL_ORGAN_NONE) /* beams go towards the base: the last one with lung lies beside it */
            t->fluid_base_mm = sl_chest_fluid(chest, &pose, x);
        t->solid_mm = fmax(t->solid_mm, sl_chest_solid(chest, x - pose.lung_mm, &which));
        /* The first repeat: as frame.c makes it. */
        double strength = 0, heard = sl_chest_heard_repeat(chest, &pose, column, bench, &at, &strength);
        if (strength > 0 && 2 * at < sc->controls.depth_mm) {
            double level = sl_level_db(strength) + gain_db(chest, 2 * at);
            double over = level - background_db(chest, heard, at, 2 * at);
            if (fmin(level, 0) + over > fmin(t->a_line_db, 0) + t->a_line_over_db) {
                t->a_line_db = level;
                t->a_line_over_db = over;
            }
        }
    }
    t->space = (double)shown / SL_TRUTH_BEAMS;
    vertical_artifacts(chest, &pose, t);
    cut_to_space(chest, &pose, t);
    t->coverage = covered(t, space, SL_TRUTH_BEAMS);
    if (sc->pneumothorax.present) {
        double at = sl_chest_air_edge(chest, &pose) / wide + 0.5;
        t->air_edge = at > 0 && at < 1 ? shown_beam(chest, at) : NAN;
    }
    if (sc->base.organ != SL_ORGAN_NONE) {
        double at = sl_chest_base_edge(chest, &pose) / wide + 0.5;
        t->base_edge = at > 0 && at < 1 ? shown_beam(chest, at) : NAN;
    }
    if (sc->controls.mirrored) {
        for (int b = 0; b < SL_TRUTH_BEAMS / 2; b++) {
            int o = SL_TRUTH_BEAMS - 1 - b;
            double p = t->pleura[b], dome = t->dome_mm[b];
            t->dome_mm[b] = t->dome_mm[o];
            t->dome_mm[o] = dome;
            bool s = t->shadow[b];
            t->pleura[b] = t->pleura[o];
            t->shadow[b] = t->shadow[o];
            t->pleura[o] = p;
            t->shadow[o] = s;
        }
        for (int r = 0; r < t->runs; r++) {
            double f = t->first[r];
            t->first[r] = 1 - t->last[r];
            t->last[r] = 1 - f;
        }
        for (int r = 0; r < t->runs / 2; r++) {
            int o = t->runs - 1 - r;
            double f = t->first[r], l = t->last[r];
            t->first[r] = t->first[o];
            t->last[r] = t->last[o];
            t->first[o] = f;
            t->last[o] = l;
        }
    }
}
