#include "chest/private.h"
#include "chest/truth.h"
#include "chest/truth_behind.h"
#include "chest/truth_bronchi.h"
#include "chest/truth_table.h"
#include "core/json.h"
#include "core/quantile.h"
#include "core/units.h"

#include <stdlib.h>
#include <string.h>

/* The clip's truth as a reading. A finding that is there but that these settings cannot show keeps its value, has
 * confidence 0 and says why: nobody is to be blamed for what no one could see. */

static sl_finding *state(sl_reading *reading, sl_code code, double value)
{
    sl_finding *f = sl_reading_put(reading, code);
    f->known = isfinite(value);
    f->value = value;
    f->low = f->high = value;
    f->confidence = 1;
    return f;
}

static sl_finding *answer(sl_reading *reading, sl_code code, bool present)
{
    sl_finding *f = state(reading, code, present ? 1 : 0);
    f->answer = present ? SL_PRESENT : SL_ABSENT;
    return f;
}

static void unseen(sl_finding *f, sl_arena *arena, const char *why)
{
    f->confidence = 0;
    f->reason = sl_arena_text(arena, why);
}

static sl_evidence *box(sl_arena *arena, int count)
{
    sl_evidence *e = SL_NEW(arena, count > 0 ? count : 1, sl_evidence);
    for (int i = 0; e && i < count; i++)
        e[i] = (sl_evidence){.first_time_s = NAN, .last_time_s = NAN, .first_beam = 0, .last_beam = 1, .first_depth = 0, .last_depth = 1};
    return e;
}

/* The pleural line in every frame, as points between the ribs. */
static void pleura_evidence(const sl_frame_truth *t, int frames, sl_arena *arena, sl_finding *f)
{
    sl_evidence *e = box(arena, frames);
    if (!e)
        return;
    f->evidence = e;
    for (int i = 0; i < frames; i++) {
        double *beam = SL_NEW(arena, SL_TRUTH_BEAMS, double), *depth = SL_NEW(arena, SL_TRUTH_BEAMS, double);
        if (!beam || !depth)
            return;
        int n = 0;
        for (int b = 0; b < SL_TRUTH_BEAMS; b++)
            if (isfinite(t[i].pleura[b])) {
                beam[n] = (b + 0.5) / SL_TRUTH_BEAMS;
                depth[n++] = t[i].pleura[b];
            }
        if (!n)
            continue;
        sl_evidence *to = &e[f->evidences++];
        to->first_frame = to->last_frame = i;
        to->first_time_s = to->last_time_s = t[i].time_s;
        to->points = n;
        to->beam = beam;
        to->depth = depth;
        to->first_beam = beam[0];
        to->last_beam = beam[n - 1];
        to->first_depth = to->last_depth = depth[0];
        to->label = "pleural line";
    }
}

static void run_evidence(const sl_frame_truth *t, int frames, double depth, sl_arena *arena, sl_finding *f)
{
    int total = 0;
    for (int i = 0; i < frames; i++)
        total += t[i].runs;
    sl_evidence *e = box(arena, total);
    if (!e)
        return;
    f->evidence = e;
    for (int i = 0; i < frames; i++)
        for (int r = 0; r < t[i].runs; r++) {
            sl_evidence *to = &e[f->evidences++];
            to->first_frame = to->last_frame = i;
            to->first_time_s = to->last_time_s = t[i].time_s;
            to->first_beam = t[i].first[r];
            to->last_beam = t[i].last[r];
            to->first_depth = depth;
            to->label = "vertical artifact";
        }
}

