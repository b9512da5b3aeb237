#include "chest/chest.h"

#include "chest/kernel.h"
#include "chest/private.h"
#include "chest/random.h"
#include "core/pool.h"
#include "core/units.h"

#include <stdlib.h>
#include <string.h>

static sl_status no_memory(sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while the simulator was set up.");
}

/* The fields of chance depend on the seed alone; `like` may be a chest that has them already, or NULL. */
static bool make_noise(sl_chest *chest, const sl_chest *like)
{
    size_t n = (size_t)SL_TILE_COLUMNS * SL_TILE_STRIDE, table = SL_NOISE_KNOTS * SL_NOISE_STEPS + 1;
    chest->tile_re = SL_NEW(&chest->arena, n, float);
    chest->tile_im = SL_NEW(&chest->arena, n, float);
    chest->noise_table = SL_NEW(&chest->arena, table, float);
    if (!chest->tile_re || !chest->tile_im || !chest->noise_table)
        return false;
    if (like && like->seed == chest->seed) {
        memcpy(chest->tile_re, like->tile_re, n * sizeof(float));
        memcpy(chest->tile_im, like->tile_im, n * sizeof(float));
        memcpy(chest->noise_table, like->noise_table, table * sizeof(float));
        return true;
    }
    uint64_t key = sl_hash(chest->seed, 0x74696C65);
    for (int c = 0; c < SL_TILE_COLUMNS; c++) {
        float *re = chest->tile_re + (size_t)c * SL_TILE_STRIDE, *im = chest->tile_im + (size_t)c * SL_TILE_STRIDE;
        for (int i = 0; i < SL_TILE_ROWS; i++) {
            uint64_t h = sl_hash(key, (uint64_t)(c * SL_TILE_ROWS + i)), g = sl_hash(h, 1);
            double r = sqrt(-log(1 - (double)(h >> 11) * 0x1p-53)), turn = 2 * SL_PI * (double)(g >> 11) * 0x1p-53;
            re[i] = (float)(r * cos(turn));
            im[i] = (float)(r * sin(turn));
        }
        memcpy(re + SL_TILE_ROWS, re, sizeof(float) * (SL_TILE_STRIDE - SL_TILE_ROWS));
        memcpy(im + SL_TILE_ROWS, im, sizeof(float) * (SL_TILE_STRIDE - SL_TILE_ROWS));
    }
    /* The smooth noise repeats after SL_NOISE_KNOTS: blend the ends. */
    uint64_t nk = sl_hash(chest->seed, 0x6E6F6973);
    int steps = SL_NOISE_KNOTS * SL_NOISE_STEPS;
    for (int i = 0; i <= steps; i++)
        chest->noise_table[i] = (float)sl_smooth_noise(nk, (double)i / SL_NOISE_STEPS);
    int blend = 8 * SL_NOISE_STEPS;
    for (int i = 0; i <= blend; i++) {
        float w = (float)i / (float)blend;
        float *at = &chest->noise_table[steps - blend + i];
        *at = (1 - w) * *at + w * (float)sl_smooth_noise(nk, (double)(i - blend) / SL_NOISE_STEPS);
    }
    return true;
}

/* Attenuation and backscatter around the working frequency. What is heard behind air never went through it, so air takes
 * nothing there; bone is the geometric middle of the literature's range. */
static void make_media(sl_chest *chest)
{
    /* Speckle of healthy liver against a perfect mirror, dB; the other tissues follow from the media's table. Set by the
     * distance between the pleura and the speckle of clinical pictures: common practice, no source. */
    static const double liver_db = -28;
    for (int i = 0; i < SL_MEDIA; i++) {
        const sl_medium *m = sl_medium_get((sl_medium_id)i);
        double db = i == SL_BONE ? sqrt(m->attenuation_low * m->attenuation_high) : m->attenuation.db_per_cm;
        if (i == SL_AIR_BODY)
            db = 0;
        chest->alpha[i] = 2 * db * pow(chest->receive_mhz, m->attenuation.power - 1) / 8.685889638 * chest->sample_mm / 10;
        chest->scatter[i] = isfinite(m->backscatter_db) ? pow(10, (liver_db + m->backscatter_db) / 20) : 0;
    }
}

