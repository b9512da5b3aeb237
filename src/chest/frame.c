#include "chest/kernel.h"
#include "chest/private.h"
#include "chest/random.h"
#include "core/pool.h"
#include "core/units.h"

#include <string.h>

/* From the ways of the lines to levels in dB: scatterers, echoes, reverberation and ring-down along each column; the
 * beam across columns; depth gain, noise and the pulse along depth; detection. */

typedef struct sl_bench {
    sl_ray ray;
    float *heard;            /* [samples] share of amplitude left there and back */
    float *gain;             /* [SL_CHUNK] */
    float *back_re, *back_im; /* [4][SL_CHUNK + 3] */
    float *line_re, *line_im; /* [samples + 2 SL_AXIAL_HALF] */
    float *out_re, *out_im;  /* [samples] */
} sl_bench;

sl_status sl_bench_new(sl_chest *chest, struct sl_bench **bench, sl_error *error)
{
    size_t n = (size_t)chest->samples;
    sl_bench *b = SL_NEW(&chest->arena, 1, sl_bench);
    float *room = SL_NEW(&chest->arena, 6 * n + 4 * SL_AXIAL_HALF + 16 + SL_CHUNK + 8 * (SL_CHUNK + 8), float);
    if (!b || !room)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the simulator was set up.");
    b->heard = room;
    b->line_re = b->heard + n;
    b->line_im = b->line_re + n + 2 * SL_AXIAL_HALF;
    b->out_re = b->line_im + n + 2 * SL_AXIAL_HALF;
    b->out_im = b->out_re + n;
    b->gain = b->out_im + n;
    b->back_re = b->gain + SL_CHUNK;
    b->back_im = b->back_re + 4 * (SL_CHUNK + 8);
    *bench = b;
    return SL_OK;
}

/* Four-point cubic (Keys, a = -1/2) for a fraction in [0, 1). */
static void cubic(float f, float w[4])
{
    w[0] = ((-0.5f * f + 1) * f - 0.5f) * f;
    w[1] = (1.5f * f - 2.5f) * f * f + 1;
    w[2] = ((-1.5f * f + 2) * f + 0.5f) * f;
    w[3] = (0.5f * f - 0.5f) * f * f;
}

static int wrap(int i, int n)
{
    i %= n;
    return i < 0 ? i + n : i;
}

static void add_scatterers(const sl_chest *chest, const sl_segment *s, int column, int look, int from, int to, float a,
                           float b, float c, sl_bench *bench, float *re, float *im)
{
    uint64_t key = sl_hash(chest->seed, s->field + 1000u * (uint64_t)look);
    float across = (float)column - s->shift_columns + (float)(key & 255);
    float whole = floorf(across), cw[4], rw[4];
    cubic(across - whole, cw);
    double rows = s->backwards ? (double)s->shift_rows : -(double)s->shift_rows;
    double row_whole = floor(rows);
    cubic((float)(rows - row_whole), rw);
    int first_row = (int)row_whole + (int)(key >> 40 & 2047);
    /* Tissue that came nearer by d sends its echo earlier by the phase 2 k d. */
    double turn = s->backwards ? 0 : -4 * SL_PI * chest->receive_mhz / 1.54 * (double)s->shift_rows * chest->sample_mm;
    float phase_re = (float)cos(turn), phase_im = (float)sin(turn);
    for (int i = from; i < to; i += SL_CHUNK) {
        int count = to - i < SL_CHUNK ? to - i : SL_CHUNK;
        float x = (float)(i - from);
        sl_kernel_decay(count, a + x * (b + x * c), b + 2 * c * x, c, bench->gain);
        const float *tr[4], *ti[4];
        for (int k = 0; k < 4; k++) {
            int col = wrap((int)whole - 1 + k, SL_TILE_COLUMNS);
            if (!s->backwards) {
                size_t at = (size_t)col * SL_TILE_STRIDE + (size_t)wrap(first_row + i - 1, SL_TILE_ROWS);
                tr[k] = chest->tile_re + at;
                ti[k] = chest->tile_im + at;
            } else {
                float *r = bench->back_re + k * (SL_CHUNK + 8), *m = bench->back_im + k * (SL_CHUNK + 8);
                for (int j = 0; j < count + 3; j++) {
                    size_t at = (size_t)col * SL_TILE_STRIDE + (size_t)wrap(first_row - i - j + 1, SL_TILE_ROWS);
                    r[j] = chest->tile_re[at];
                    m[j] = chest->tile_im[at];
                }
                tr[k] = r;
                ti[k] = m;
            }
        }
        sl_kernel_fill(count, tr, ti, cw, rw, s->gain * phase_re, s->gain * phase_im, bench->gain, re + i, im + i);
    }
}