static void a_lines(const sl_chest *chest, const sl_frame_truth *t, int frames, double rel, sl_arena *arena, sl_reading *reading)
{
    const sl_controls *c = &chest->scenario->controls;
    int shown = 0;
    double best = -INFINITY;
    for (int i = 0; i < frames; i++) {
        bool here = t[i].a_line_db > -c->dynamic_range_db + SL_SEEN_FLOOR_DB && t[i].a_line_over_db > SL_SEEN_OVER_DB;
        shown += here;
        best = fmax(best, t[i].a_line_over_db);
    }
    bool present = shown * 4 >= frames && frames > 0;
    sl_finding *f = answer(reading, SL_A_LINES, present);
    f->value = present ? 1 : isfinite(best) ? fmin(fmax(best / 20 + 0.3, 0), 0.49) : 0;
    f->low = f->high = f->value;
    double pleura_mm = rel * (c->depth_mm - c->crop_top_mm) + c->crop_top_mm;
    if (2 * pleura_mm > c->depth_mm)
        unseen(f, arena, "the first repeat lies below the imaged depth");
    int count = present ? (int)(c->depth_mm / pleura_mm) - 1 : 0;
    sl_finding *n = state(reading, SL_A_LINE_COUNT, count);
    n->reason = "repeats that lie within the imaged depth, seen or too weak";
    if (present)
        state(reading, SL_A_LINE_SPACING, c->crop_top_mm <= 0 ? 1 : pleura_mm / (c->depth_mm - c->crop_top_mm));
    if (present) {
        sl_evidence *e = box(arena, count);
        for (int k = 0; e && k < count; k++) {
            e[k].last_frame = frames - 1;
            e[k].first_depth = e[k].last_depth = ((k + 2) * pleura_mm - c->crop_top_mm) / (c->depth_mm - c->crop_top_mm);
            e[k].label = sl_arena_printf(arena, "A-line %d", k + 1);
        }
        f->evidence = e;
        f->evidences = e ? count : 0;
    }
}

/* Sliding, pulse, lung point, rate: from the motion that the scenario states. */
static void movement(const sl_chest *chest, const sl_frame_truth *t, int frames, sl_arena *arena, sl_reading *reading)
{
    const sl_scenario *sc = chest->scenario;
    const sl_motion *m = &sc->motion;
    double wide = chest->column_mm * (chest->columns - 1), low = INFINITY, high = -INFINITY;
    double first_edge = NAN, last_edge = NAN;
    bool air_all = sc->pneumothorax.present, air_some = false;
    for (int i = 0; i < frames; i++) {
        double slide = m->breaths_per_min > 0 ? m->sliding_mm * t[i].lung_breath : 0;
        low = fmin(low, slide);
        high = fmax(high, slide);
        if (isfinite(t[i].air_edge)) {
            air_some = true;
            first_edge = isnan(first_edge) ? t[i].air_edge : fmin(first_edge, t[i].air_edge);
            last_edge = isnan(last_edge) ? t[i].air_edge : fmax(last_edge, t[i].air_edge);
        }
    }
    double edge0 = sc->pneumothorax.edge_mm + 0.5 * sc->pneumothorax.swing_mm;
    air_all = air_all && !air_some && edge0 < 0; /* air under the whole picture */
    bool slides = high - low >= SL_SLIDES_MM && !air_all;
    double breath_frames = m->breaths_per_min > 0 ? 60 / m->breaths_per_min * sc->controls.frame_rate_hz : INFINITY;
    sl_finding *f = answer(reading, SL_SLIDING, slides);
    if (slides && breath_frames < SL_SLIDING_FRAMES)
        unseen(f, arena, "too few frames a breath to follow sliding");
    state(reading, SL_SLIDING_AMPLITUDE, air_all ? 0 : (high - low) / wide);
    state(reading, SL_SLIDING_AMPLITUDE_MM, air_all ? 0 : high - low);
    /* Against the pleura's movement towards the depth, which comes with the chest's breath. */
    if (slides && m->breaths_per_min > 0 && m->pleura_rise_mm != 0) {
        double turned = (m->pleura_rise_mm < 0 ? 180 : 0) + (sc->controls.mirrored ? 180 : 0);
        state(reading, SL_SLIDING_PHASE, remainder(360 * m->sliding_lag + turned, 360));
    }
    bool pulse = !slides && !air_all && m->beats_per_min > 0 && m->pulse_mm >= SL_PULSE_MM;
    f = answer(reading, SL_LUNG_PULSE, pulse);
    if (pulse && sc->controls.frame_rate_hz < 2 * m->beats_per_min / 60)
        unseen(f, arena, "too few frames a second for the heart's rate");
    bool point = sc->pneumothorax.present && air_some && m->breaths_per_min > 0 && sc->pneumothorax.swing_mm >= SL_SLIDES_MM;
    f = answer(reading, SL_LUNG_POINT, point);
    if (point) {
        sl_evidence *e = box(arena, 1);
        if (e) {
            e->last_frame = frames - 1;
            e->first_beam = first_edge;
            e->last_beam = last_edge;
            e->label = "lung point";
            f->evidence = e;
            f->evidences = 1;
        }
        state(reading, SL_LUNG_POINT_TRAVEL, (last_edge - first_edge) * wide);
    }
    f = state(reading, SL_BREATHING_RATE, m->breaths_per_min);
    if (m->breaths_per_min > 0 && sc->controls.duration_s * m->breaths_per_min / 60 < 1)
        unseen(f, arena, "the clip is shorter than a breath");
}

