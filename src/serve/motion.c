#include "serve/motion.h"

#include "core/json.h"
#include "core/units.h"
#include "reading/trace.h"
#include "serve/api.h"
#include "serve/records.h"
#include "serve/straight.h"
#include "view/motion_trace.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS = 180 };

typedef struct asked {
    int points, rows, width; /* width 0: one column a frame */
    double beam[SL_TRACE_POINTS_MOST], depth[SL_TRACE_POINTS_MOST];
} asked;

/* NULL, or what is wrong as a sentence. */
static const char *take(const sl_request *request, asked *a)
{
    double place[2 * SL_TRACE_POINTS_MOST], whole[1];
    int numbers = sl_request_numbers(request, "points", ',', ';', place, 2 * SL_TRACE_POINTS_MOST);
    a->points = numbers / 2;
    if (numbers < 4)
        return "A motion trace runs along 2 to 16 points, each a beam and a depth from 0 to 1. Set the line again.";
    for (int i = 0; i < a->points; i++) {
        a->beam[i] = place[2 * i];
        a->depth[i] = place[2 * i + 1];
        if (a->beam[i] < 0 || a->beam[i] > 1 || a->depth[i] < 0 || a->depth[i] > 1)
            return "A point of the line lies outside the imaged area. Set it again.";
    }
    a->rows = ROWS;
    a->width = 0;
    if (sl_request_argument(request, "rows")) {
        if (sl_request_numbers(request, "rows", ',', 0, whole, 1) != 1 || !(whole[0] >= SL_TRACE_ROWS_LEAST && whole[0] <= SL_TRACE_ROWS_MOST))
            return "A motion trace has 16 to 512 rows. Ask for so many.";
        a->rows = (int)whole[0];
    }
    if (sl_request_argument(request, "width")) {
        if (sl_request_numbers(request, "width", ',', 0, whole, 1) != 1 || !(whole[0] >= 2 && whole[0] <= SL_MOTION_WIDE))
            return "A motion trace is 2 to 4096 pixels wide. Ask for so many.";
        a->width = (int)whole[0];
    }
    return NULL;
}

/* Where the line meets the pleura and how the trace looks below it, into `head`. */
static void add_reading(json_t *head, sl_request *request, const sl_desk_clip *clip, const asked *a)
{
    const sl_record *record;
    bool read = sl_records_take(request->server->records, clip->record, &record, NULL) == SL_OK && record->result.reading;
    double share = SL_UNKNOWN, b, d, value = SL_UNKNOWN;
    if (read)
        share = sl_curve_meets_pleura(record->result.reading, &clip->view, a->beam, a->depth, a->points, &b, &d);
    const sl_finding *whole = read ? sl_reading_get(record->result.reading, SL_TRACE_TEXTURE) : NULL;
    const char *reason = !read || !record->result.texture ? "the clip's reading does not hold it: read the clip again" : "";
    if (whole && !whole->known)
        reason = whole->reason;
    else if (!*reason && !sl_known(share))
        reason = "the line does not meet the pleural line";
    int first = 0, last = 0;
    json_t *pleura = NULL;
    if (sl_known(share)) {
        pleura = json_pack("{s:o,s:o,s:o,s:o}", "at", sl_json_number(share, 4), "beam", sl_json_number(b, 4), "depth", sl_json_number(d, 4),
                           "depth_mm", sl_json_number(d * sl_view_depth_mm(&clip->view), 2));
        first = (int)(b * SL_BEAMS) - TRACE_LINE_BEAMS;
        last = first + 2 * TRACE_LINE_BEAMS;
        first = first < 0 ? 0 : first;
        last = last >= SL_BEAMS ? SL_BEAMS - 1 : last;
        if (!*reason)
            value = exp(sl_texture_along(record->result.texture, first, last));
        if (!*reason && !sl_known(value))
            reason = "too few frames or beams for a motion trace";
    }
    json_object_set_new(head, "pleura", pleura ? pleura : json_null());
    json_object_set_new(head, "texture",
                        json_pack("{s:b,s:s,s:o,s:[f,f],s:o}", "known", sl_known(value), "reason", reason, "value", sl_json_number(value, 2), "beams",
                                  (double)first / SL_BEAMS, (double)(last + 1) / SL_BEAMS, "clip",
                                  sl_json_number(whole && whole->known ? whole->value : SL_UNKNOWN, 2)));
    sl_records_give(request->server->records, record);
}

