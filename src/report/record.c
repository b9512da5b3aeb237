#include "report/record.h"

#include "core/file.h"
#include "core/text.h"
#include "core/units.h"
#include "report/draw.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <turbojpeg.h>

enum { RECORD_MOST_BYTES = 256 << 20 };
static const char magic[] = "strandline record 1\n";

const sl_kept_frame *sl_shown_frame(const sl_clip_result *result)
{
    const sl_kept_frame *best = &result->kept[SL_KEPT_BEST], *middle = &result->kept[SL_KEPT_MIDDLE];
    return best->picture.pixel && best->cell ? best : middle->picture.pixel && middle->cell ? middle : NULL;
}

char *sl_record_path(sl_arena *arena, const char *out, const sl_exam_clip *clip)
{
    return sl_arena_printf(arena, "%s/.records/%s.record", out, clip->stem);
}

/* The picture no larger than a page can show, as grey bytes; NULL when memory is out. */
static uint8_t *smaller(sl_gray picture, int *width, int *height)
{
    int longer = picture.width > picture.height ? picture.width : picture.height;
    double factor = longer > SL_RECORD_PICTURE_SIDE ? (double)SL_RECORD_PICTURE_SIDE / longer : 1;
    *width = (int)(picture.width * factor + 0.5) < 1 ? 1 : (int)(picture.width * factor + 0.5);
    *height = (int)(picture.height * factor + 0.5) < 1 ? 1 : (int)(picture.height * factor + 0.5);
    uint8_t *grey = malloc((size_t)*width * (size_t)*height);
    cairo_surface_t *surface = sl_surface_of_gray(picture, *width, *height);
    if (grey && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS) {
        const unsigned char *data = cairo_image_surface_get_data(surface);
        int stride = cairo_image_surface_get_stride(surface);
        for (int y = 0; y < *height; y++) {
            const uint32_t *line = (const uint32_t *)(const void *)(data + (size_t)y * (size_t)stride);
            for (int x = 0; x < *width; x++)
                grey[(size_t)y * (size_t)*width + (size_t)x] = (uint8_t)line[x];
        }
    }
    cairo_surface_destroy(surface);
    return grey;
}

/* ---- the motion trace, behind the pictures: how many columns, rows, points, and whether the texture's beams follow; then the times,
 * the line, the beams, the frames, the grey ---- */

typedef struct trace_head {
    int32_t columns, rows, points, beams;
} trace_head;

static void add_trace(sl_text *file, const sl_clip_result *result)
{
    const sl_motion_trace *t = &result->trace;
    const trace_head head = {t->columns, t->columns ? t->rows : 0, t->columns ? t->points : 0, result->texture != NULL};
    sl_text_add_bytes(file, (const char *)&head, sizeof head);
    if (t->columns) {
        sl_text_add_bytes(file, (const char *)t->time_s, sizeof *t->time_s * (size_t)t->columns);
        sl_text_add_bytes(file, (const char *)t->beam, sizeof *t->beam * (size_t)t->points);
        sl_text_add_bytes(file, (const char *)t->depth, sizeof *t->depth * (size_t)t->points);
    }
    if (result->texture)
        sl_text_add_bytes(file, (const char *)result->texture, sizeof *result->texture);
    if (t->columns) {
        sl_text_add_bytes(file, (const char *)t->source, sizeof *t->source * (size_t)t->columns);
        sl_text_add_bytes(file, (const char *)t->grey, (size_t)t->columns * (size_t)t->rows);
        if (t->pieces > 1)
            sl_text_add_bytes(file, (const char *)t->piece, (size_t)t->pieces * sizeof *t->piece);
    }
}

/* The next part of the file, copied so that it is aligned; NULL when memory is out. */
static const void *part(const uint8_t **at, size_t bytes, sl_arena *arena)
{
    void *copy = sl_arena_alloc(arena, bytes + 1, 1);
    if (copy)
        memcpy(copy, *at, bytes);
    *at += bytes;
    return copy;
}