/* Sheets of the wall. Fat: lobules, dark, between thin septa; muscle: bundles along the wall, brighter sheets between. */
static void make_lamellae(sl_chest *chest)
{
    const sl_wall *w = &chest->scenario->wall;
    uint64_t key = sl_hash(chest->seed, 0x6C616D65);
    double fat_end = w->skin_mm + w->fat_mm, inner = chest->pleura_mm - fmin(6, 0.4 * w->muscle_mm), at = 0;
    double part[][2] = {{w->skin_mm, 1}, {fat_end, 3.0}, {inner, 2.2}, {chest->pleura_mm, 2.5}};
    static const sl_medium_id tissue[] = {SL_SKIN, SL_FAT_SUBCUTANEOUS, SL_MUSCLE, SL_MUSCLE};
    double gain[] = {1, 1, 1, 1 - 0.45 * fmin(w->texture, 1)};
    for (int p = 0; p < 4; p++)
        while (at < part[p][0] - 0.01 && chest->lamellae < SL_MOST_LAMELLAE) {
            int i = chest->lamellae++;
            double thick = fmax(part[p][1], chest->pleura_mm / 18) * (0.5 + sl_uniform(key, 10 * i));
            at = part[p][0] - at < 1.5 * thick ? part[p][0] : at + thick;
            bool fine = p == 1 || p == 2;
            chest->lamella[i] = (sl_lamella){at, fine ? 0.2 * thick : 0.1, p == 1 ? 9 : 15,
                                             gain[p] * pow(10, w->texture * (fine ? 3.5 : 1) * sl_normal(key, 10 * i + 1) / 20), w->texture * (p ? 4.5 : 2), tissue[p],
                                             sl_hash(key, (uint64_t)i)};
        }
    chest->lamella[chest->lamellae - 1].end_mm = chest->pleura_mm;
}

static void make_layers(sl_chest *chest)
{
    const sl_wall *w = &chest->scenario->wall;
    uint64_t key = sl_hash(chest->seed, 0x66617363);
    double fat_end = w->skin_mm + w->fat_mm, end = chest->pleura_mm - 1.2;
    /* Fat to muscle by impedance, the others as thin sheets of connective tissue: weaker. */
    double skin = sl_medium_impedance_mrayl(SL_SKIN), fat = sl_medium_impedance_mrayl(SL_FAT_SUBCUTANEOUS);
    double muscle = sl_medium_impedance_mrayl(SL_MUSCLE);
    double skin_fat = (skin - fat) / (skin + fat), fat_muscle = (muscle - fat) / (muscle + fat);
    chest->layer[chest->layers++] = (sl_wall_layer){w->skin_mm, 12, 0.15, 0.6 * skin_fat, 9, sl_hash(key, 1)};
    if (w->fat_mm > 1)
        chest->layer[chest->layers++] = (sl_wall_layer){fat_end, 16, 0.05 * w->fat_mm + 0.2, 0.8 * fat_muscle, 11, sl_hash(key, 2)};
    for (int i = 0; i < w->fascias && chest->layers < SL_MOST_LAYERS; i++) {
        double depth = w->skin_mm + 0.8 + (end - w->skin_mm - 0.8) * sl_uniform(key, 100 + i);
        bool in_fat = depth < fat_end;
        chest->layer[chest->layers++] =
            (sl_wall_layer){depth, in_fat ? 7 : 13, in_fat ? 0.5 : 0.35, 0.015 + 0.16 * sl_uniform(key, 200 + i) * sl_uniform(key, 300 + i),
                            5 + 9 * sl_uniform(key, 400 + i), sl_hash(key, (uint64_t)(500 + i))};
    }
}

static void make_bubbles(sl_chest *chest)
{
    const sl_scenario *sc = chest->scenario;
    for (int i = 0; i < sc->consolidations; i++) {
        const sl_consolidation *c = &sc->consolidation[i];
        uint64_t key = sl_hash(chest->seed, 0x62726F + (uint64_t)i);
        double half = fmin(0.4 * c->width_mm, SL_BRONCHI_MM);
        /* Branches from a stem: short runs of points that lean with the branch. */
        int n = 0;
        for (int branch = 0; n < SL_MOST_BUBBLES && branch < 12; branch++) {
            double x = c->x_mm + 2 * half * (sl_uniform(key, 10 * branch) - 0.5);
            double z = c->depth_mm * (0.12 + 0.7 * sl_uniform(key, 10 * branch + 1));
            double lean = 1.2 * sl_normal(key, 10 * branch + 2), length = 3 + 6 * sl_uniform(key, 10 * branch + 3);
            for (int k = 0; k < 6 && n < SL_MOST_BUBBLES; k++) {
                double t = k / 6.0;
                chest->bubble[i][n] = (sl_bubble){(float)(x + length * t), (float)(z + lean * length * t * 0.6),
                                                  (float)(0.25 + 0.35 * sl_uniform(key, 1000 + n))};
                if (sl_uniform(key, 2000 + n) < 0.25)
                    chest->bubble[i][n].amplitude = 0;
                n++;
            }
        }
    }
}

