#include "chest/modes.h"

#include "chest/flow_field.h"
#include "chest/flow_screen.h"
#include "chest/private.h"
#include "chest/random.h"
#include "core/pool.h"
#include "core/units.h"

#include <stdlib.h>
#include <string.h>

sl_status sl_chest_trace(sl_chest *chest, double beam, double rate_hz, int height, sl_arena *arena, sl_gray *trace,
                         sl_error *error)
{
    const sl_controls *c = &chest->scenario->controls;
    double lines = floor(c->duration_s * rate_hz + 0.5);
    if (!(beam >= 0 && beam <= 1) || !(rate_hz >= 1 && rate_hz <= 1.54e6 / (2 * c->depth_mm)) || !(lines >= 2 && lines <= 20000) ||
        height < 16 || height > 4096)
        return sl_fail(error, SL_USAGE, "A trace needs a beam from 0 to 1, 1 to %.0f lines a second (sound must come back from "
                       "%.0f mm), at most 20000 lines, and 16 to 4096 rows.", 1.54e6 / (2 * c->depth_mm), c->depth_mm);
    int width = (int)lines, n = chest->samples;
    uint8_t *pixel = SL_NEW(arena, (size_t)width * (size_t)height, uint8_t);
    float *level = SL_NEW(arena, n, float);
    if (!pixel || !level)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the trace was made.");
    int number = (int)floor((c->mirrored ? 1 - beam : beam) * (chest->beams - 1) + 0.5);
    for (int i = 0; i < width; i++) {
        sl_pose pose;
        sl_pose_at(chest->scenario, i / rate_hz, &pose);
        sl_chest_one_line(chest, &pose, number, i, NULL, NULL, level);
        for (int y = 0; y < height; y++) {
            double at = (c->crop_top_mm + (y + 0.5) / height * (c->depth_mm - c->crop_top_mm)) / chest->sample_mm;
            int k = (int)at;
            k = k > n - 2 ? n - 2 : k;
            double f = at - k, db = (1 - f) * (double)level[k] + f * (double)level[k + 1];
            double g = (db + c->dynamic_range_db) / c->dynamic_range_db * 1023;
            pixel[(size_t)y * (size_t)width + (size_t)i] = chest->grey[g < 0 ? 0 : g > 1023 ? 1023 : (int)g];
        }
    }
    *trace = (sl_gray){width, height, width, pixel};
    return SL_OK;
}

const float *sl_chest_lines(sl_chest *chest, int index, int *beams, int *samples, double *sample_mm)
{
    sl_pose pose;
    sl_pose_at(chest->scenario, index / chest->scenario->controls.frame_rate_hz, &pose);
    sl_chest_levels(chest, &pose, index, chest->level);
    *beams = chest->beams;
    *samples = chest->samples;
    *sample_mm = chest->sample_mm;
    return chest->level;
}

void sl_flow_defaults(const sl_chest *chest, sl_flow_controls *controls)
{
    double pleura = chest->pleura_mm / chest->scenario->controls.depth_mm;
    const sl_scenario *sc = chest->scenario;
    bool wet = sc->effusion.depth_mm > 0, solid = sc->consolidations > 0 || (wet && sc->effusion.solid_lung);
    double limit = 1.54e6 * 400 / (4 * chest->receive_mhz * 1e6);
    *controls = (sl_flow_controls){.pulse_hz = 400, .pulses = 8, .first_beam = 0.25, .last_beam = 0.75, .first_depth = fmax(pleura - 0.12, 0),
                                   .last_depth = fmin(pleura + 0.3, 1), .threshold_db = -38, .fluid_mm_s = wet ? 0.7 * limit : 0,
                                   .vessels = solid ? 1 : 0, .vessel_mm = 4, .vessel_mm_s = 0.8 * limit, .vessel_pulse = 0.5};
}

double sl_flow_velocity_most_mm_s(const sl_chest *chest, const sl_flow_controls *controls)
{
    return 1.54e6 * controls->pulse_hz / (4 * chest->receive_mhz * 1e6);
}

/* Per beam and sample of the box: lag-one autocorrelation and moving power. */
typedef struct flow {
    float *re, *im, *power;
    int first_beam, beams, first, samples;
} flow;