/* A point along depth between samples: a windowed sinc of 6 points, which the pulse then shapes. */
static void add_echo(const sl_chest *chest, float at, float c_re, float c_im, float *re, float *im)
{
    int base = (int)floorf(at);
    if (base < 0 || base >= chest->samples - 4)
        return;
    float norm = chest->coherent[base] / chest->axial_tap[0];
    for (int k = -2; k <= 3; k++) {
        int i = base + k;
        if (i < 0 || i >= chest->samples)
            continue;
        double d = i - (double)at, w = 1;
        if (fabs(d) > 1e-6)
            w = sin(SL_PI * d) / (SL_PI * d);
        double window = cos(SL_PI * d / 6.5);
        w *= window * window;
        re[i] += (float)w * norm * c_re;
        im[i] += (float)w * norm * c_im;
    }
}

/* Share of amplitude left there and back, by segment: exp(-(A f - A^2 s^2 / 2)) for a Gaussian spectrum of centre f and
 * sd s after A Np/MHz (sheet A5: the centre sinks by s^2 A). Also fills the scatterers where there is a line to
 * fill. */
static void walk(const sl_chest *chest, int column, int look, sl_bench *bench, float *re, float *im)
{
    const sl_ray *ray = &bench->ray;
    bool harmonics = chest->scenario->controls.harmonics;
    double f = chest->scenario->probe.freq_mhz * (harmonics ? 1.5 : 1);
    double spread2 = chest->spectrum_mhz * chest->spectrum_mhz;
    double total = 0, slope_sum = 0; /* Np so far; Np/MHz so far */
    int at = 0;
    for (int k = 0; k < ray->segments; k++) {
        const sl_segment *s = &ray->segment[k];
        int from = (int)ceilf(s->from), to = (int)ceilf(s->to);
        from = from < at ? at : from;
        to = to > chest->samples ? chest->samples : to;
        for (; at < from && at < chest->samples; at++)
            bench->heard[at] = (float)exp(-fmin(total, 80));
        if (to <= from)
            continue;
        total += (double)s->loss;
        double alpha = chest->alpha[s->tissue];
        double b = alpha * (f - spread2 * slope_sum), c = -0.5 * alpha * alpha * spread2;
        int count = to - from;
        if (b + 2 * c * count < 0.4 * alpha * f) { /* the spectrum cannot sink below its own foot */
            b = fmax(alpha * (f - spread2 * slope_sum), 0.4 * alpha * f);
            c = 0;
        }
        for (int i = 0; i < count; i += SL_CHUNK) {
            int n = count - i < SL_CHUNK ? count - i : SL_CHUNK;
            double x = i;
            sl_kernel_decay(n, (float)(total + x * (b + x * c)), (float)(b + 2 * c * x), (float)c, bench->heard + from + i);
        }
        if (s->gain > 0 && re)
            add_scatterers(chest, s, column, look, from, to, (float)total, (float)(b + (double)s->decay), (float)c, bench, re, im);
        total += count * (b + count * c);
        slope_sum += alpha * count;
        at = to;
    }
    for (; at < chest->samples; at++)
        bench->heard[at] = (float)exp(-fmin(total, 80));
}

static float heard_at(const sl_chest *chest, const sl_bench *bench, float at)
{
    int i = (int)at;
    i = i < 0 ? 0 : i >= chest->samples ? chest->samples - 1 : i;
    return bench->heard[i];
}

