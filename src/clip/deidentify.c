#include "clip/deidentify.h"

#include "clip/clip.h"
#include "clip/save.h"
#include "core/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void sl_deid_note_add(sl_deid_notes *notes, const char *where, const char *done)
{
    if (notes->count == notes->room) {
        int room = notes->room ? 2 * notes->room : 64;
        sl_deid_note *more = SL_NEW(notes->arena, room, sl_deid_note);
        if (!more) {
            notes->out_of_memory = true;
            return;
        }
        if (notes->count)
            memcpy(more, notes->note, (size_t)notes->count * sizeof *more);
        notes->note = more;
        notes->room = room;
    }
    sl_deid_note *note = &notes->note[notes->count];
    note->where = sl_arena_text(notes->arena, where);
    note->done = sl_arena_text(notes->arena, done);
    notes->out_of_memory = notes->out_of_memory || !note->where || !note->done;
    notes->count += note->where && note->done;
}

sl_status sl_deid_ending(const char *in, const char **ending, sl_error *error)
{
    sl_clip *clip = NULL;
    sl_status status = sl_clip_open(in, 1, &clip, error);
    if (status)
        return status;
    const sl_clip_info *info = sl_clip_get_info(clip);
    static const char *const kept[] = {"mov", "avi", "gif"};
    *ending = info->is_still ? "png" : "mp4";
    for (size_t i = 0; i < sizeof kept / sizeof *kept; i++)
        if (!info->is_still && !strcmp(info->format, kept[i]))
            *ending = kept[i];
    sl_clip_close(&clip);
    return SL_OK;
}

/* One frame as packed RGB (JFIF 1.02, page 3), or grey when it has no colour; then the boxes. */
typedef struct canvas {
    uint8_t *rgb, *gray; /* owned */
    int width, height;
    bool coloured;
} canvas;

static uint8_t clamp(double value)
{
    return value <= 0 ? 0 : value >= 255 ? 255 : (uint8_t)(value + 0.5);
}

static void paint(const sl_frame *frame, canvas *to_fill)
{
    for (int y = 0; y < to_fill->height; y++) {
        const uint8_t *row = frame->gray.pixel + (long)y * frame->gray.stride;
        memcpy(to_fill->gray + (size_t)y * (size_t)to_fill->width, row, (size_t)to_fill->width);
        if (!to_fill->coloured)
            continue;
        for (int x = 0; x < to_fill->width; x++) {
            uint8_t *to = to_fill->rgb + 3 * ((size_t)y * (size_t)to_fill->width + (size_t)x);
            double cb = 0, cr = 0;
            if (frame->cb) {
                long at = (long)(y >> frame->chroma_shift_y) * frame->chroma_stride + (x >> frame->chroma_shift_x);
                cb = frame->cb[at] - 128;
                cr = frame->cr[at] - 128;
            }
            to[0] = clamp(row[x] + 1.402 * cr);
            to[1] = clamp(row[x] - 0.344136 * cb - 0.714136 * cr);
            to[2] = clamp(row[x] + 1.772 * cb);
        }
    }
}

static void blacken(canvas *to_fill, const sl_boxes *boxes)
{
    for (int i = 0; i < boxes->count; i++)
        for (int y = boxes->box[i].y0; y <= boxes->box[i].y1; y++) {
            size_t at = (size_t)y * (size_t)to_fill->width + (size_t)boxes->box[i].x0;
            size_t count = (size_t)(boxes->box[i].x1 - boxes->box[i].x0 + 1);
            memset(to_fill->gray + at, 0, count);
            if (to_fill->coloured)
                memset(to_fill->rgb + 3 * at, 0, 3 * count);
        }
}

typedef struct job {
    const char *in, *out;
    const sl_deid_plan *plan;
    const sl_boxes *boxes;
    canvas canvas;
    bool is_still;
    double rate_hz;
} job;