static sl_status measure(sl_chest *chest, const sl_flow_controls *f, int index, sl_arena *arena, flow *out, sl_error *error)
{
    const sl_controls *c = &chest->scenario->controls;
    if (f->pulses < 4 || f->pulses > 16 || !(f->pulse_hz >= 50 && f->pulse_hz <= 1.54e6 / (2 * c->depth_mm)) ||
        !(f->first_beam < f->last_beam && f->first_depth < f->last_depth))
        return sl_fail(error, SL_USAGE, "Colour flow needs 4 to 16 pulses at 50 to %.0f a second, and a box.", 1.54e6 / (2 * c->depth_mm));
    size_t n = (size_t)chest->samples;
    out->first_beam = (int)(fmax(f->first_beam, 0) * (chest->beams - 1));
    out->beams = (int)(fmin(f->last_beam, 1) * (chest->beams - 1)) - out->first_beam + 1;
    double tall = c->depth_mm - c->crop_top_mm;
    out->first = (int)((c->crop_top_mm + fmax(f->first_depth, 0) * tall) / chest->sample_mm);
    out->samples = (int)((c->crop_top_mm + fmin(f->last_depth, 1) * tall) / chest->sample_mm) - out->first;
    size_t cells = (size_t)out->beams * (size_t)out->samples;
    out->re = SL_NEW(arena, cells, float);
    out->im = SL_NEW(arena, cells, float);
    out->power = SL_NEW(arena, cells, float);
    float *re = SL_NEW(arena, n * (size_t)f->pulses, float), *im = SL_NEW(arena, n * (size_t)f->pulses, float);
    if (!out->re || !out->im || !out->power || !re || !im)
        return sl_fail(error, SL_MEMORY, "Memory ran out while flow was measured.");
    for (int b = 0; b < out->beams; b++) {
        for (int p = 0; p < f->pulses; p++) {
            sl_pose pose;
            sl_pose_at(chest->scenario, index / c->frame_rate_hz + p / f->pulse_hz, &pose);
            sl_chest_one_line(chest, &pose, out->first_beam + b, index * 16 + p + 1000003, re + (size_t)p * n, im + (size_t)p * n, NULL);
        }
        for (int i = 0; i < out->samples; i++) {
            size_t at = (size_t)(out->first + i), to = (size_t)b * (size_t)out->samples + (size_t)i;
            float mr = 0, mi = 0, ar = 0, ai = 0, power = 0;
            for (int p = 0; p < f->pulses; p++) {
                mr += re[(size_t)p * n + at] / (float)f->pulses;
                mi += im[(size_t)p * n + at] / (float)f->pulses;
            }
            for (int p = 0; p < f->pulses; p++) {
                float xr = re[(size_t)p * n + at] - mr, xi = im[(size_t)p * n + at] - mi;
                power += (xr * xr + xi * xi) / (float)f->pulses;
                if (p) {
                    float yr = re[(size_t)(p - 1) * n + at] - mr, yi = im[(size_t)(p - 1) * n + at] - mi;
                    ar += xr * yr + xi * yi;
                    ai += xi * yr - xr * yi;
                }
            }
            out->re[to] = ar;
            out->im[to] = ai;
            out->power[to] = power;
        }
    }
    return SL_OK;
}

/* Averaged over a small neighbourhood: velocity in mm/s towards the probe, power in dB. */
static double velocity_at(const sl_chest *chest, const sl_flow_controls *f, const flow *m, int b, int i, double *power_db)
{
    double re = 0, im = 0, power = 0;
    int count = 0;
    for (int db = -1; db <= 1; db++)
        for (int di = -2; di <= 2; di++) {
            int bb = b + db, ii = i + di;
            if (bb < 0 || bb >= m->beams || ii < 0 || ii >= m->samples)
                continue;
            size_t at = (size_t)bb * (size_t)m->samples + (size_t)ii;
            re += (double)m->re[at];
            im += (double)m->im[at];
            power += (double)m->power[at];
            count++;
        }
    *power_db = 10 * log10(power / count + 1e-20);
    /* A target that comes nearer by d turns the echo by +2 k d here (private.h: tissue nearer = earlier). */
    return atan2(im, re) * f->pulse_hz * 1.54 / (4 * SL_PI * chest->receive_mhz);
}

double sl_chest_flow_mean_mm_s(sl_chest *chest, const sl_flow_controls *f, int index)
{
    sl_arena arena = {0};
    flow m;
    double sum = 0, weight = 0;
    if (!measure(chest, f, index, &arena, &m, NULL))
        for (int b = 0; b < m.beams; b++)
            for (int i = 0; i < m.samples; i++) {
                double power, v = velocity_at(chest, f, &m, b, i, &power);
                if (power > f->threshold_db) {
                    sum += v;
                    weight++;
                }
            }
    sl_arena_free(&arena);
    return weight > 0 ? sum / weight : NAN;
}

/* The share below which the wall filter leaves nothing: slow flow cannot be told from tissue. */
#define WALL_FILTER 0.06