/* False when the bytes cannot be a trace. */
static bool take_trace(const uint8_t *at, size_t length, sl_arena *arena, sl_clip_result *result)
{
    trace_head head;
    if (length < sizeof head)
        return false;
    memcpy(&head, at, sizeof head);
    at += sizeof head;
    if (head.columns < 0 || head.columns > SL_TRACE_COLUMNS_MOST || head.rows < 0 || head.rows > SL_TRACE_ROWS_MOST || head.points < 0 ||
        head.points > SL_TRACE_POINTS_MOST || (head.beams != 0 && head.beams != 1))
        return false;
    size_t columns = (size_t)head.columns, points = (size_t)head.points, rows = (size_t)head.rows;
    size_t due = sizeof head + columns * (sizeof(double) + sizeof(int) + rows) + points * 2 * sizeof(double) +
                 (size_t)head.beams * sizeof(sl_texture_beams);
    size_t pieces = length > due ? (length - due) / sizeof(sl_trace_piece) : 0; /* behind it, where there is more than one */
    if (length != due + pieces * sizeof(sl_trace_piece) || pieces > columns)
        return false;
    sl_motion_trace *t = &result->trace;
    *t = (sl_motion_trace){.columns = head.columns, .rows = head.rows, .points = head.points};
    t->time_s = part(&at, columns * sizeof(double), arena);
    t->beam = part(&at, points * sizeof(double), arena);
    t->depth = part(&at, points * sizeof(double), arena);
    result->texture = head.beams ? part(&at, sizeof(sl_texture_beams), arena) : NULL;
    t->source = part(&at, columns * sizeof(int), arena);
    t->grey = part(&at, columns * rows, arena);
    sl_trace_piece *piece = SL_NEW(arena, pieces + 1, sl_trace_piece);
    if (piece)
        memcpy(piece, at, pieces * sizeof *piece);
    for (size_t i = 0; piece && i < pieces; i++)
        if (piece[i].first < 0 || (size_t)piece[i].first >= columns || (i && piece[i].first <= piece[i - 1].first))
            return false;
    t->pieces = piece ? (int)pieces : 0;
    t->piece = piece;
    if (!t->time_s || !t->beam || !t->depth || !t->source || !t->grey)
        *t = (sl_motion_trace){0};
    return true;
}

static void key_line(const sl_record_key *key, char *line, size_t room)
{
    snprintf(line, room, "%016" PRIx64 " %.4f %016" PRIx64 " %016" PRIx64 "\n", key->content, key->depth_cm, key->borrowed,
             key->program);
}

sl_status sl_record_save(const char *path, const sl_record_key *key, const sl_clip_result *result, sl_error *error)
{
    json_t *json = sl_result_to_json(result), *borders = json_object();
    for (int kind = 0; kind < SL_BORDER_KINDS; kind++)
        if (result->border[kind].frames)
            json_object_set_new(borders, sl_border_key((sl_border_kind)kind), sl_border_path_to_json(&result->border[kind]));
    json_object_set_new(json, "borders", borders); /* in the record alone */
    char *body = json ? json_dumps(json, JSON_COMPACT | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10)) : NULL;
    json_decref(json);
    if (!body)
        return sl_fail(error, SL_MEMORY, "Memory ran out while keeping the result of %s.", path);
    const sl_kept_frame *shown = sl_shown_frame(result);
    unsigned char *picture = NULL, *cell = NULL;
    unsigned long picture_length = 0, cell_length = 0;
    int width = 0, height = 0;
    if (shown) {
        uint8_t *grey = smaller(shown->picture, &width, &height);
        bool made = grey && sl_jpeg_of_gray((sl_gray){width, height, width, grey}, &picture, &picture_length) &&
                    sl_jpeg_of_gray((sl_gray){SL_BEAMS, SL_DEPTHS, SL_BEAMS, shown->cell}, &cell, &cell_length);
        free(grey);
        if (!made) {
            picture_length = cell_length = 0;
            width = height = 0;
        }
    }
    char line[128];
    key_line(key, line, sizeof line);
    sl_text file = {0}, trace = {0};
    add_trace(&trace, result);
    sl_text_add(&file, magic);
    sl_text_add(&file, line);
    sl_text_printf(&file, "%d %.6f %d %d %zu %lu %lu %zu\n", picture_length ? shown->source : -1,
                   picture_length ? shown->time_s : SL_UNKNOWN, width, height, strlen(body), picture_length, cell_length, trace.length);
    sl_text_add(&file, body);
    if (picture_length) {
        sl_text_add_bytes(&file, (const char *)picture, picture_length);
        sl_text_add_bytes(&file, (const char *)cell, cell_length);
    }
    sl_text_add_bytes(&file, trace.bytes, trace.length);
    sl_status status = file.failed || trace.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while keeping the result of %s.", path)
                                   : sl_file_write(path, file.bytes, file.length, error);
    sl_text_free(&file);
    sl_text_free(&trace);
    free(body);
    tjFree(picture);
    tjFree(cell);
    return status;
}

