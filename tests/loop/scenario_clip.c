#include "scenario_clip.h"

#include "chest/chest.h"
#include "clip/format.h"
#include "core/units.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct state {
    sl_scenario scenario;
    sl_chest *chest;
    int next;
} state;

static bool says_nothing;

static bool detects(const uint8_t *head, size_t length)
{
    return length > 2 && head[0] == '{';
}

static void close_clip(void *context)
{
    state *s = context;
    sl_chest_free(&s->chest);
    free(s);
}

static sl_status open_clip(const char *path, int threads, sl_clip_info *info, void **out, sl_error *error)
{
    state *s = calloc(1, sizeof *s);
    if (!s)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_status status = sl_scenario_load(path, &s->scenario, error);
    if (status == SL_OK)
        status = sl_chest_new(&s->scenario, &s->chest, error);
    if (status != SL_OK) {
        close_clip(s);
        return status;
    }
    sl_chest_workers(s->chest, threads);
    sl_view view;
    sl_chest_view(s->chest, &view);
    const sl_controls *c = &s->scenario.controls;
    info->width = view.width;
    info->height = view.height;
    info->frames_stated = sl_chest_frames(s->chest);
    info->frame_rate_hz = sl_chest_frame_rate_hz(s->chest);
    info->times_known = true;
    info->pixel_aspect = 1;
    strcpy(info->format, "scenario");
    if (!says_nothing) {
        info->acquisition.depth_mm = c->depth_mm;
        info->acquisition.focus_mm = c->focus_mm;
        info->acquisition.freq_mhz = s->scenario.probe.freq_mhz;
        info->acquisition.frame_rate_hz = info->frame_rate_hz;
        snprintf(info->acquisition.processing, sizeof info->acquisition.processing, "%s%s%s",
                 c->compound_angles > 1 ? "SPATIAL COMPOUND " : "", c->harmonics ? "HARMONIC " : "",
                 c->persistence_frames > 1 ? "PERSISTENCE" : "");
        info->regions = 1; /* PS3.3 C.8.5.5: 2D, tissue, cm */
        info->region[0] = (sl_clip_region){.x1 = view.width - 1, .y1 = view.height - 1, .spatial_format = 1, .data_type = 1,
                                           .unit_x = 3, .unit_y = 3, .delta_x = view.mm_per_px / 10,
                                           .delta_y = view.mm_per_px / 10};
    }
    *out = s;
    return SL_OK;
}

static sl_status next(void *context, sl_frame *frame, bool *got, sl_error *error)
{
    state *s = context;
    *got = s->next < sl_chest_frames(s->chest);
    if (!*got)
        return SL_OK;
    *frame = (sl_frame){.index = s->next, .time_s = s->next / sl_chest_frame_rate_hz(s->chest)};
    return sl_chest_frame(s->chest, s->next++, &frame->gray, error);
}

static sl_status rewind_clip(void *context, sl_error *error)
{
    (void)error;
    ((state *)context)->next = 0;
    return SL_OK;
}

static const char *damage(void *context)
{
    (void)context;
    return "";
}

void scenario_clip_join(void)
{
    static const sl_clip_format format = {"scenario", detects, open_clip, next, rewind_clip, damage, close_clip};
    sl_clip_add_format(&format);
}

void scenario_clip_silent(bool silent)
{
    says_nothing = silent;
}
