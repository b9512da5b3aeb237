#include "chest/private.h"
#include "chest/random.h"
#include "core/units.h"

/* The chest wall along a beam: layers, bright fascias, ribs; then the pleura. What lies behind is in scene_behind.c. */

double sl_chest_noise(const sl_chest *chest, uint64_t key, double x)
{
    double at = (x + (double)(key & 0xFFFF) * 0.37) * SL_NOISE_STEPS;
    at -= floor(at / (SL_NOISE_KNOTS * SL_NOISE_STEPS)) * (SL_NOISE_KNOTS * SL_NOISE_STEPS);
    int i = (int)at;
    double f = at - i;
    return chest->noise_table[i] + f * (double)(chest->noise_table[i + 1] - chest->noise_table[i]);
}

double sl_chest_pleura(const sl_chest *chest, const sl_pose *pose, double x)
{
    const sl_wall *w = &chest->scenario->wall;
    double d = chest->pleura_mm, half = 0.5 * chest->columns * chest->column_mm;
    double r = d;
    if (chest->polar) {
        double flat = (chest->face_mm + d) / cos(x / (chest->face_mm + d)) - chest->face_mm;
        r = w->conform * d + (1 - w->conform) * flat;
    }
    double u = x / half;
    r += tan(sl_rad(w->tilt_deg)) * x + w->bow_mm * u * u;
    /* Thickness of muscle varies a little along the wall. */
    r += 0.012 * d * sl_chest_noise(chest, chest->seed ^ 0x7065, (x - pose->sway_mm) / 14);
    return fmax(r + pose->pleura_mm, 2);
}

double sl_chest_pleura_slope(const sl_chest *chest, const sl_pose *pose, double x)
{
    double e = 0.4;
    double a = sl_chest_pleura(chest, pose, x - e), b = sl_chest_pleura(chest, pose, x + e);
    return (b - a) / (2 * e * sl_spread(chest, 0.5 * (a + b)));
}

double sl_chest_directivity(const sl_chest *chest, double depth_mm, double slope)
{
    int i = (int)(depth_mm / chest->sample_mm);
    i = i < 0 ? 0 : i >= chest->samples ? chest->samples - 1 : i;
    /* Phase across a Gaussian beam of sd s: 2 k s slope; the coherent sum falls as exp(-phase^2 / 2). */
    double phase = 4 * SL_PI * chest->receive_mhz / 1.54 * chest->sigma_mm[i] * slope;
    return exp(-0.5 * phase * phase);
}

void sl_ray_segment(sl_ray *ray, const sl_chest *chest, double from_mm, double to_mm, sl_medium_id tissue, uint32_t field,
                    double shift_mm, double shift_depth_mm, double gain)
{
    if (ray->segments == SL_MOST_SEGMENTS || to_mm <= from_mm)
        return;
    sl_segment *s = &ray->segment[ray->segments++];
    double middle = 0.5 * (from_mm + to_mm);
    *s = (sl_segment){.from = (float)(from_mm / chest->sample_mm), .to = (float)(to_mm / chest->sample_mm), .tissue = tissue,
                      .field = field, .shift_columns = (float)(shift_mm / (chest->column_mm * sl_spread(chest, middle))),
                      .shift_rows = (float)(shift_depth_mm / chest->sample_mm), .gain = (float)gain};
}

void sl_ray_tissue(sl_ray *ray, const sl_chest *chest, double from, double to, sl_medium_id tissue, uint32_t field, double shift,
                   double shift_depth, double gain, double own_x)
{
    double step = fmax(4.5, (to - from) / 14);
    for (int i = 0; from < to; i++) {
        double end = fmin(from + step * (1 + 0.35 * sl_chest_noise(chest, field * 977u + (uint64_t)i, own_x / 5)), to);
        if (to - end < 1)
            end = to;
        double patch = exp(0.28 * sl_chest_noise(chest, chest->seed + field * 131u + (uint64_t)(i * 17), own_x / 6));
        sl_ray_segment(ray, chest, from, end, tissue, field, shift, shift_depth, gain * patch);
        from = fmax(end, from + 0.5);
    }
}

void sl_ray_echo(sl_ray *ray, const sl_chest *chest, double at_mm, double re, double im)
{
    if (ray->echoes == SL_MOST_ECHOES || at_mm < 0 || at_mm > (chest->samples - 4) * chest->sample_mm)
        return;
    ray->echo[ray->echoes++] = (sl_echo){(float)(at_mm / chest->sample_mm), (float)re, (float)im};
}

static double amplitude(double db)
{
    return pow(10, db / 20);
}

/* The wall between two depths: sheets of skin, fat, muscle and the muscle between the ribs, each of several lamellae whose
 * scatterers differ from place to place. They scale with the pleura's depth and lie on it like the pages of a book. */
