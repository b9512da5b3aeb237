#include "moving_chests.h"

#include "chest/random.h"
#include "core/units.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const moving_names[MOVING_KINDS] = {"slides", "still", "pulse", "air", "lung point", "curtain", "dome", "wall", "dome still", "base still",
                                                 "lags"};

typedef struct dice {
    uint64_t key;
    int64_t next;
} dice;

static double between(dice *d, double low, double high)
{
    return low + (high - low) * sl_uniform(d->key, d->next++);
}

static double tidy(double value)
{
    return floor(value * 100 + 0.5) / 100;
}

static void look_from_below(dice *d, bool still, int grade, sl_scenario *s);
static void look_at_the_wall(dice *d, int grade, sl_scenario *s);

void moving_scenario(moving_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *s)
{
    sl_scenario_random(seed, grade, s);
    dice d = {sl_hash(seed, 0x6D6F7665), 0};
    s->consolidations = 0;
    s->effusion.depth_mm = s->effusion.swing_mm = 0;
    s->effusion.solid_lung = false;
    s->pneumothorax.present = false;
    s->controls.duration_s = duration_s;
    sl_motion *m = &s->motion;
    m->sliding_mm = tidy(between(&d, 2, 14));
    m->pulse_mm = tidy(between(&d, 0, 0.15));
    if (kind == MOVING_STILL || kind == MOVING_PULSE) {
        m->sliding_mm = 0;
        m->through_mm = tidy(between(&d, 0, 0.3));
        if (between(&d, 0, 1) < 0.4)
            m->breaths_per_min = 0;
        m->pulse_mm = tidy(kind == MOVING_PULSE ? between(&d, 0.35, 1.0) : between(&d, 0, 0.05));
    }
    if (kind == MOVING_AIR) {
        s->pneumothorax.present = true;
        s->pneumothorax.edge_mm = -95;
        s->pneumothorax.swing_mm = tidy(between(&d, 0, 10));
    }
    if (kind == MOVING_LUNG_POINT) {
        s->pneumothorax.present = true;
        double wide = s->probe.kind == SL_PROBE_LINEAR ? s->probe.width_mm : 60;
        s->pneumothorax.edge_mm = tidy(between(&d, -0.18, 0.18) * wide);
        s->pneumothorax.swing_mm = tidy(between(&d, 3, 10) * (s->probe.kind == SL_PROBE_LINEAR ? 0.7 : 1));
        m->sliding_mm = tidy(between(&d, 4, 14));
        for (int i = 0; i < s->ribs; i++) /* the edge is looked for in a space */
            if (fabs(s->rib[i].x_mm - s->pneumothorax.edge_mm) < 0.5 * s->rib[i].width_mm + 9) {
                s->rib[i] = s->rib[--s->ribs];
                i--;
            }
    }
    if (kind == MOVING_LAGS)
        m->sliding_lag = tidy(between(&d, -0.5, 0.5));
    if (kind == MOVING_DOME || kind == MOVING_DOME_STILL)
        look_from_below(&d, kind == MOVING_DOME_STILL, grade, s);
    if (kind == MOVING_WALL)
        look_at_the_wall(&d, grade, s);
    if (kind == MOVING_CURTAIN || kind == MOVING_BASE_STILL) {
        s->base.organ = between(&d, 0, 1) < 0.6 ? SL_ORGAN_LIVER : SL_ORGAN_SPLEEN;
        s->base.edge_mm = tidy(between(&d, -12, 12));
        s->base.swing_mm = kind == MOVING_CURTAIN ? tidy(between(&d, 8, 35)) : 0;
        s->base.dome_mm = tidy(between(&d, 50, 90));
        s->base.dome_width_mm = tidy(between(&d, 50, 90));
    }
}