/* What is left of an amplitude after one more way from the mirror to the face and back to it, but for the mirror. */
static double round_trip(const sl_chest *chest, const sl_bench *bench)
{
    const sl_scenario *sc = chest->scenario;
    double face = sc->probe.face_reflection, mm = (double)bench->ray.mirror_at * chest->sample_mm;
    if (sc->controls.harmonics)
        face *= 0.35; /* repeats are weak when they make their harmonic: pressure squared */
    /* A convex face spreads what it throws back. */
    double curve = chest->polar && chest->face_mm > 0 ? sqrt(chest->face_mm / (chest->face_mm + 2 * mm)) : 1;
    return face * (double)heard_at(chest, bench, bench->ray.mirror_at) * curve;
}

/* Reverberation between the face and the mirror (sheet A7): the sum over k of (face x mirror)^k copies of the wall's
 * own line, shifted by k times the mirror's depth; each copy can lie before or after the k round trips in k + 1 ways. */
static void add_reverberation(const sl_chest *chest, sl_bench *bench, float tilt_erase, float *re, float *im)
{
    const sl_ray *ray = &bench->ray;
    float m = ray->mirror_at;
    if (m < 4)
        return;
    double heard = (double)heard_at(chest, bench, m), q = round_trip(chest, bench);
    double p_re = (double)ray->mirror_re * (double)tilt_erase, p_im = (double)ray->mirror_im * (double)tilt_erase;
    double c_re = 1, c_im = 0;
    int band = ray->ring_at >= 0 ? (int)(sl_chest_band_mm(chest) / chest->sample_mm) : 0; /* the thickness of the pleural line repeats with it */
    double tilt = (double)ray->mirror_tilt;
    int all = (int)m + band < chest->samples ? (int)m + band : chest->samples;
    memcpy(bench->out_re, re, sizeof(float) * (size_t)all);
    memcpy(bench->out_im, im, sizeof(float) * (size_t)all);
    const float *wall_re = bench->out_re, *wall_im = bench->out_im;
    for (int k = 1; k <= 6; k++) {
        double next = q * (c_re * p_re - c_im * p_im);
        c_im = q * (c_re * p_im + c_im * p_re);
        c_re = next;
        double shift = k * (double)m;
        int whole = (int)shift, reach = all;
        if (shift >= chest->samples)
            break;
        float part = (float)(shift - whole);
        double straight = pow(tilt, k * k), w = (k + 1) * straight;
        int count = chest->samples - whole < reach ? chest->samples - whole : reach;
        if (w * hypot(c_re, c_im) > 1e-5) {
            sl_kernel_add(count, (float)(w * c_re) * (1 - part), (float)(w * c_im) * (1 - part), NULL, wall_re, wall_im, re + whole, im + whole);
            if (count > 1)
                sl_kernel_add(count - 1, (float)(w * c_re) * part, (float)(w * c_im) * part, NULL, wall_re, wall_im, re + whole + 1,
                              im + whole + 1);
        }
        /* The mirror's own repeat: the A-line. */
        double a = pow(tilt, (k + 1) * (k + 1)) * heard, a_re = a * (c_re * p_re - c_im * p_im), a_im = a * (c_re * p_im + c_im * p_re);
        add_echo(chest, (float)((k + 1) * (double)m), (float)a_re, (float)a_im, re, im);
    }
}

/* How much of a source is in the slice now. */
static double in_slice(const sl_chest *chest, const sl_pose *pose, const sl_site *site)
{
    double off = (site->y_mm - pose->through_mm) / (chest->scenario->probe.slice_mm / 2.3548);
    return exp(-0.5 * off * off);
}

/* What a source at a distance takes from the mirror: it does not send straight back what it swallows. */
static double mirror_left(const sl_site *site, double seen, double d)
{
    double wide = 1.3;
    return 1 - 0.95 * fmin(1, seen * site->strength / 0.05) * exp(-0.5 * d * d / (wide * wide));
}