static void wall_segments(const sl_chest *chest, const sl_pose *pose, double x, double pleura, double from, double to,
                          sl_ray *ray)
{
    double scale = pleura / chest->pleura_mm, boost = amplitude(chest->scenario->wall.backscatter_db), xt = x - pose->sway_mm;
    double upper = 0;
    for (int i = 0; i < chest->lamellae; i++) {
        const sl_lamella *l = &chest->lamella[i];
        double lower = l->end_mm;
        if (i + 1 < chest->lamellae)
            lower += l->undulation_mm * sl_chest_noise(chest, l->key, xt / l->wave_mm);
        lower = fmin(fmax(lower, upper), chest->pleura_mm);
        double a = fmax(upper * scale, from), b = fmin(lower * scale, to);
        upper = lower;
        if (b <= a)
            continue;
        double patch = amplitude(l->spread_db * sl_chest_noise(chest, l->key + 77, xt / l->wave_mm + 31));
        sl_ray_segment(ray, chest, a, b, l->tissue, (uint32_t)(100 + i), pose->sway_mm * (i ? 1 : 0.7),
                       pose->pleura_mm * (a / pleura), chest->scatter[l->tissue] * boost * l->gain * patch);
    }
}

static double layer_depth(const sl_chest *chest, const sl_wall_layer *layer, double x)
{
    return layer->depth_mm + layer->undulation_mm * sl_chest_noise(chest, layer->key, x / layer->wave_mm);
}

/* Bright layers: reflections by impedance, patchy because fibres come and go, weaker where they tilt. */
static void wall_layers(const sl_chest *chest, const sl_pose *pose, double x, double pleura, double stop, sl_ray *ray)
{
    double scale = pleura / chest->pleura_mm, xt = x - pose->sway_mm;
    double slope_pleura = sl_chest_pleura_slope(chest, pose, x) / pleura;
    for (int i = 0; i < chest->layers; i++) {
        const sl_wall_layer *layer = &chest->layer[i];
        double at = layer_depth(chest, layer, xt) * scale;
        if (at >= stop || at < 0.5)
            continue;
        double slope = (layer_depth(chest, layer, xt + 0.4) - layer_depth(chest, layer, xt - 0.4)) / 0.8 * scale /
                           sl_spread(chest, at) + slope_pleura * at;
        double patch = sl_chest_noise(chest, layer->key * 31 + 7, xt / layer->patch_mm);
        patch = patch > 0.1 ? fmin((patch - 0.1) * 1.6, 1.3) : 0;
        double rough = 0.25 * sl_chest_noise(chest, layer->key * 17 + 3, xt / 0.6);
        double a = layer->amplitude * patch * (sl_chest_directivity(chest, at, slope) + 0.2);
        sl_ray_echo(ray, chest, at, a, a * rough);
    }
}

bool sl_chest_rib(const sl_chest *chest, const sl_pose *pose, int rib, double x, double *top, double *bottom)
{
    const sl_rib *r = &chest->scenario->rib[rib];
    double middle = r->depth_mm + 0.5 * r->height_mm + pose->pleura_mm * 0.5;
    double off = (x - r->x_mm - pose->rib_mm) * sl_spread(chest, middle) / (0.5 * r->width_mm);
    if (fabs(off) >= 1)
        return false;
    double half = 0.5 * r->height_mm * sqrt(1 - off * off);
    *top = middle - half;
    *bottom = middle + half;
    return true;
}

/* How much of the beam's cone a rib cuts off (0..1): beams pass beside it with part of their aperture. */
static double rib_block(const sl_chest *chest, const sl_pose *pose, int rib, double x)
{
    const sl_rib *r = &chest->scenario->rib[rib];
    const sl_controls *c = &chest->scenario->controls;
    const sl_probe *p = &chest->scenario->probe;
    double middle = r->depth_mm + 0.5 * r->height_mm;
    double aperture = fmin(p->aperture_mm, c->focus_mm / p->fnumber);
    double cone = 0.4 * aperture * fabs(1 - middle / c->focus_mm) + 1.5;
    double over = 0.5 * r->width_mm - fabs(x - r->x_mm - pose->rib_mm) * sl_spread(chest, middle);
    double share = 0.5 + over / cone;
    share = share < 0 ? 0 : share > 1 ? 1 : share;
    return share * share * (3 - 2 * share);
}

double sl_chest_rib_block(const sl_chest *chest, const sl_pose *pose, double x)
{
    double block = 0;
    for (int r = 0; r < chest->scenario->ribs; r++)
        block = fmax(block, chest->scenario->rib[r].cartilage ? 0 : rib_block(chest, pose, r, x));
    return block;
}

/* Beams without contact: the sound runs to and fro in the lens and the gel; nothing comes from the body. */
static void no_contact(const sl_chest *chest, double x, sl_ray *ray)
{
    double a = 0.3;
    for (int k = 1; k <= 7; k++, a *= 0.55) {
        double at = k * (1.3 + 0.1 * sl_chest_noise(chest, 0x6C656E73, x / 6));
        sl_ray_echo(ray, chest, at, a, 0.3 * a * sl_chest_noise(chest, 0x67656C, x / 0.9 + 40 * k));
    }
}

