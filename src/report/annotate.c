/* The clip with its evidence drawn in: the original frames, a paper band below with the tide line and a cursor. */
#include "report/report.h"

#include "clip/clip.h"
#include "clip/save.h"
#include "core/units.h"
#include "report/draw.h"
#include "report/overlay.h"
#include "report/tide.h"
#include "report/words.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST_WIDTH = 320 };

typedef struct canvas {
    cairo_surface_t *surface;
    cairo_t *cr;
    sl_pen pen;
    int width, height, frame_width, frame_height;
    double unit;        /* pixels a point */
    double band_height; /* pixels */
    uint8_t *rgb;
} canvas;

static void draw_band(canvas *self, const sl_exam_clip *clip, bool invented, int frame, double time_s)
{
    cairo_t *cr = self->cr;
    const double width = self->width / self->unit, margin = 8;
    char line[300], zone[80];
    cairo_save(cr);
    cairo_translate(cr, 0, self->frame_height);
    cairo_scale(cr, self->unit, self->unit);
    cairo_rectangle(cr, 0, 0, width, self->band_height / self->unit);
    sl_set_colour(cr, LOOK_COLOUR_PAPER, 1);
    cairo_fill(cr);
    const sl_language *say = self->pen.say;
    sl_words_zone_full(say, clip->zone, zone, sizeof zone);
    snprintf(line, sizeof line, "%s \u00b7 %s%s%s", zone, clip->name, invented ? " \u00b7 " : "", invented ? sl_say(say, SL_P_INVENTED_MARK) : "");
    sl_pen_text(&self->pen, margin, 12, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, width - 2 * margin, line);
    sl_draw_tide(&self->pen, margin, 18, width - 2 * margin, 30, &clip->result);
    if (clip->result.frame_values > 1) {
        const sl_axis axis = sl_axis_of(&clip->result);
        sl_draw_axis(&self->pen, margin, 48, width - 2 * margin, &axis);
        sl_draw_cursor(&self->pen, margin, 16, 50.5, width - 2 * margin, &axis, frame, time_s);
    }
    sl_pen_paragraph(&self->pen, margin, 62, width - 2 * margin, 2, SL_TYPE_SMALL, LOOK_COLOUR_QUIET,
                     sl_say(say, SL_P_CAUTION));
    cairo_restore(cr);
}

static void draw_frame(canvas *self, const sl_exam_clip *clip, const sl_frame *frame, bool invented)
{
    cairo_t *cr = self->cr;
    cairo_surface_flush(self->surface);
    unsigned char *data = cairo_image_surface_get_data(self->surface);
    int stride = cairo_image_surface_get_stride(self->surface);
    for (int y = 0; y < self->frame_height; y++) {
        uint32_t *line = (uint32_t *)(void *)(data + (size_t)y * (size_t)stride);
        const uint8_t *grey = frame->gray.pixel + (size_t)y * (size_t)frame->gray.stride;
        for (int x = 0; x < self->width; x++)
            line[x] = 0xff000000u | (x < self->frame_width ? grey[x] * 0x010101u : LOOK_COLOUR_NIGHT);
    }
    cairo_surface_mark_dirty(self->surface);
    cairo_save(cr);
    cairo_rectangle(cr, 0, 0, self->frame_width, self->frame_height);
    cairo_clip(cr);
    const sl_place place = {.view = &clip->result.view, .sx = 1, .sy = 1};
    sl_draw_evidence(&self->pen, &place, clip->result.reading, frame->index, self->unit, false);
    sl_draw_nearest_line(&self->pen, &place, clip->result.reading, frame->index, self->unit);
    cairo_restore(cr);
    draw_band(self, clip, invented, frame->index, frame->time_s);
    cairo_surface_flush(self->surface);
    for (int y = 0; y < self->height; y++) {
        const uint32_t *line = (const uint32_t *)(const void *)(data + (size_t)y * (size_t)stride);
        uint8_t *out = self->rgb + (size_t)y * (size_t)self->width * 3;
        for (int x = 0; x < self->width; x++) {
            out[3 * x] = (uint8_t)(line[x] >> 16);
            out[3 * x + 1] = (uint8_t)(line[x] >> 8);
            out[3 * x + 2] = (uint8_t)line[x];
        }
    }
}

static bool open_canvas(canvas *self, const sl_language *say, int width, int height)
{
    self->frame_width = width;
    self->frame_height = height;
    self->width = (width < LEAST_WIDTH ? LEAST_WIDTH : width) + (width & 1);
    self->unit = fmax(1, self->width / 480.0);
    self->band_height = round(84 * self->unit);
    self->height = height + (int)self->band_height;
    self->height += self->height & 1;
    self->band_height = self->height - height;
    self->surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, self->width, self->height);
    self->cr = cairo_create(self->surface);
    sl_pen_begin(&self->pen, self->cr);
    self->pen.say = say;
    self->rgb = malloc((size_t)self->width * (size_t)self->height * 3);
    return self->rgb && cairo_status(self->cr) == CAIRO_STATUS_SUCCESS;
}

static void close_canvas(canvas *self)
{
    sl_pen_end(&self->pen);
    cairo_destroy(self->cr);
    cairo_surface_destroy(self->surface);
    free(self->rgb);
}

sl_status sl_report_annotated(const sl_exam_clip *clip, bool invented, const sl_language *say, const sl_annotated_sink *sink,
                              sl_error *error)
{
    const double usual_rate_hz = 20; /* where the file's times are not known: common practice for still times */
    canvas self = {0};
    sl_clip *source = NULL;
    sl_status status = sl_clip_open(clip->path, 1, &source, error);
    if (status != SL_OK)
        return status;
    const sl_clip_info *info = sl_clip_get_info(source);
    double rate = sl_known(info->frame_rate_hz) && info->frame_rate_hz > 0.5 ? info->frame_rate_hz : usual_rate_hz;
    if (!open_canvas(&self, say, info->width, info->height))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while %s was drawn.", clip->name);
    if (status == SL_OK)
        status = sink->open(sink->context, self.width, self.height, rate, error);
    sl_frame frame;
    for (bool got = true; status == SL_OK;) {
        status = sl_clip_next(source, &frame, &got, error);
        if (status != SL_OK || !got)
            break;
        if (frame.gray.width != self.frame_width || frame.gray.height != self.frame_height)
            continue;
        draw_frame(&self, clip, &frame, invented);
        status = sink->frame(sink->context, self.rgb, error);
    }
    close_canvas(&self);
    sl_clip_close(&source);
    return status;
}

/* ---- as a video ---- */

typedef struct video {
    const char *path;
    int width;
    sl_clip_writer *writer;
} video;

static sl_status open_video(void *context, int width, int height, double rate_hz, sl_error *error)
{
    video *self = context;
    self->width = width;
    return sl_clip_writer_open(self->path, width, height, rate_hz, 0.8, &self->writer, error);
}

static sl_status add_to_video(void *context, const uint8_t *rgb, sl_error *error)
{
    video *self = context;
    return sl_clip_writer_rgb(self->writer, rgb, self->width * 3, error);
}

sl_status sl_report_annotated_clip(const sl_exam_clip *clip, bool invented, const sl_language *say, const char *path,
                                   sl_error *error)
{
    video self = {.path = path};
    sl_status status = sl_report_annotated(clip, invented, say, &(sl_annotated_sink){open_video, add_to_video, &self}, error);
    if (self.writer) {
        sl_status closed = sl_clip_writer_close(&self.writer, status == SL_OK ? error : NULL);
        status = status == SL_OK ? closed : status;
    }
    return status;
}