/* From below: no ribs, the whole picture full of organ down to the dome. */
static void look_from_below(dice *d, bool still, int grade, sl_scenario *s)
{
    sl_controls *c = &s->controls;
    bool phased = s->probe.kind == SL_PROBE_PHASED, crop = c->crop_top_mm > 0;
    sl_scenario_probe_defaults(s, phased ? SL_PROBE_PHASED : SL_PROBE_CONVEX);
    s->probe.freq_mhz = tidy(between(d, 2.2, 4));
    s->ribs = 0;
    s->motion.sliding_mm = s->motion.rib_glide_mm = s->motion.pleura_rise_mm = 0;
    s->wall.conform = tidy(between(d, 0.8, 1));
    sl_diaphragm *dome = &s->diaphragm;
    s->base.organ = between(d, 0, 1) < 0.7 ? SL_ORGAN_LIVER : SL_ORGAN_SPLEEN;
    dome->dome_mm = tidy(between(d, 110, 165));
    double effort = between(d, 0, 1);
    s->motion.sniff = effort > 0.8;
    dome->excursion_mm = still ? 0 : tidy(effort < 0.5 ? between(d, 8, 25) : effort < 0.8 ? between(d, 30, 60) : between(d, 15, 35));
    s->motion.breaths_per_min = floor(effort < 0.5 ? between(d, 10, 30) : between(d, 10, 18));
    dome->radius_mm = tidy(between(d, 55, 110));
    dome->aside_mm = tidy(between(d, -1, 1) * (grade == 1 ? 10 : grade == 2 ? 20 : 30));
    c->depth_mm = floor((dome->dome_mm + between(d, 15, 40)) / 5 + 0.5) * 5;
    c->focus_mm = tidy(between(d, 0.5, 1) * dome->dome_mm);
    c->crop_top_mm = crop ? 4 : 0;
    c->beams = 128;
    c->parallel_beams = 8;
    c->frame_rate_hz = fmax(c->frame_rate_hz, s->motion.sniff ? 20 : 12);
    s->probe.aperture_mm = fmax(s->probe.aperture_mm, 18);
}

/* A linear probe between the ribs below the lung. */
static void look_at_the_wall(dice *d, int grade, sl_scenario *s)
{
    sl_controls *c = &s->controls;
    sl_scenario_probe_defaults(s, SL_PROBE_LINEAR);
    s->probe.freq_mhz = tidy(between(d, grade == 3 ? 7 : 9, 13));
    s->probe.bandwidth = tidy(between(d, 0.45, 0.6));
    s->wall.fat_mm = tidy(between(d, 1.5, 8));
    s->wall.muscle_mm = tidy(between(d, 6, 11));
    double pleura = sl_scenario_pleura_mm(s);
    s->ribs = 0;
    for (int side = -1; side <= 1; side += 2) {
        double depth = fmax(pleura - 8, s->wall.skin_mm + 2);
        s->rib[s->ribs++] = (sl_rib){tidy(side * between(d, 15, 20)), tidy(depth), tidy(between(d, 9, 12)), tidy(between(d, 5, 6.5)), false};
    }
    c->depth_mm = floor(fmax(30, pleura + between(d, 14, 24)) / 5 + 0.5) * 5;
    c->focus_mm = tidy(pleura * between(d, 0.9, 1.5));
    c->crop_top_mm = 0;
    c->beams = 192;
    c->parallel_beams = 8;
    s->motion.sway_mm = fmin(s->motion.sway_mm, grade == 3 ? 1 : 0.5);
    s->motion.breaths_per_min = floor(between(d, 10, 26));
    s->base.organ = between(d, 0, 1) < 0.6 ? SL_ORGAN_LIVER : SL_ORGAN_SPLEEN;
    s->base.edge_mm = tidy(between(d, -60, -42));
    s->base.swing_mm = tidy(between(d, 5, 20));
    s->base.dome_mm = tidy(between(d, 50, 90));
    s->base.dome_width_mm = tidy(between(d, 50, 90));
    s->diaphragm.thickness_mm = tidy(between(d, 1.2, 3.5));
    s->diaphragm.thickening = tidy(between(d, 0.1, 0.8));
}