sl_status sl_record_load(const char *path, sl_arena *arena, sl_record *record, sl_error *error)
{
    char *bytes, time[32];
    size_t length;
    *record = (sl_record){.shown_frame = -1, .shown_time_s = SL_UNKNOWN};
    sl_status status = sl_file_read(path, RECORD_MOST_BYTES, arena, &bytes, &length, error);
    if (status != SL_OK)
        return status;
    const size_t start = sizeof magic - 1;
    const char *line = length > start && !memcmp(bytes, magic, start) ? bytes + start : NULL;
    const char *numbers = line ? strchr(line, '\n') : NULL;
    sl_record_key *key = &record->key;
    if (!numbers || sscanf(line, "%" SCNx64 " %lf %" SCNx64 " %" SCNx64, &key->content, &key->depth_cm, &key->borrowed,
                           &key->program) != 4)
        return sl_fail(error, SL_FORMAT, "%s is damaged.", path);
    numbers++;
    const char *body = strchr(numbers, '\n');
    size_t body_length, picture_length, cell_length, trace_length = 0;
    int width, height;
    char first_line[200];
    snprintf(first_line, sizeof first_line, "%.*s", body ? (int)(body - numbers < 199 ? body - numbers : 199) : 0, numbers);
    int read = sscanf(first_line, "%d %31s %d %d %zu %zu %zu %zu", &record->shown_frame, time, &width, &height, &body_length,
                      &picture_length, &cell_length, &trace_length);
    if (!body || read < 7) /* 7: as before there were traces */
        return sl_fail(error, SL_FORMAT, "%s is damaged.", path);
    body++;
    size_t rest = length - (size_t)(body - bytes);
    if (body_length > rest || picture_length > rest || cell_length > rest || trace_length > rest ||
        body_length + picture_length + cell_length + trace_length != rest)
        return sl_fail(error, SL_FORMAT, "%s is damaged.", path);
    char *end;
    double shown_time = strtod(time, &end);
    record->shown_time_s = sl_known(shown_time) ? shown_time : SL_UNKNOWN;
    const uint8_t *pictures = (const uint8_t *)body + body_length;
    record->picture = (sl_jpeg){width, height, picture_length, pictures};
    record->cell = (sl_jpeg){SL_BEAMS, SL_DEPTHS, cell_length, pictures + picture_length};
    json_error_t where;
    json_t *json = json_loadb(body, body_length, 0, &where);
    if (!json)
        return sl_fail(error, SL_FORMAT, "%s is damaged: %s.", path, where.text);
    status = sl_result_from_json(json, path, arena, &record->result, error);
    for (int kind = 0; kind < SL_BORDER_KINDS; kind++)
        sl_border_path_from_json(json_object_get(json_object_get(json, "borders"), sl_border_key((sl_border_kind)kind)), arena, &record->result.border[kind]);
    json_decref(json);
    if (status == SL_OK && trace_length && !take_trace(pictures + picture_length + cell_length, trace_length, arena, &record->result))
        status = sl_fail(error, SL_FORMAT, "%s is damaged.", path);
    return status;
}
