#include "moving_chests.h"

#include "chest/random.h"
#include "core/units.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const moving_names[MOVING_KINDS] = {"slides", "still", "pulse", "air", "lung point", "curtain"};

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

void moving_scenario(moving_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *s)
{
    sl_scenario_random(seed, grade, s);
    dice d = {sl_hash(seed, 0x6D6F7665), 0};
    s->consolidations = 0;
    s->effusion.depth_mm = 0;
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
    if (kind == MOVING_CURTAIN) {
        s->base.organ = between(&d, 0, 1) < 0.6 ? SL_ORGAN_LIVER : SL_ORGAN_SPLEEN;
        s->base.edge_mm = tidy(between(&d, -12, 12));
        s->base.swing_mm = tidy(between(&d, 8, 35));
        s->base.dome_mm = tidy(between(&d, 50, 90));
        s->base.dome_width_mm = tidy(between(&d, 50, 90));
    }
}

bool moving_render(sl_chest *chest, int every, int most_frames, sl_arena *arena, moving_clip *clip)
{
    sl_view exact;
    sl_view_finder *finder = NULL;
    sl_error error = {0};
    sl_chest_view(chest, &exact);
    memset(clip, 0, sizeof *clip);
    sl_clip_info info = {.width = exact.width, .height = exact.height, .pixel_aspect = 1, .times_known = true,
                         .frame_rate_hz = sl_chest_frame_rate_hz(chest), .regions = 1};
    /* The scale as a calibrated region of a DICOM file gives it (PS3.3 C.8.5.5: 2D, tissue, cm). */
    info.region[0] = (sl_clip_region){.x1 = exact.width - 1, .y1 = exact.height - 1, .spatial_format = 1, .data_type = 1,
                                      .unit_x = 3, .unit_y = 3, .delta_x = exact.mm_per_px / 10,
                                      .delta_y = exact.mm_per_px / 10};
    int frames = sl_chest_frames(chest) / every;
    frames = frames < most_frames ? frames : most_frames;
    size_t bytes = (size_t)exact.width * (size_t)exact.height;
    uint8_t *kept = malloc(bytes * (size_t)frames);
    sl_gray picture;
    sl_status status = kept ? sl_view_finder_new(exact.width, exact.height, &finder, &error) : SL_MEMORY;
    for (int i = 0; status == SL_OK && i < frames; i++) {
        status = sl_chest_frame(chest, i * every, &picture, &error);
        for (int y = 0; status == SL_OK && y < exact.height; y++)
            memcpy(kept + bytes * (size_t)i + (size_t)y * (size_t)exact.width,
                   picture.pixel + (size_t)y * (size_t)picture.stride, (size_t)exact.width);
        if (status == SL_OK && i < 150)
            sl_view_finder_add(finder, picture);
    }
    if (status == SL_OK)
        status = sl_view_finder_find(finder, &info, &clip->view, &error);
    if (status == SL_OK) {
        sl_view_set_scale(&clip->view, &info, 0, finder);
        status = sl_straightener_new(&clip->view, &clip->straightener, &error);
    }
    if (status == SL_OK)
        status = sl_stack_new(arena, clip->straightener, &clip->view, frames, &clip->stack, &error);
    for (int i = 0; status == SL_OK && i < frames; i++) {
        sl_frame frame = {.index = i, .time_s = i * every / info.frame_rate_hz,
                          .gray = {exact.width, exact.height, exact.width, kept + bytes * (size_t)i}};
        sl_stack_add(&clip->stack, clip->straightener, &frame);
    }
    if (status == SL_OK) {
        sl_stack_settle(&clip->stack);
        sl_stack_level_grey(&clip->stack);
    } else
        snprintf(clip->why, sizeof clip->why, "%s", error.text[0] ? error.text : "memory ran out");
    free(kept);
    sl_view_finder_free(&finder);
    return status == SL_OK;
}

void moving_clip_free(moving_clip *clip)
{
    sl_straightener_free(&clip->straightener);
}
