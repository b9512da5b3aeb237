#include "serve/frames.h"

#include "clip/clip.h"
#include "core/json.h"
#include "core/units.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FRAME_HEAD = 16 };
static const double most_bytes = 240e6; /* of one clip in the page's memory */

typedef struct stream {
    sl_clip *clip;
    int x0, y0, width, height, step; /* of the part sent; width and height in pixels sent */
    int sent;
    unsigned char *piece; /* the frame (or head) being sent */
    size_t length, at;
    bool ended;
} stream;

/* Smallest box of whole pixels around the imaged area. */
static void imaged_box(const sl_view *view, int width, int height, int box[4])
{
    double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9, x, y;
    for (int i = 0; i <= 64; i++)
        for (int k = 0; k <= 1; k++) {
            sl_view_to_pixel(view, i / 64.0, k, &x, &y);
            x0 = fmin(x0, x), x1 = fmax(x1, x), y0 = fmin(y0, y), y1 = fmax(y1, y);
            sl_view_to_pixel(view, k, i / 64.0, &x, &y);
            x0 = fmin(x0, x), x1 = fmax(x1, x), y0 = fmin(y0, y), y1 = fmax(y1, y);
        }
    box[0] = (int)fmax(0, floor(x0 - 2));
    box[1] = (int)fmax(0, floor(y0 - 2));
    box[2] = (int)fmin(width, ceil(x1 + 3));
    box[3] = (int)fmin(height, ceil(y1 + 3));
    if (box[2] - box[0] < 8 || box[3] - box[1] < 8) {
        box[0] = box[1] = 0;
        box[2] = width;
        box[3] = height;
    }
}

static void put_frame(stream *self, const sl_frame *frame)
{
    unsigned char *to = self->piece + FRAME_HEAD;
    int64_t index = frame->index;
    memset(self->piece, 0, FRAME_HEAD);
    memcpy(self->piece, &frame->time_s, 8);
    memcpy(self->piece + 8, &index, 4);
    const sl_gray *g = &frame->gray;
    bool fits = self->x0 + self->width * self->step <= g->width && self->y0 + self->height * self->step <= g->height;
    if (!fits) { /* a file whose pictures change size: black */
        memset(to, 0, (size_t)self->width * (size_t)self->height);
    } else if (self->step == 1)
        for (int y = 0; y < self->height; y++)
            memcpy(to + (size_t)y * (size_t)self->width, g->pixel + (ptrdiff_t)(self->y0 + y) * g->stride + self->x0, (size_t)self->width);
    else
        for (int y = 0; y < self->height; y++)
            for (int x = 0; x < self->width; x++) {
                int sum = 0, n = self->step;
                for (int v = 0; v < n; v++)
                    for (int u = 0; u < n; u++)
                        sum += g->pixel[(ptrdiff_t)(self->y0 + y * n + v) * g->stride + self->x0 + x * n + u];
                to[(size_t)y * (size_t)self->width + (size_t)x] = (unsigned char)((sum + n * n / 2) / (n * n));
            }
    self->length = FRAME_HEAD + (size_t)self->width * (size_t)self->height;
    self->at = 0;
}

static ssize_t pull(void *context, uint64_t position, char *buffer, size_t most)
{
    stream *self = context;
    (void)position;
    size_t filled = 0;
    while (filled < most) {
        if (self->at == self->length) {
            sl_frame frame;
            bool got = false;
            if (self->ended || self->sent >= SL_FRAMES_SENT || sl_clip_next(self->clip, &frame, &got, NULL) != SL_OK || !got) {
                self->ended = true;
                break;
            }
            put_frame(self, &frame);
            self->sent++;
            if (filled && self->sent == 1)
                return (ssize_t)filled;
        }
        size_t part = self->length - self->at < most - filled ? self->length - self->at : most - filled;
        memcpy(buffer + filled, self->piece + self->at, part);
        self->at += part;
        filled += part;
        if (self->sent == 1 && self->at == self->length)
            break; /* the first picture goes out at once */
    }
    return filled ? (ssize_t)filled : MHD_CONTENT_READER_END_OF_STREAM;
}

static void drop(void *context)
{
    stream *self = context;
    sl_clip_close(&self->clip);
    free(self->piece);
    free(self);
}

/* The head goes out as the first piece. */
static bool put_head(stream *self, const sl_clip_info *info, int frames)
{
    json_t *head = json_pack("{s:i,s:i,s:i,s:i,s:i,s:{s:i,s:i},s:i,s:i,s:o}", "width", self->width, "height", self->height,
                             "x0", self->x0, "y0", self->y0, "step", self->step, "full", "width", info->width, "height",
                             info->height, "frames", frames, "budget", SL_FRAMES_SENT, "rate_hz",
                             sl_json_number(info->frame_rate_hz, 4));
    char *text = head ? json_dumps(head, JSON_COMPACT) : NULL;
    json_decref(head);
    size_t length = text ? strlen(text) : 0, frame = FRAME_HEAD + (size_t)self->width * (size_t)self->height;
    self->piece = text ? malloc(frame > length + 4 ? frame : length + 4) : NULL;
    if (self->piece) {
        for (int i = 0; i < 4; i++)
            self->piece[i] = (unsigned char)(length >> (8 * i));
        memcpy(self->piece + 4, text, length);
        self->length = length + 4;
    }
    free(text);
    return self->piece != NULL;
}

enum MHD_Result sl_reply_frames(sl_request *request, const sl_desk_clip *clip)
{
    sl_error error;
    stream *self = calloc(1, sizeof *self);
    if (!self)
        return sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
    if (sl_clip_open(clip->path, 1, &self->clip, &error) != SL_OK) {
        drop(self);
        return sl_reply_error(request, 422, "%s", error.text);
    }
    const sl_clip_info *info = sl_clip_get_info(self->clip);
    int box[4] = {0, 0, info->width, info->height};
    if (clip->view.shape != SL_SHAPE_UNKNOWN && clip->view.width == info->width && clip->view.height == info->height)
        imaged_box(&clip->view, info->width, info->height, box);
    int frames = clip->frames > 0 ? clip->frames : info->frames_stated;
    double pixels = (double)(box[2] - box[0]) * (box[3] - box[1]);
    int count = frames < 1 ? 300 : frames < SL_FRAMES_SENT ? frames : SL_FRAMES_SENT;
    self->step = 1;
    while (pixels * count / (self->step * self->step) > most_bytes && self->step < 8)
        self->step++;
    self->x0 = box[0];
    self->y0 = box[1];
    self->width = (box[2] - box[0]) / self->step;
    self->height = (box[3] - box[1]) / self->step;
    if (!put_head(self, info, frames)) {
        drop(self);
        return sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
    }
    return sl_reply_stream(request, pull, self, drop);
}
