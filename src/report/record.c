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

enum { RECORD_MOST_BYTES = 256 << 20, JPEG_QUALITY = 88, HEAD = 256 };
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

static bool compress(tjhandle tj, sl_gray picture, unsigned char **jpeg, unsigned long *length)
{
    return tj && tjCompress2(tj, picture.pixel, picture.width, picture.stride, picture.height, TJPF_GRAY, jpeg, length,
                             TJSAMP_GRAY, JPEG_QUALITY, TJFLAG_FASTDCT) == 0;
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

static void key_line(const sl_record_key *key, char *line, size_t room)
{
    snprintf(line, room, "%016" PRIx64 " %.4f %016" PRIx64 " %016" PRIx64 "\n", key->content, key->depth_cm, key->borrowed,
             key->program);
}

sl_status sl_record_save(const char *path, const sl_record_key *key, const sl_clip_result *result, sl_error *error)
{
    json_t *json = sl_result_to_json(result);
    char *body = json ? json_dumps(json, JSON_COMPACT | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10)) : NULL;
    json_decref(json);
    if (!body)
        return sl_fail(error, SL_MEMORY, "Memory ran out while keeping the result of %s.", path);
    const sl_kept_frame *shown = sl_shown_frame(result);
    unsigned char *picture = NULL, *cell = NULL;
    unsigned long picture_length = 0, cell_length = 0;
    int width = 0, height = 0;
    if (shown) {
        tjhandle tj = tjInitCompress();
        uint8_t *grey = smaller(shown->picture, &width, &height);
        bool made = grey && compress(tj, (sl_gray){width, height, width, grey}, &picture, &picture_length) &&
                    compress(tj, (sl_gray){SL_BEAMS, SL_DEPTHS, SL_BEAMS, shown->cell}, &cell, &cell_length);
        free(grey);
        if (tj)
            tjDestroy(tj);
        if (!made) {
            picture_length = cell_length = 0;
            width = height = 0;
        }
    }
    char line[128];
    key_line(key, line, sizeof line);
    sl_text file = {0};
    sl_text_add(&file, magic);
    sl_text_add(&file, line);
    sl_text_printf(&file, "%d %.6f %d %d %zu %lu %lu\n", picture_length ? shown->source : -1,
                   picture_length ? shown->time_s : SL_UNKNOWN, width, height, strlen(body), picture_length, cell_length);
    sl_text_add(&file, body);
    if (picture_length) {
        sl_text_add_bytes(&file, (const char *)picture, picture_length);
        sl_text_add_bytes(&file, (const char *)cell, cell_length);
    }
    sl_status status = file.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while keeping the result of %s.", path)
                                   : sl_file_write(path, file.bytes, file.length, error);
    sl_text_free(&file);
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
    size_t body_length, picture_length, cell_length;
    int width, height;
    if (!body || sscanf(numbers, "%d %31s %d %d %zu %zu %zu", &record->shown_frame, time, &width, &height, &body_length,
                        &picture_length, &cell_length) != 7)
        return sl_fail(error, SL_FORMAT, "%s is damaged.", path);
    body++;
    size_t rest = length - (size_t)(body - bytes);
    if (body_length > rest || picture_length > rest || cell_length > rest ||
        body_length + picture_length + cell_length != rest)
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
    json_decref(json);
    return status;
}