/* What the sources near this beam leave of the mirror. */
static float all_mirror_left(const sl_chest *chest, const sl_pose *pose, const sl_ray *ray)
{
    double left = 1;
    for (int i = 0; ray->ring_at >= 0 && i < chest->sites; i++) {
        const sl_site *site = &chest->site[i];
        double d = ray->lung_x - site->x_mm;
        if (fabs(d) < 5)
            left *= mirror_left(site, in_slice(chest, pose, site), d);
    }
    return (float)left;
}

/* Width of a vertical artifact: the transmitted beam where its source lies, for the receiver is out of focus there. */
double sl_chest_ring_sd_mm(const sl_chest *chest, const sl_site *site, double at_mm)
{
    int i = (int)(at_mm / chest->sample_mm);
    i = i < 0 ? 0 : i >= chest->samples ? chest->samples - 1 : i;
    return hypot((double)chest->transmit_sd_mm[i], site->spread_mm);
}

/* Vertical artifacts of a beam: the ring-down of each source that the beam's transmission reaches. */
static void add_ring_down(const sl_chest *chest, const sl_pose *pose, int column, sl_bench *bench, float *re, float *im)
{
    const sl_ring *ring = &chest->ring[column];
    if (ring->at < 0)
        return;
    /* The pleura's movement turns the phase of the whole ring. */
    double turn = -4 * SL_PI * chest->receive_mhz / 1.54 * pose->pleura_mm;
    int ready = -1;
    for (int i = 0; i < chest->sites; i++) {
        const sl_site *site = &chest->site[i];
        double d = ring->lung_x - site->x_mm, sd = sl_chest_ring_sd_mm(chest, site, (double)ring->at * chest->sample_mm);
        if (fabs(d) > 2.8 * sd)
            continue;
        double g = exp(-0.5 * d * d / (sd * sd)) * in_slice(chest, pose, site) * (double)ring->heard;
        if (g < 1e-6)
            continue;
        /* All beams hear it from where the source itself lies. */
        int own = column - (int)lround(d / chest->column_mm);
        float at = own >= 0 && own < chest->columns && chest->ring[own].at >= 0 ? chest->ring[own].at : ring->at;
        int start = (int)ceilf(at), count = chest->samples - start;
        if (count <= 0)
            continue;
        if (ready != start)
            for (int k = 0; k < count; k++)
                bench->heard[k] = (float)sl_chest_ring_focus(chest, (double)at * chest->sample_mm, (start + k) * chest->sample_mm);
        ready = start;
        /* Across: Hermite functions of orders 0 to 2, so that the three ways do not overlap in energy. */
        double u = d / sd, way[3] = {0.75 * g, 0.9 * u * g, 0.5 * (u * u - 0.5) * g};
        for (int k = 0; k < 3; k++)
            sl_kernel_add(count, (float)(way[k] * cos(turn)), (float)(way[k] * sin(turn)), bench->heard, site->re[k], site->im[k],
                          re + start, im + start);
    }
}

double sl_chest_heard_repeat(const sl_chest *chest, const sl_pose *pose, double column, struct sl_bench *bench, double *at_mm,
                             double *repeat)
{
    sl_chest_ray(chest, pose, column, 0, &bench->ray);
    const sl_ray *ray = &bench->ray;
    *repeat = 0;
    if (ray->mirror_at < 0)
        return 0;
    walk(chest, (int)column, 0, bench, NULL, NULL);
    *at_mm = (double)ray->mirror_at * chest->sample_mm;
    double left = (double)all_mirror_left(chest, pose, ray), strength = hypot((double)ray->mirror_re, (double)ray->mirror_im), tilt = (double)ray->mirror_tilt;
    double heard = (double)heard_at(chest, bench, ray->mirror_at);
    *repeat = heard * round_trip(chest, bench) * strength * strength * left * left * tilt * tilt * tilt * tilt;
    return heard;
}