/* Excursion and thickness between the ends of the breath that the frames hold. */
static void diaphragm(const sl_chest *chest, const sl_frame_truth *t, int frames, sl_arena *arena, sl_reading *reading)
{
    const sl_scenario *sc = chest->scenario;
    double near = INFINITY, far = -INFINITY, thin = INFINITY, thick = -INFINITY, least = INFINITY, most = -INFINITY, fastest = 0;
    double begins = NAN;
    bool from_rest = false;
    for (int i = 0; i < frames; i++) {
        double dome = t[i].dome_mm[SL_TRUTH_BEAMS / 2];
        if (isfinite(dome)) {
            near = fmin(near, dome);
            far = fmax(far, dome);
        }
        if (t[i].muscle_mm > 0) {
            if (t[i].breath < least) {
                least = t[i].breath;
                thin = t[i].muscle_mm;
            }
            if (t[i].breath > most) {
                most = t[i].breath;
                thick = t[i].muscle_mm;
            }
        }
        /* The mean speed of the middle 80 % of the quickest inspiration that lies whole in the clip. */
        if (!i || t[i].breath <= t[i - 1].breath) {
            begins = NAN;
            from_rest = t[i].breath < 0.1;
        } else if (from_rest && t[i - 1].breath < 0.1 && t[i].breath >= 0.1) {
            begins = t[i - 1].time_s + (0.1 - t[i - 1].breath) / (t[i].breath - t[i - 1].breath) * (t[i].time_s - t[i - 1].time_s);
        }
        if (i && t[i - 1].breath < 0.9 && t[i].breath >= 0.9) {
            double ends = t[i - 1].time_s + (0.9 - t[i - 1].breath) / (t[i].breath - t[i - 1].breath) * (t[i].time_s - t[i - 1].time_s);
            if (ends > begins)
                fastest = fmax(fastest, 0.8 * fabs(sc->diaphragm.excursion_mm) / (ends - begins));
        }
    }
    bool seen = far >= near;
    sl_finding *f = answer(reading, SL_DIAPHRAGM, seen);
    if (!seen && sc->base.organ != SL_ORGAN_NONE)
        unseen(f, arena, "looked at through the ribs, not from below");
    if (seen) {
        state(reading, SL_DIAPHRAGM_EXCURSION, far - near);
        if (fastest > 0)
            state(reading, SL_DIAPHRAGM_SPEED, fastest);
    }
    if (most >= least) {
        state(reading, SL_DIAPHRAGM_THICKNESS, thin);
        state(reading, SL_DIAPHRAGM_THICKNESS_IN, thick);
        state(reading, SL_DIAPHRAGM_THICKENING, 100 * (thick - thin) / thin);
    }
}