bool moving_capture(sl_chest *chest, int most_frames, moving_capture_of *kept)
{
    sl_view exact;
    sl_view_finder *finder = NULL;
    sl_straightener *straightener = NULL;
    sl_error error = {0};
    sl_gray picture;
    sl_chest_view(chest, &exact);
    memset(kept, 0, sizeof *kept);
    kept->frame_rate_hz = sl_chest_frame_rate_hz(chest);
    sl_clip_info info = {.width = exact.width, .height = exact.height, .pixel_aspect = 1, .times_known = true,
                         .frame_rate_hz = kept->frame_rate_hz, .regions = 1};
    /* The scale as a calibrated region of a DICOM file gives it (PS3.3 C.8.5.5: 2D, tissue, cm). */
    info.region[0] = (sl_clip_region){.x1 = exact.width - 1, .y1 = exact.height - 1, .spatial_format = 1, .data_type = 1,
                                      .unit_x = 3, .unit_y = 3, .delta_x = exact.mm_per_px / 10,
                                      .delta_y = exact.mm_per_px / 10};
    int frames = sl_chest_frames(chest);
    kept->frames = frames < most_frames ? frames : most_frames;
    size_t bytes = (size_t)exact.width * (size_t)exact.height;
    uint8_t *pixel = malloc(bytes * (size_t)kept->frames);
    kept->cell = malloc((size_t)SL_CELLS * (size_t)kept->frames);
    sl_status status = pixel && kept->cell ? sl_view_finder_new(exact.width, exact.height, &finder, &error) : SL_MEMORY;
    for (int i = 0; status == SL_OK && i < kept->frames; i++) {
        status = sl_chest_frame(chest, i, &picture, &error);
        for (int y = 0; status == SL_OK && y < exact.height; y++)
            memcpy(pixel + bytes * (size_t)i + (size_t)y * (size_t)exact.width,
                   picture.pixel + (size_t)y * (size_t)picture.stride, (size_t)exact.width);
        if (status == SL_OK && i < 150)
            sl_view_finder_add(finder, picture);
    }
    if (status == SL_OK)
        status = sl_view_finder_find(finder, &info, &kept->view, &error);
    if (status == SL_OK) {
        sl_view_set_scale(&kept->view, &info, 0, finder);
        status = sl_straightener_new(&kept->view, &straightener, &error);
    }
    for (int i = 0; status == SL_OK && i < kept->frames; i++)
        sl_straighten(straightener, (sl_gray){exact.width, exact.height, exact.width, pixel + bytes * (size_t)i},
                      kept->cell + (size_t)SL_CELLS * (size_t)i);
    if (status != SL_OK)
        snprintf(kept->why, sizeof kept->why, "%s", error.text[0] ? error.text : "memory ran out");
    free(pixel);
    sl_straightener_free(&straightener);
    sl_view_finder_free(&finder);
    return status == SL_OK;
}

/* Under another name first, so that a run that was broken off leaves no half of a file. */
void moving_capture_save(const moving_capture_of *kept, const char *path)
{
    char part[1100];
    snprintf(part, sizeof part, "%s.part", path);
    FILE *file = fopen(part, "wb");
    bool good = file && fwrite(kept, sizeof *kept, 1, file) == 1 &&
                fwrite(kept->cell, SL_CELLS, (size_t)kept->frames, file) == (size_t)kept->frames;
    if (file && fclose(file) == 0 && good)
        rename(part, path);
}

bool moving_capture_load(const char *path, moving_capture_of *kept)
{
    FILE *file = fopen(path, "rb");
    bool good = file && fread(kept, sizeof *kept, 1, file) == 1 && kept->frames > 0;
    size_t bytes = good ? (size_t)SL_CELLS * (size_t)kept->frames : 0;
    kept->cell = good ? malloc(bytes) : NULL;
    good = kept->cell && fread(kept->cell, 1, bytes, file) == bytes;
    if (file)
        fclose(file);
    return good;
}

bool moving_capture_once(sl_chest *chest, int most_frames, const char *path, moving_capture_of *kept)
{
    if (path[0] && moving_capture_load(path, kept))
        return true;
    bool made = moving_capture(chest, most_frames, kept);
    if (made && path[0])
        moving_capture_save(kept, path);
    return made;
}

void moving_capture_free(moving_capture_of *kept)
{
    free(kept->cell);
    kept->cell = NULL;
}

bool moving_every(const moving_capture_of *kept, int every, sl_arena *arena, moving_clip *clip)
{
    sl_error error = {0};
    memset(clip, 0, sizeof *clip);
    clip->view = kept->view;
    int frames = kept->frames / every;
    sl_status status = sl_straightener_new(&clip->view, &clip->straightener, &error);
    if (status == SL_OK)
        status = sl_stack_new(arena, clip->straightener, &clip->view, frames, &clip->stack, &error);
    if (status != SL_OK) {
        snprintf(clip->why, sizeof clip->why, "%s", error.text);
        return false;
    }
    for (int i = 0; i < frames; i++) {
        memcpy(clip->stack.cell + (size_t)SL_CELLS * (size_t)i, kept->cell + (size_t)SL_CELLS * (size_t)(i * every), SL_CELLS);
        clip->stack.time_s[i] = i * every / kept->frame_rate_hz;
        clip->stack.source[i] = i;
    }
    clip->stack.frames = frames;
    sl_stack_settle(&clip->stack);
    sl_stack_level_grey(&clip->stack);
    return true;
}

bool moving_render(sl_chest *chest, int every, int most_frames, sl_arena *arena, moving_clip *clip)
{
    moving_capture_of kept;
    bool done = moving_capture(chest, most_frames * every, &kept) && moving_every(&kept, every, arena, clip);
    if (!done && kept.why[0]) {
        memset(clip, 0, sizeof *clip);
        snprintf(clip->why, sizeof clip->why, "%s", kept.why);
    }
    moving_capture_free(&kept);
    return done;
}

void moving_clip_free(moving_clip *clip)
{
    sl_straightener_free(&clip->straightener);
}