void sl_chest_ray(const sl_chest *chest, const sl_pose *pose, double column, double steer, sl_ray *ray)
{
    const sl_scenario *sc = chest->scenario;
    ray->segments = ray->echoes = 0;
    ray->mirror_at = ray->ring_at = -1;
    ray->mirror_re = ray->mirror_im = ray->mirror_tilt = 0;
    ray->ring_gain = 1;
    double x0 = sl_column_x(chest, column), share = column / (chest->columns - 1);
    ray->contact = share >= sc->wall.lost_left && share <= 1 - sc->wall.lost_right;
    if (!ray->contact) {
        no_contact(chest, x0, ray);
        return;
    }
    /* The steered beam meets the pleura beside its own place; the arc coordinate shrinks with the spread. */
    double lean = tan(steer), x = x0, pleura = sl_chest_pleura(chest, pose, x);
    if (lean != 0)
        for (int i = 0; i < 2; i++) {
            x = x0 + pleura * lean / sl_spread(chest, pleura);
            pleura = sl_chest_pleura(chest, pose, x);
        }
    /* Ringing of the probe itself in the first millimetres. */
    for (int k = 0; k < 4; k++)
        sl_ray_echo(ray, chest, 0.3 + 0.45 * k, 0.12 * exp(-0.9 * k), 0.06 * sl_chest_noise(chest, 77, x0 / 2.0 + 100 * k));
    double stop = pleura, block = 0;
    int rib = -1;
    for (int r = 0; r < sc->ribs; r++) {
        double b = rib_block(chest, pose, r, x);
        if (b > block) {
            block = b;
            rib = r;
        }
    }
    if (rib >= 0 && block > 0.004) {
        const sl_rib *it = &sc->rib[rib];
        double top, bottom, e = 0.3, top_left, top_right, unused;
        bool hit = sl_chest_rib(chest, pose, rib, x, &top, &bottom);
        if (!hit) {
            top = it->depth_mm + 0.5 * it->height_mm;
            bottom = top + 0.05;
        }
        sl_medium_id tissue = it->cartilage ? SL_CARTILAGE : SL_BONE;
        double z1 = sl_medium_impedance_mrayl(SL_MUSCLE), z2 = sl_medium_impedance_mrayl(tissue);
        double reflect = (z2 - z1) / (z2 + z1);
        bottom = fmin(bottom, pleura - 0.3);
        top = fmin(top, bottom - 0.1);
        wall_segments(chest, pose, x, pleura, 0, top, ray);
        if (hit) {
            double slope = 0.8;
            if (sl_chest_rib(chest, pose, rib, x - e, &top_left, &unused) && sl_chest_rib(chest, pose, rib, x + e, &top_right, &unused))
                slope = (top_right - top_left) / (2 * e * sl_spread(chest, top));
            double straight = sl_chest_directivity(chest, top, 0.35 * slope);
            double grain = 0.5 + 0.5 * fabs(sl_chest_noise(chest, 0x626F6E65 + (uint64_t)rib, (x - it->x_mm - pose->rib_mm) / 0.8));
            double a = reflect * (0.8 * straight + 0.35 * grain / (1 + 3 * slope * slope));
            /* Periosteum and the rough cortex below it. */
            for (int k = 0; k < 3; k++)
                sl_ray_echo(ray, chest, top + 0.45 * k, a * exp(-0.9 * k),
                            0.6 * a * exp(-0.9 * k) * sl_chest_noise(chest, 0x72696273 + (uint64_t)(91 * k), (x - pose->rib_mm) / 0.7));
            ray->mirror_at = (float)(top / chest->sample_mm);
            ray->mirror_re = (float)(0.25 * reflect); /* a narrow arch scatters most of it aside */
            ray->mirror_tilt = (float)straight;
        }
        sl_ray_segment(ray, chest, top, bottom, hit ? tissue : SL_MUSCLE, 20, pose->rib_mm, 0,
                       hit ? chest->scatter[tissue] : 0);
        /* Both faces, and the bone's own attenuation for the blocked part of the aperture. */
        double through = (1 - reflect * reflect) * (1 - reflect * reflect);
        double np = it->cartilage ? 0 : 3.0;
        double left = 1 - block * (1 - through * exp(-np));
        if (ray->segments)
            ray->segment[ray->segments - 1].loss = (float)-log(fmax(left, 1e-4));
        wall_segments(chest, pose, x, pleura, bottom, pleura, ray);
        if (!it->cartilage && hit)
            stop = top;
    } else {
        wall_segments(chest, pose, x, pleura, 0, pleura, ray);
    }
    wall_layers(chest, pose, x, pleura, stop - 0.4, ray);
    float rib_mirror = ray->mirror_at, rib_re = ray->mirror_re, rib_tilt = ray->mirror_tilt;
    sl_chest_ray_behind(chest, pose, x, steer, pleura, ray);
    if (rib_mirror >= 0 && block > 0.6) {
        ray->mirror_at = rib_mirror;
        ray->mirror_re = rib_re;
        ray->mirror_im = 0;
        ray->mirror_tilt = rib_tilt;
    }
}
