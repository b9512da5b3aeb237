#include "clip/still.h"

#include "clip/clip.h"
#include "core/text.h"

#include <stdlib.h>
#include <string.h>

enum { LEAST_FOR_THIRDS = 6 };

static sl_status out_of_memory(const char *path, sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while looking for text in %s. Close other programs and try again.",
                   sl_path_name(path));
}

static void widen(uint8_t *restrict low, uint8_t *restrict high, const uint8_t *restrict row, int count)
{
    for (int x = 0; x < count; x++) {
        low[x] = row[x] < low[x] ? row[x] : low[x];
        high[x] = row[x] > high[x] ? row[x] : high[x];
    }
}

static void take(sl_still *still, int part, const sl_gray *picture)
{
    for (int y = 0; y < still->height; y++) {
        size_t at = (size_t)y * (size_t)still->width;
        widen(still->low[part] + at, still->high[part] + at, picture->pixel + (long)y * picture->stride, still->width);
    }
}

static bool make_part(sl_still *still)
{
    size_t count = (size_t)still->width * (size_t)still->height;
    int part = still->parts++;
    still->low[part] = malloc(count);
    still->high[part] = malloc(count);
    if (!still->low[part] || !still->high[part])
        return false;
    memset(still->low[part], 255, count);
    memset(still->high[part], 0, count);
    return true;
}

static sl_status accumulate(sl_clip *clip, const char *path, sl_still *still, sl_error *error)
{
    const sl_clip_info *info = sl_clip_get_info(clip);
    sl_frame frame;
    bool got = false;
    sl_status status;
    int stated = info->frames_stated;
    while (!(status = sl_clip_next(clip, &frame, &got, error)) && got) {
        if (!still->parts) {
            still->width = frame.gray.width;
            still->height = frame.gray.height;
            for (int i = 0; i < (stated >= LEAST_FOR_THIRDS ? SL_STILL_PARTS : 1); i++)
                if (!make_part(still))
                    return out_of_memory(path, error);
        }
        if (frame.gray.width != still->width || frame.gray.height != still->height)
            return sl_fail(error, SL_UNREADABLE, "The pictures of %s change their size half way. Export it again.",
                           sl_path_name(path));
        take(still, 0, &frame.gray);
        if (still->parts > 1) {
            long third = 3L * still->frames / stated;
            take(still, 1 + (int)(third < 3 ? third : 2), &frame.gray);
        }
        still->frames++;
        still->coloured = still->coloured || frame.cb;
    }
    if (!status && !still->frames)
        return sl_fail(error, SL_UNREADABLE, "%s holds no picture.", sl_path_name(path));
    return status;
}

sl_status sl_still_of(const char *path, int threads, sl_still *still, sl_error *error)
{
    *still = (sl_still){0};
    sl_clip *clip = NULL;
    sl_status status = sl_clip_open(path, threads, &clip, error);
    if (!status)
        status = accumulate(clip, path, still, error);
    if (!status && *sl_clip_damage(clip))
        status = sl_fail(error, SL_UNREADABLE, "%s is damaged, so nobody can vouch for what it shows. %s",
                         sl_path_name(path), sl_clip_damage(clip));
    sl_clip_close(&clip);
    if (status)
        sl_still_free(still);
    return status;
}

void sl_still_blacken(sl_still *still, int x0, int y0, int x1, int y1)
{
    for (int part = 0; part < still->parts; part++)
        for (int y = y0; y <= y1; y++) {
            size_t at = (size_t)y * (size_t)still->width + (size_t)x0, count = (size_t)(x1 - x0 + 1);
            memset(still->low[part] + at, 0, count);
            memset(still->high[part] + at, 0, count);
        }
}

void sl_still_free(sl_still *still)
{
    for (int i = 0; i < SL_STILL_PARTS; i++) {
        free(still->low[i]);
        free(still->high[i]);
    }
    *still = (sl_still){0};
}