static sl_flow_kind shown_flow(const sl_chest *chest, const sl_flow_controls *f, const sl_pose *pose, double beam, double depth, double *share,
                               bool *turned_over)
{
    const sl_controls *c = &chest->scenario->controls;
    double most = sl_flow_velocity_most_mm_s(chest, f), v, at = c->crop_top_mm + depth * (c->depth_mm - c->crop_top_mm);
    double x = sl_column_x(chest, (c->mirrored ? 1 - beam : beam) * (chest->columns - 1));
    sl_flow_kind kind = sl_flow_field(chest, f, pose, x, at, &v);
    *share = sl_flow_turn_over(v, most) / most;
    *turned_over = fabs(v) > most;
    return kind != SL_FLOWS_NOT && fabs(v) > WALL_FILTER * most ? kind : SL_FLOWS_NOT;
}

void sl_chest_flow_truth(const sl_chest *chest, const sl_flow_controls *f, sl_flow_truth *truth)
{
    enum { ACROSS = 64, DEEP = 128 };
    *truth = (sl_flow_truth){0};
    double all = 0;
    int frames = sl_chest_frames(chest);
    for (int t = 0; t < frames; t++) {
        sl_pose pose;
        sl_pose_at(chest->scenario, t / chest->scenario->controls.frame_rate_hz, &pose);
        for (int i = 0; i < ACROSS * DEEP; i++) {
            double beam = f->first_beam + (f->last_beam - f->first_beam) * (i % ACROSS + 0.5) / ACROSS;
            double depth = f->first_depth + (f->last_depth - f->first_depth) * (i / ACROSS + 0.5) / DEEP, share;
            bool over;
            sl_flow_kind kind = shown_flow(chest, f, &pose, beam, depth, &share, &over);
            all++;
            if (kind == SL_FLOWS_NOT)
                continue;
            truth->fluid += kind == SL_FLOWS_FLUID;
            truth->vessel += kind == SL_FLOWS_VESSEL;
            truth->toward += share > 0;
            truth->away += share < 0;
            truth->turned_over += over;
        }
    }
    truth->turned_over /= fmax(truth->fluid + truth->vessel, 1);
    truth->fluid /= all;
    truth->vessel /= all;
    truth->toward /= all;
    truth->away /= all;
}

sl_status sl_chest_flow(sl_chest *chest, const sl_flow_controls *f, int index, const uint8_t **rgb, sl_error *error)
{
    sl_gray grey;
    sl_arena arena = {0};
    flow m;
    sl_status status = sl_chest_frame(chest, index, &grey, error);
    if (!status)
        status = measure(chest, f, index, &arena, &m, error);
    int width = chest->view.width + SL_FLOW_STRIP;
    size_t pixels = (size_t)width * (size_t)chest->view.height;
    if (!status && !chest->rgb && !(chest->rgb = SL_NEW(&chest->arena, 3 * pixels, uint8_t)))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while flow was drawn.");
    if (status) {
        sl_arena_free(&arena);
        return status;
    }
    const sl_controls *c = &chest->scenario->controls;
    double most = sl_flow_velocity_most_mm_s(chest, f), tall = c->depth_mm - c->crop_top_mm;
    sl_pose pose;
    sl_pose_at(chest->scenario, index / c->frame_rate_hz, &pose);
    memset(chest->rgb, 0, 3 * pixels);
    for (int y = 0; y < grey.height; y++)
        for (int x = 0; x < grey.width; x++) {
            uint8_t g = grey.pixel[(size_t)y * (size_t)grey.stride + (size_t)x], *out = chest->rgb + 3 * ((size_t)y * (size_t)width + (size_t)x);
            out[0] = out[1] = out[2] = g;
            double beam, depth, power;
            sl_view_from_pixel(&chest->view, x, y, &beam, &depth);
            if (!(beam >= f->first_beam && beam <= f->last_beam && depth >= f->first_depth && depth <= f->last_depth))
                continue;
            double share;
            bool over;
            if (shown_flow(chest, f, &pose, beam, depth, &share, &over) != SL_FLOWS_NOT) {
                uint64_t key = chest->seed ^ ((uint64_t)index << 32);
                double seen = share + 0.05 * sl_normal(key, (int64_t)y * grey.width + x); /* what a few pulses leave uncertain (practice) */
                sl_flow_colour(sl_flow_turn_over(seen, 1), f->blue_toward, out);
                continue;
            }
            int b = (int)((c->mirrored ? 1 - beam : beam) * (chest->beams - 1) + 0.5) - m.first_beam;
            int i = (int)((c->crop_top_mm + depth * tall) / chest->sample_mm) - m.first;
            if (b < 0 || b >= m.beams || i < 0 || i >= m.samples)
                continue;
            double v = velocity_at(chest, f, &m, b, i, &power) / most;
            if (power >= f->threshold_db && fabs(v) > WALL_FILTER)
                sl_flow_colour(v, f->blue_toward, out);
        }
    sl_flow_draw_bar(chest->rgb, width, chest->view.height, chest->view.width, most, f->blue_toward);
    sl_arena_free(&arena);
    *rgb = chest->rgb;
    return SL_OK;
}