static void the_rest(const sl_chest *chest, const sl_frame_truth *t, int frames, sl_arena *arena, sl_reading *reading)
{
    const sl_scenario *sc = chest->scenario;
    double fluid = 0, at_base = NAN, solid = 0, base_low = INFINITY, base_high = -INFINITY, room = 0;
    for (int i = 0; i < frames; i++) {
        fluid = fmax(fluid, t[i].fluid_mm);
        solid = fmax(solid, t[i].solid_mm);
        if (isfinite(t[i].base_edge)) {
            at_base = fmax(isfinite(at_base) ? at_base : 0, t[i].fluid_base_mm);
            base_low = fmin(base_low, t[i].base_edge);
            base_high = fmax(base_high, t[i].base_edge);
        }
    }
    if (sc->effusion.depth_mm > 0 && sc->effusion.solid_lung)
        solid = fmax(solid, sc->effusion.lung_mm);
    room = sc->controls.depth_mm - chest->pleura_mm;
    sl_finding *f = answer(reading, SL_EFFUSION, fluid >= SL_FLUID_MM);
    f = state(reading, SL_EFFUSION_DEPTH, fluid >= SL_FLUID_MM ? fluid : 0);
    if (fluid > room)
        unseen(f, arena, "the fluid goes on below the imaged depth");
    if (fluid >= SL_FLUID_MM) {
        state(reading, SL_EFFUSION_SWING, sc->motion.breaths_per_min > 0 ? sc->effusion.swing_mm : 0);
        if (isfinite(at_base))
            state(reading, SL_EFFUSION_BASE, at_base);
        answer(reading, SL_EFFUSION_SEPTA, sc->effusion.kind == SL_FLUID_SEPTATED);
        answer(reading, SL_EFFUSION_PARTICLES, sc->effusion.kind == SL_FLUID_PARTICLES);
    }
    f = answer(reading, SL_CONSOLIDATION, solid >= SL_SOLID_MM);
    f = state(reading, SL_CONSOLIDATION_EXTENT, solid >= SL_SOLID_MM ? solid : 0);
    if (solid >= SL_SOLID_MM && solid + fluid > room)
        unseen(f, arena, "solid lung goes on below the imaged depth");
    answer(reading, SL_PLEURA_IRREGULAR, sc->lung.roughness >= SL_IRREGULAR || (solid > 0.6 && solid < SL_SOLID_MM));
    bool organ = sc->diaphragm.dome_mm > 0 || (sc->base.organ != SL_ORGAN_NONE && (base_high >= base_low || sc->base.edge_mm < 0));
    bool heart = sc->heart.present && sc->heart.edge_mm < 0.5 * chest->columns * chest->column_mm;
    answer(reading, SL_ORGAN, organ || heart);
    if (heart && sc->motion.beats_per_min > 0)
        state(reading, SL_HEART_RATE, sc->motion.beats_per_min);
    bool curtain = organ && base_high > base_low && sc->motion.breaths_per_min > 0 && sc->base.swing_mm >= SL_SLIDES_MM &&
                   fluid < SL_FLUID_MM && solid < SL_SOLID_MM;
    answer(reading, SL_CURTAIN, curtain);
    if (curtain)
        state(reading, SL_CURTAIN_TRAVEL, (base_high - base_low) * chest->column_mm * (chest->columns - 1));
    diaphragm(chest, t, frames, arena, reading);
}