static void make_grey(sl_chest *chest)
{
    const sl_controls *c = &chest->scenario->controls;
    for (int i = 0; i < 1024; i++) {
        double u = i / 1023.0;
        if (c->grey_map == SL_MAP_SOFT)
            u = pow(u, 0.8);
        else if (c->grey_map == SL_MAP_HARD)
            u = u * u * (3 - 2 * u) * 0.6 + 0.4 * u * u;
        chest->grey[i] = (uint8_t)floor(255 * u + 0.5);
    }
}

static sl_status set_up(sl_chest *chest, const sl_chest *like, sl_error *error)
{
    const sl_scenario *sc = chest->scenario;
    const sl_controls *c = &sc->controls;
    const sl_probe *p = &sc->probe;
    chest->seed = sl_hash((uint64_t)sc->seed, 0x63686573);
    chest->polar = p->kind != SL_PROBE_LINEAR;
    chest->face_mm = p->kind == SL_PROBE_LINEAR ? 0 : p->radius_mm;
    chest->pleura_mm = sl_scenario_pleura_mm(sc);
    chest->beams = c->beams;
    chest->receive_mhz = p->freq_mhz * (c->harmonics ? 2 : 1);
    /* The two-way -6 dB width of a Gaussian spectrum is 2.3548 sd. */
    chest->spectrum_mhz = p->bandwidth * p->freq_mhz / 2.3548;
    chest->sample_mm = 1.54 / chest->receive_mhz / 2;
    chest->samples = (int)ceil(c->depth_mm / chest->sample_mm) + 4;
    double wide = chest->polar ? sl_rad(p->field_deg) * (chest->face_mm + chest->pleura_mm) : p->width_mm;
    double beam_mm = wide / (chest->beams - 1);
    /* Finer columns where the beam is narrower than a beam's distance. */
    chest->over = 1;
    chest->columns = chest->beams;
    chest->column_mm = beam_mm;
    double narrow = 1.3 * 1.54 / chest->receive_mhz * p->fnumber / 2.3548 / (c->harmonics ? 1.2 : 1);
    while (chest->over < 4 && narrow / (beam_mm / chest->over) < 0.7)
        chest->over++;
    chest->columns = (chest->beams - 1) * chest->over + 1;
    chest->column_mm = beam_mm / chest->over;
    chest->column_rad = chest->polar ? sl_rad(p->field_deg) / (chest->columns - 1) : 0;
    chest->noise = pow(10, -103 / 20.0); /* of the receiver, before depth gain: common practice, no source */
    if (!make_noise(chest, like))
        return no_memory(error);
    make_media(chest);
    make_lamellae(chest);
    make_layers(chest);
    make_bubbles(chest);
    make_grey(chest);
    sl_status status = sl_chest_beam_tables(chest, like, error);
    if (!status)
        status = sl_chest_sites(chest, error);
    if (!status)
        status = sl_scan_new(chest, &chest->scan, error);
    if (status)
        return status;
    size_t n = (size_t)chest->samples;
    chest->raw_re = SL_NEW(&chest->arena, (size_t)chest->columns * n, float);
    chest->raw_im = SL_NEW(&chest->arena, (size_t)chest->columns * n, float);
    chest->level = SL_NEW(&chest->arena, (size_t)chest->beams * n, float);
    chest->detected = SL_NEW(&chest->arena, (size_t)chest->beams * n, uint8_t);
    chest->picture = SL_NEW(&chest->arena, (size_t)chest->view.width * (size_t)chest->view.height, uint8_t);
    if (c->compound_angles > 1)
        chest->look = SL_NEW(&chest->arena, (size_t)chest->beams * n, float);
    size_t blocks = (size_t)(chest->columns / SL_CLUTTER_BLOCK + 1);
    chest->ring = SL_NEW(&chest->arena, chest->columns, sl_ring);
    chest->clutter_re = SL_NEW(&chest->arena, blocks * n, float);
    chest->clutter_im = SL_NEW(&chest->arena, blocks * n, float);
    if (!chest->ring || !chest->clutter_re || !chest->clutter_im || !chest->raw_re || !chest->raw_im || !chest->level || !chest->detected || !chest->picture ||
        (c->compound_angles > 1 && !chest->look))
        return no_memory(error);
    for (int i = 0; i < c->persistence_frames && c->persistence_frames > 1; i++) {
        chest->kept_index[i] = -1;
        if (!(chest->kept[i] = SL_NEW(&chest->arena, (size_t)chest->beams * n, float)))
            return no_memory(error);
    }
    chest->workers = sl_cores();
    chest->bench = SL_NEW(&chest->arena, chest->workers, struct sl_bench *);
    if (!chest->bench)
        return no_memory(error);
    for (int i = 0; i < chest->workers && !status; i++)
        status = sl_bench_new(chest, &chest->bench[i], error);
    return status;
}