double sl_chest_heard(const sl_chest *chest, const sl_pose *pose, double column, struct sl_bench *bench, double *at_mm)
{
    sl_chest_ray(chest, pose, column, 0, &bench->ray);
    if (bench->ray.ring_at < 0)
        return 0;
    walk(chest, (int)column, 0, bench, NULL, NULL);
    *at_mm = (double)bench->ray.ring_at * chest->sample_mm;
    return (double)heard_at(chest, bench, bench->ray.ring_at) * (double)bench->ray.ring_gain;
}

double sl_chest_heard_to(const sl_chest *chest, const sl_pose *pose, double column, struct sl_bench *bench, double depth_mm)
{
    sl_chest_ray(chest, pose, column, 0, &bench->ray);
    walk(chest, (int)column, 0, bench, NULL, NULL);
    return (double)heard_at(chest, bench, (float)(depth_mm / chest->sample_mm));
}

static void add_echoes(const sl_chest *chest, const sl_bench *bench, float from, float to, float *re, float *im)
{
    for (int k = 0; k < bench->ray.echoes; k++) {
        const sl_echo *e = &bench->ray.echo[k];
        if (e->at < from || e->at >= to)
            continue;
        float h = heard_at(chest, bench, e->at);
        add_echo(chest, e->at, h * e->re, h * e->im, re, im);
    }
}

void sl_chest_fill(const sl_chest *chest, const sl_pose *pose, double column, double steer, int look, struct sl_bench *bench,
                   float *re, float *im, sl_ring *ring)
{
    size_t bytes = sizeof(float) * (size_t)chest->samples;
    memset(re, 0, bytes);
    memset(im, 0, bytes);
    sl_ray *ray = &bench->ray;
    sl_chest_ray(chest, pose, column, steer, ray);
    walk(chest, (int)column, look, bench, re, im);
    float erase = all_mirror_left(chest, pose, ray);
    /* Echoes of the wall first: reverberation repeats them; the mirror's own has its own repeats. */
    float mirror = ray->mirror_at >= 0 ? ray->mirror_at - (float)(0.8 / chest->sample_mm) : 1e9f;
    add_echoes(chest, bench, -1e9f, mirror, re, im);
    if (ray->mirror_at >= 0)
        add_reverberation(chest, bench, erase, re, im);
    add_echoes(chest, bench, mirror, 2e9f, re, im);
    if (ring) /* for the vertical artifacts, which are added a beam at a time */
        *ring = (sl_ring){ray->ring_at, ray->ring_at >= 0 ? heard_at(chest, bench, ray->ring_at) * ray->ring_gain : 0, ray->lung_x};
}

typedef struct job {
    sl_chest *chest;
    const sl_pose *pose;
    int frame, look;
    double steer;
    float *level;
} job;

static void fill_block(void *context, int item, int worker)
{
    const job *j = context;
    sl_chest *chest = j->chest;
    int last = (item + 1) * SL_COLUMN_BLOCK;
    for (int c = item * SL_COLUMN_BLOCK; c < last && c < chest->columns; c++) {
        size_t at = (size_t)c * (size_t)chest->samples;
        sl_chest_fill(chest, j->pose, c, j->steer, j->look, chest->bench[worker], chest->raw_re + at, chest->raw_im + at,
                       &chest->ring[c]);
    }
}

/* Clutter: what comes in from other directions, by side lobes and through a wall that bends sound. Blocks of columns are
 * summed with phases by chance; a beam hears them, the near ones more. */
static void sum_clutter(void *context, int item, int worker)
{
    (void)worker;
    const job *j = context;
    sl_chest *chest = j->chest;
    size_t n = (size_t)chest->samples;
    float *re = chest->clutter_re + (size_t)item * n, *im = chest->clutter_im + (size_t)item * n;
    memset(re, 0, n * sizeof(float));
    memset(im, 0, n * sizeof(float));
    for (int c = item * SL_CLUTTER_BLOCK; c < (item + 1) * SL_CLUTTER_BLOCK && c < chest->columns; c += 2) {
        double turn = 2 * SL_PI * sl_uniform(chest->seed ^ 0x636C75, c);
        sl_kernel_add(chest->samples, (float)cos(turn), (float)sin(turn), NULL, chest->raw_re + (size_t)c * n, chest->raw_im + (size_t)c * n,
                      re, im);
    }
}