static sl_reading *reading_of(sl_chest *chest, const sl_frame_truth *t, int frames, const char *clip, sl_arena *arena)
{
    sl_reading *reading = sl_reading_new(arena, SL_BY_SIMULATOR, "strandline " SL_VERSION " simulator", clip);
    double *all = SL_NEW(arena, frames * SL_TRUTH_BEAMS, double);
    if (!reading || !all)
        return NULL;
    reading->method = "from the scenario's geometry; confidence 0 = these settings cannot show it";
    const sl_controls *c = &chest->scenario->controls;
    int n = 0, shadow = 0, most = 0;
    double coverage = 0;
    for (int i = 0; i < frames; i++) {
        for (int b = 0; b < SL_TRUTH_BEAMS; b++) {
            shadow += t[i].shadow[b];
            if (isfinite(t[i].pleura[b]))
                all[n++] = t[i].pleura[b];
        }
        most = t[i].runs > most ? t[i].runs : most;
        coverage = fmax(coverage, t[i].coverage);
    }
    double rel = sl_quantile(all, n, 0.5), tall = c->depth_mm - c->crop_top_mm;
    sl_finding *f = state(reading, SL_PLEURA_DEPTH, rel);
    pleura_evidence(t, frames, arena, f);
    if (!n)
        f->reason = "no pleura between ribs in the picture";
    else if (rel < 0.02)
        unseen(f, arena, "the pleura lies above the picture");
    state(reading, SL_PLEURA_DEPTH_MM, rel * tall);
    state(reading, SL_RIB_SHARE, (double)shadow / (frames * SL_TRUTH_BEAMS));
    a_lines(chest, t, frames, rel, arena, reading);
    f = answer(reading, SL_B_LINES, most > 0);
    run_evidence(t, frames, isfinite(rel) ? rel : 0, arena, f);
    state(reading, SL_B_LINE_COUNT, most);
    state(reading, SL_B_LINE_COVERAGE, coverage);
    answer(reading, SL_WHITE_LUNG, coverage >= SL_WHITE_SHARE);
    movement(chest, t, frames, arena, reading);
    the_rest(chest, t, frames, arena, reading);
    sl_chest_bronchi_truth(chest, frames, arena, reading);
    sl_chest_behind_truth(chest, frames, arena, reading);
    const sl_finding *solid = sl_reading_get(reading, SL_CONSOLIDATION_EXTENT);
    double extent = solid ? solid->value : 0;
    bool irregular = chest->scenario->lung.roughness >= SL_IRREGULAR;
    int score = extent > 10 || coverage >= SL_WHITE_SHARE ? 3 : extent > 0 || coverage > 0.5 ? 2 : most > 0 || irregular ? 1 : 0;
    state(reading, SL_SCORE, score);
    return reading;
}

static sl_frame_truth *all_frames(sl_chest *chest, int frames)
{
    sl_frame_truth *t = malloc(sizeof *t * (size_t)frames);
    for (int i = 0; t && i < frames; i++)
        sl_chest_frame_truth(chest, i, &t[i]);
    return t;
}

sl_reading *sl_chest_truth(sl_chest *chest, sl_arena *arena)
{
    int frames = sl_chest_frames(chest);
    sl_frame_truth *t = all_frames(chest, frames);
    sl_reading *reading = t ? reading_of(chest, t, frames, chest->scenario->name, arena) : NULL;
    free(t);
    return reading;
}

json_t *sl_chest_truth_json(sl_chest *chest, const char *clip, sl_error *error)
{
    int frames = sl_chest_frames(chest);
    sl_arena arena = {0};
    sl_frame_truth *t = all_frames(chest, frames);
    sl_reading *reading = t ? reading_of(chest, t, frames, clip, &arena) : NULL;
    json_t *root = reading ? sl_reading_to_json(reading) : NULL;
    if (root) {
        json_t *list = json_array();
        for (int i = 0; i < frames; i++) {
            json_t *runs = json_array();
            for (int r = 0; r < t[i].runs; r++)
                json_array_append_new(runs, json_pack("[o,o]", sl_json_number(t[i].first[r], 4), sl_json_number(t[i].last[r], 4)));
            json_array_append_new(
                list, json_pack("{s:o,s:o,s:o,s:o,s:i,s:o,s:o,s:o,s:o,s:o}", "time_s", sl_json_number(t[i].time_s, 4), "breath",
                                sl_json_number(t[i].breath, 4), "lung_mm", sl_json_number(t[i].lung_mm, 3), "vertical_artifacts", runs,
                                "short_ones", t[i].short_runs, "coverage", sl_json_number(t[i].coverage, 3), "air_edge_beam",
                                sl_json_number(t[i].air_edge, 4), "base_edge_beam", sl_json_number(t[i].base_edge, 4), "dome_mm", sl_json_number(t[i].dome_mm[SL_TRUTH_BEAMS / 2], 2), "diaphragm_mm",
                                sl_json_number(t[i].muscle_mm, 3)));
        }
        json_object_set_new(root, "simulated",
                            json_pack("{s:s,s:o,s:o}", "caution", "Invented: a simulated chest, no person.", "scenario",
                                      sl_scenario_to_json(chest->scenario), "frames", list));
    } else {
        sl_fail(error, SL_MEMORY, "Memory ran out while the truth was written.");
    }
    free(t);
    sl_arena_free(&arena);
    return root;
}
