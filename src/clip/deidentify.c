#include "clip/deidentify.h"

#include "clip/canvas.h"
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

typedef struct job {
    const char *in, *out;
    const sl_deid_plan *plan;
    const sl_boxes *boxes;
    sl_canvas canvas;
    bool is_still;
    double rate_hz;
} job;

static sl_status put(job *own, sl_clip_writer *writer, sl_error *error)
{
    const sl_canvas *to_fill = &own->canvas;
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
        sl_canvas_paint(&own->canvas, &frame, own->boxes);
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
    own->is_still = info->is_still;
    own->rate_hz = isfinite(info->frame_rate_hz) ? info->frame_rate_hz : RATE_FOR_UNKNOWN_HZ;
    if (!strcmp(sl_path_extension(own->out), "gif") && own->rate_hz > 50)
        own->rate_hz = 50;
    if (sl_canvas_make(info->width, info->height, coloured, &own->canvas))
        status = copy_frames(own, clip, error);
    else
        status = sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.",
                         sl_path_name(own->out));
    sl_canvas_free(&own->canvas);
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

sl_status sl_deid_find(const char *in, const sl_deid_plan *plan, sl_deid_found *found, sl_deid_notes *notes,
                        sl_error *error)
{
    sl_still still;
    sl_status status = sl_still_of(in, plan->threads, &still, error);
    if (status)
        return status;
    found->coloured = still.coloured;
    sl_boxes *boxes = &found->boxes;
    status = sl_burned_find(plan->reader, &still, sl_path_name(in), boxes, error);
    if (!status) {
        notes->boxes = boxes->count;
        notes->blackened_share = sl_boxes_share(boxes, still.width, still.height);
        note_boxes(notes, boxes);
    }
    sl_still_free(&still);
    return status;
}

sl_status sl_clip_deidentify(const char *in, const char *out, const sl_deid_plan *plan, const sl_deid_found *found,
                             sl_deid_notes *notes, sl_error *error)
{
    job own = {.in = in, .out = out, .plan = plan, .boxes = &found->boxes};
    sl_status status = write_copy(&own, found->coloured, error);
    if (status)
        return status;
    sl_deid_note_add(notes, "container metadata, sound, subtitles and attachments", "left behind");
    status = sl_burned_verify(plan->reader, out, plan->threads, error);
    notes->verified = !status;
    if (status)
        unlink(out);
    return status;
}