static void add_clutter(const sl_chest *chest, int column, float *re, float *im)
{
    int blocks = (chest->columns + SL_CLUTTER_BLOCK - 1) / SL_CLUTTER_BLOCK;
    double level = pow(10, chest->scenario->probe.clutter_db / 20) / sqrt(SL_CLUTTER_BLOCK / 2.0);
    for (int b = 0; b < blocks; b++) {
        double away = fabs(column - (b + 0.5) * SL_CLUTTER_BLOCK) * chest->column_mm;
        double g = level / (1 + away / 8), turn = 2 * SL_PI * sl_uniform(chest->seed ^ 0x636C76, (int64_t)b * 7919 + column / 6);
        sl_kernel_add(chest->samples, (float)(g * cos(turn)), (float)(g * sin(turn)), NULL,
                      chest->clutter_re + (size_t)b * (size_t)chest->samples, chest->clutter_im + (size_t)b * (size_t)chest->samples, re, im);
    }
}

static void beam_line(const sl_chest *chest, const sl_pose *pose, int beam, int frame, int look, sl_bench *bench)
{
    int n = chest->samples, middle = beam * chest->over;
    const float *re[2 * SL_MOST_KERNEL + 1], *im[2 * SL_MOST_KERNEL + 1], *weight[SL_MOST_KERNEL + 1];
    memset(bench->line_re, 0, sizeof(float) * (size_t)(n + 2 * SL_AXIAL_HALF));
    memset(bench->line_im, 0, sizeof(float) * (size_t)(n + 2 * SL_AXIAL_HALF));
    for (int i = 0; i < n; i += SL_CHUNK) {
        int count = n - i < SL_CHUNK ? n - i : SL_CHUNK, half = chest->half_of_chunk[i / SL_CHUNK];
        for (int k = -half; k <= half; k++) {
            int c = middle + k;
            /* Beyond the edge the tissue goes on: mirror the columns. */
            c = c < 0 ? -c : c >= chest->columns ? 2 * (chest->columns - 1) - c : c;
            c = c < 0 ? 0 : c >= chest->columns ? chest->columns - 1 : c;
            size_t at = (size_t)c * (size_t)n + (size_t)i;
            re[k + half] = chest->raw_re + at;
            im[k + half] = chest->raw_im + at;
        }
        for (int k = 0; k <= half; k++)
            weight[k] = chest->weight[k] + i;
        sl_kernel_lateral(count, half, re, weight, bench->line_re + SL_AXIAL_HALF + i);
        sl_kernel_lateral(count, half, im, weight, bench->line_im + SL_AXIAL_HALF + i);
    }
    uint64_t key = sl_hash(chest->seed ^ 0x6E6F6973, (uint64_t)frame * 4096 + (uint64_t)beam + ((uint64_t)look << 40));
    float *lr = bench->line_re + SL_AXIAL_HALF, *li = bench->line_im + SL_AXIAL_HALF;
    add_ring_down(chest, pose, middle, bench, lr, li);
    add_clutter(chest, middle, lr, li);
    for (int i = 0; i < n; i += SL_CHUNK) {
        int count = n - i < SL_CHUNK ? n - i : SL_CHUNK;
        uint64_t k2 = sl_hash(key, (uint64_t)i);
        size_t at = (size_t)(k2 % SL_TILE_COLUMNS) * SL_TILE_STRIDE + (size_t)(k2 >> 20) % SL_TILE_ROWS;
        float noise = (float)chest->noise;
        const float *nr = chest->tile_re + at, *ni = chest->tile_im + at, *g = chest->depth_gain + i;
        for (int k = 0; k < count; k++) {
            lr[i + k] = g[k] * (lr[i + k] + noise * nr[k]);
            li[i + k] = g[k] * (li[i + k] + noise * ni[k]);
        }
    }
    sl_kernel_axial(n, SL_AXIAL_HALF, chest->axial_tap, bench->line_re, bench->out_re);
    sl_kernel_axial(n, SL_AXIAL_HALF, chest->axial_tap, bench->line_im, bench->out_im);
}