sl_status sl_chest_new(const sl_scenario *scenario, sl_chest **out, sl_error *error)
{
    return sl_chest_new_like(scenario, NULL, out, error);
}

sl_status sl_chest_new_like(const sl_scenario *scenario, const sl_chest *like, sl_chest **out, sl_error *error)
{
    sl_status status = sl_scenario_check(scenario, error);
    if (status)
        return status;
    sl_chest *chest = calloc(1, sizeof *chest);
    if (!chest)
        return no_memory(error);
    chest->scenario = scenario;
    status = set_up(chest, like, error);
    if (status)
        sl_chest_free(&chest);
    *out = chest;
    return status;
}

void sl_chest_free(sl_chest **chest)
{
    if (!chest || !*chest)
        return;
    sl_arena_free(&(*chest)->arena);
    free(*chest);
    *chest = NULL;
}

void sl_chest_workers(sl_chest *chest, int workers)
{
    int most = sl_cores();
    chest->workers = workers < 1 || workers > most ? most : workers;
}

int sl_chest_frames(const sl_chest *chest)
{
    int n = (int)floor(chest->scenario->controls.duration_s * chest->scenario->controls.frame_rate_hz + 0.5);
    return n < 1 ? 1 : n;
}

double sl_chest_frame_rate_hz(const sl_chest *chest)
{
    return chest->scenario->controls.frame_rate_hz;
}

void sl_chest_view(const sl_chest *chest, sl_view *view)
{
    *view = chest->view;
}

static const float *kept_levels(sl_chest *chest, int frame)
{
    int room = chest->scenario->controls.persistence_frames, slot = frame % room;
    if (chest->kept_index[slot] != frame) {
        sl_pose pose;
        sl_pose_at(chest->scenario, frame / sl_chest_frame_rate_hz(chest), &pose);
        sl_chest_levels(chest, &pose, frame, chest->kept[slot]);
        chest->kept_index[slot] = frame;
    }
    return chest->kept[slot];
}

sl_status sl_chest_frame(sl_chest *chest, int index, sl_gray *picture, sl_error *error)
{
    if (index < 0 || index >= sl_chest_frames(chest))
        return sl_fail(error, SL_USAGE, "Frame %d was asked for; the scenario has frames 0 to %d.", index, sl_chest_frames(chest) - 1);
    const sl_controls *c = &chest->scenario->controls;
    size_t all = (size_t)chest->beams * (size_t)chest->samples;
    if (c->persistence_frames <= 1) {
        sl_pose pose;
        sl_pose_at(chest->scenario, index / sl_chest_frame_rate_hz(chest), &pose);
        sl_chest_levels(chest, &pose, index, chest->level);
    } else { /* weights halve from frame to frame; a clip begins with what it has */
        float total = 0;
        memset(chest->level, 0, all * sizeof(float));
        for (int k = 0; k < c->persistence_frames && k <= index; k++) {
            const float *one = kept_levels(chest, index - k);
            float w = ldexpf(1, -k);
            total += w;
            for (size_t i = 0; i < all; i++)
                chest->level[i] += w * one[i];
        }
        for (size_t i = 0; i < all; i++)
            chest->level[i] /= total;
    }
    float range = (float)c->dynamic_range_db, scale = 1023 / range;
    for (size_t i = 0; i < all; i++) {
        float at = (chest->level[i] + range) * scale;
        at = at < 0 ? 0 : at > 1023 ? 1023 : at;
        chest->detected[i] = chest->grey[(int)at];
    }
    sl_scan_convert(chest, chest->scan, chest->detected, chest->picture);
    *picture = (sl_gray){chest->view.width, chest->view.height, chest->view.width, chest->picture};
    return SL_OK;
}