static sl_status put(job *own, sl_clip_writer *writer, sl_error *error)
{
    canvas *to_fill = &own->canvas;
    sl_gray gray = {to_fill->width, to_fill->height, to_fill->width, to_fill->gray};
    if (own->is_still)
        return to_fill->coloured ? sl_save_png_rgb(own->out, to_fill->rgb, to_fill->width, to_fill->height, error)
                                : sl_save_png_gray(own->out, gray, error);
    return to_fill->coloured ? sl_clip_writer_rgb(writer, to_fill->rgb, 3 * to_fill->width, error)
                            : sl_clip_writer_gray(writer, gray, error);
}

static sl_status copy_frames(job *own, sl_clip *clip, sl_error *error)
{
    sl_clip_writer *writer = NULL;
    sl_frame frame;
    bool got = false;
    sl_status status = SL_OK;
    if (!own->is_still)
        status = sl_clip_writer_open(own->out, own->canvas.width, own->canvas.height, own->rate_hz, 1, &writer, error);
    while (!status && !(status = sl_clip_next(clip, &frame, &got, error)) && got) {
        paint(&frame, &own->canvas);
        blacken(&own->canvas, own->boxes);
        status = put(own, writer, error);
    }
    sl_error ignored;
    sl_status closed = sl_clip_writer_close(&writer, status ? &ignored : error);
    return status ? status : closed;
}

/* What no person's eye needs told: how fast frames follow when the file does not say. */
enum { RATE_FOR_UNKNOWN_HZ = 25 };

static sl_status write_copy(job *own, bool coloured, sl_error *error)
{
    sl_clip *clip = NULL;
    sl_status status = sl_clip_open(own->in, own->plan->threads, &clip, error);
    if (status)
        return status;
    const sl_clip_info *info = sl_clip_get_info(clip);
    size_t count = (size_t)info->width * (size_t)info->height;
    own->is_still = info->is_still;
    own->rate_hz = isfinite(info->frame_rate_hz) ? info->frame_rate_hz : RATE_FOR_UNKNOWN_HZ;
    if (!strcmp(sl_path_extension(own->out), "gif") && own->rate_hz > 50)
        own->rate_hz = 50;
    own->canvas = (canvas){malloc(3 * count), malloc(count), info->width, info->height, coloured};
    if (own->canvas.rgb && own->canvas.gray)
        status = copy_frames(own, clip, error);
    else
        status = sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.",
                         sl_path_name(own->out));
    free(own->canvas.rgb);
    free(own->canvas.gray);
    sl_clip_close(&clip);
    return status;
}

static void note_boxes(sl_deid_notes *notes, const sl_boxes *boxes)
{
    for (int i = 0; i < boxes->count; i++) {
        char where[96];
        const sl_box *box = &boxes->box[i];
        snprintf(where, sizeof where, "pixels %d..%d, rows %d..%d", box->x0, box->x1, box->y0, box->y1);
        sl_deid_note_add(notes, where, "blackened in every frame");
    }
}

sl_status sl_deid_boxes(const char *in, const sl_deid_plan *plan, sl_boxes *boxes, bool *coloured, sl_deid_notes *notes,
                        sl_error *error)
{
    sl_still still;
    sl_status status = sl_still_of(in, plan->threads, &still, error);
    if (status)
        return status;
    *coloured = still.coloured;
    status = sl_burned_find(plan->reader, &still, sl_path_name(in), boxes, error);
    if (!status) {
        notes->boxes = boxes->count;
        notes->blackened_share = sl_boxes_share(boxes, still.width, still.height);
        note_boxes(notes, boxes);
    }
    sl_still_free(&still);
    return status;
}

sl_status sl_clip_deidentify(const char *in, const char *out, const sl_deid_plan *plan, sl_deid_notes *notes,
                             sl_error *error)
{
    sl_boxes boxes;
    bool coloured;
    sl_status status = sl_deid_boxes(in, plan, &boxes, &coloured, notes, error);
    if (status)
        return status;
    job own = {.in = in, .out = out, .plan = plan, .boxes = &boxes};
    status = write_copy(&own, coloured, error);
    if (status)
        return status;
    sl_deid_note_add(notes, "container metadata, sound, subtitles and attachments", "left behind");
    status = sl_burned_verify(plan->reader, out, plan->threads, error);
    notes->verified = !status;
    if (status)
        unlink(out);
    return status;
}