static void detect_beam(void *context, int item, int worker)
{
    const job *j = context;
    sl_bench *bench = j->chest->bench[worker];
    beam_line(j->chest, j->pose, item, j->frame, j->look, bench);
    sl_kernel_level(j->chest->samples, bench->out_re, bench->out_im, j->level + (size_t)item * (size_t)j->chest->samples);
}

void sl_chest_one_line(sl_chest *chest, const sl_pose *pose, int beam, int frame, float *re, float *im, float *level)
{
    int half = 0, middle = beam * chest->over;
    size_t n = (size_t)chest->samples, blocks = (size_t)((chest->columns + SL_CLUTTER_BLOCK - 1) / SL_CLUTTER_BLOCK);
    for (int i = 0; i < (chest->samples + SL_CHUNK - 1) / SL_CHUNK; i++)
        half = chest->half_of_chunk[i] > half ? chest->half_of_chunk[i] : half;
    for (int c = middle - half; c <= middle + half; c++)
        if (c >= 0 && c < chest->columns)
            sl_chest_fill(chest, pose, c, 0, 0, chest->bench[0], chest->raw_re + (size_t)c * n, chest->raw_im + (size_t)c * n, &chest->ring[c]);
    memset(chest->clutter_re, 0, blocks * n * sizeof(float));
    memset(chest->clutter_im, 0, blocks * n * sizeof(float));
    sl_bench *bench = chest->bench[0];
    beam_line(chest, pose, beam, frame, 0, bench);
    if (re)
        memcpy(re, bench->out_re, n * sizeof(float));
    if (im)
        memcpy(im, bench->out_im, n * sizeof(float));
    if (level)
        sl_kernel_level(chest->samples, bench->out_re, bench->out_im, level);
}

void sl_chest_detect(sl_chest *chest, const sl_pose *pose, int frame, int look, float *level)
{
    job j = {chest, pose, frame, look, 0, level};
    sl_pool_run(chest->workers, (chest->columns + SL_CLUTTER_BLOCK - 1) / SL_CLUTTER_BLOCK, sum_clutter, &j);
    sl_pool_run(chest->workers, chest->beams, detect_beam, &j);
}

void sl_chest_levels(sl_chest *chest, const sl_pose *pose, int frame, float *level)
{
    const sl_controls *c = &chest->scenario->controls;
    int looks = c->compound_angles;
    size_t n = (size_t)chest->samples;
    for (int look = 0; look < looks; look++) {
        double steer = sl_rad(c->compound_step_deg) * (look - 0.5 * (looks - 1));
        job j = {chest, pose, frame, look, steer, looks > 1 ? chest->look : level};
        sl_pool_run(chest->workers, (chest->columns + SL_COLUMN_BLOCK - 1) / SL_COLUMN_BLOCK, fill_block, &j);
        sl_chest_detect(chest, pose, frame, look, j.level);
        if (looks == 1)
            return;
        /* Back to the unsteered grid: at depth r the steered beam lies r tan(steer) aside. */
        double lean = tan(steer), pitch = chest->column_mm * chest->over;
        for (int i = 0; i < chest->samples; i++) {
            double depth = fmax(i, 1) * chest->sample_mm, off = depth * lean / (pitch * sl_spread(chest, depth));
            for (int b = 0; b < chest->beams; b++) {
                double at = b - off;
                at = at < 0 ? 0 : at > chest->beams - 1.001 ? chest->beams - 1.001 : at;
                int b0 = (int)at;
                float f = (float)(at - b0);
                float v = (1 - f) * chest->look[(size_t)b0 * n + (size_t)i] + f * chest->look[(size_t)(b0 + 1) * n + (size_t)i];
                float *out = &level[(size_t)b * n + (size_t)i];
                *out = (look ? *out : 0) + v / (float)looks;
            }
        }
    }
}