static json_t *head_of(sl_request *request, const sl_desk_clip *clip, const asked *a, const sl_trace_line *line)
{
    double share[TRACE_PLACES], beam[TRACE_PLACES], depth[TRACE_PLACES], px = line->length_px;
    for (int i = 0; i < TRACE_PLACES; i++)
        share[i] = (double)i / (TRACE_PLACES - 1);
    sl_curve_places(&clip->view, a->beam, a->depth, a->points, share, TRACE_PLACES, beam, depth);
    json_t *places = json_array(), *head = json_object();
    for (int i = 0; i < TRACE_PLACES; i++)
        json_array_append_new(places, json_pack("[o,o]", sl_json_number(beam[i], 4), sl_json_number(depth[i], 4)));
    json_object_set_new(head, "line", places);
    json_object_set_new(head, "length_mm", sl_json_number(px * clip->view.mm_per_px, 2));
    json_object_set_new(head, "length_share", sl_json_number(px / sl_view_depth_px(&clip->view), 4));
    add_reading(head, request, clip, a);
    return head;
}

/* The grey of every frame, then the picture by the axis, `width` pixels or one column a frame; `head` gets what the axis shows. NULL when
 * memory is out. */
static uint8_t *picture_of(const sl_straight_clip *c, const sl_trace_line *line, int asked_width, sl_arena *arena, json_t *head)
{
    int width = asked_width ? asked_width : c->frames;
    size_t n = (size_t)c->frames, rows = (size_t)line->rows;
    uint8_t *grey = SL_NEW(arena, n * rows, uint8_t), *pixel = SL_NEW(arena, (size_t)width * rows, uint8_t);
    int *column = SL_NEW(arena, width, int);
    double *steps = SL_NEW(arena, n, double);
    json_t *shown = json_array();
    if (!grey || !pixel || !column || !steps || !shown) {
        json_decref(shown);
        return NULL;
    }
    for (size_t t = 0; t < n; t++)
        sl_trace_column(c->cell + t * SL_CELLS, line, grey + t * rows);
    bool timed = sl_trace_timed(c->time_s, c->frames);
    double to = timed ? c->last_s + (c->last_s - c->first_s) / (c->decoded - 1) : c->decoded;
    if (asked_width)
        sl_trace_axis(c->time_s, c->frames, 0, timed ? to : to / c->every, sl_trace_hold(c->time_s, c->frames, steps), width, column);
    for (int x = 0; x < width && !asked_width; x++)
        column[x] = x;
    const sl_motion_trace trace = {.columns = c->frames, .rows = line->rows, .grey = grey, .time_s = c->time_s, .source = c->source};
    sl_trace_picture(&trace, column, 0, width, pixel);
    for (int x = 0; x < width; x++)
        json_array_append_new(shown, json_integer(column[x] < 0 ? -1 : c->source[column[x]]));
    json_object_set_new(head, "timed", json_boolean(timed));
    json_object_set_new(head, "axis", asked_width ? json_pack("[i,o]", 0, sl_json_number(to, 4)) : json_null());
    json_object_set_new(head, "frames", shown);
    json_object_set_new(head, "width", json_integer(width));
    json_object_set_new(head, "rows", json_integer(line->rows));
    json_object_set_new(head, "every", json_integer(c->every));
    return pixel;
}

enum MHD_Result sl_reply_motion(sl_request *request, const sl_desk_clip *clip)
{
    asked a;
    sl_trace_line line;
    sl_error error;
    const sl_straight_clip *c;
    const char *why = take(request, &a);
    if (why)
        return sl_reply_error(request, 400, "%s", why);
    if (clip->view.shape == SL_SHAPE_UNKNOWN)
        return sl_reply_error(request, 409, "The clip's geometry is not known, so it has no motion trace.");
    if (!sl_trace_line_set(&line, &clip->view, a.beam, a.depth, a.points, a.rows))
        return sl_reply_error(request, 400, "The motion trace's line has no length. Set its points apart.");
    sl_status status = sl_straight_take(request->server->straight, clip->path, &clip->view, &c, &error);
    if (status != SL_OK)
        return sl_reply_error(request, status == SL_MEMORY ? 507 : 422, "%s", error.text);
    json_t *head = head_of(request, clip, &a, &line);
    uint8_t *pixel = picture_of(c, &line, a.width, &request->arena, head);
    size_t bytes = (size_t)(a.width ? a.width : c->frames) * (size_t)line.rows;
    sl_straight_give(request->server->straight, c);
    char *text = pixel ? json_dumps(head, JSON_COMPACT | JSON_REAL_PRECISION(6)) : NULL;
    json_decref(head);
    size_t length = text ? strlen(text) : 0;
    uint8_t *whole = text ? SL_NEW(&request->arena, 4 + length + bytes, uint8_t) : NULL;
    if (!whole) {
        free(text);
        return sl_reply_error(request, 507, "Memory ran out. Close other programs and try again.");
    }
    for (int i = 0; i < 4; i++)
        whole[i] = (uint8_t)(length >> (8 * i));
    memcpy(whole + 4, text, length);
    memcpy(whole + 4 + length, pixel, bytes);
    free(text);
    return sl_reply_bytes(request, "application/octet-stream", whole, 4 + length + bytes);
}
