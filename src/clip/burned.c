#include "clip/burned.h"

#include "clip/text_table.h"
#include "core/text.h"

#include <stdlib.h>
#include <string.h>

enum { LEAST_PIXELS = 12 /* of strokes, fewer are no word of any size that is searched for */ };

typedef struct work {
    uint8_t *picture, *strokes, *known; /* owned; `known`: strokes that were searched already */
} work;

/* Takes away strokes that lie on or beside those of an earlier search; returns how many are left. */
static long news(uint8_t *strokes, uint8_t *known, int width, int height)
{
    long left = 0;
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            size_t at = (size_t)y * (size_t)width + (size_t)x;
            if (strokes[at] < 128)
                continue;
            bool old = known[at] || (x > 0 && known[at - 1]) || (x + 1 < width && known[at + 1]) ||
                       (y > 0 && known[at - (size_t)width]) || (y + 1 < height && known[at + (size_t)width]);
            left += !old;
        }
    for (size_t i = 0; i < (size_t)width * (size_t)height; i++)
        known[i] = known[i] || strokes[i] >= 128;
    return left;
}

static bool search_all(sl_reader *reader, const sl_still *still, work *own, sl_boxes *boxes)
{
    size_t count = (size_t)still->width * (size_t)still->height;
    for (int dark = 0; dark < 2; dark++) {
        memset(own->known, 0, count);
        for (int part = 0; part < still->parts; part++) {
            const uint8_t *low = still->low[part], *high = still->high[part];
            if (low[0] > high[0])
                continue; /* a third without a frame */
            for (size_t i = 0; i < count; i++)
                own->picture[i] = dark ? (uint8_t)(255 - high[i]) : low[i];
            if (!sl_text_strokes(own->picture, low, high, still->width, still->height, own->strokes))
                return false;
            if (news(own->strokes, own->known, still->width, still->height) < LEAST_PIXELS)
                continue; /* a third that shows no more than the whole */
            if (!sl_text_find(own->picture, own->strokes, still->width, still->height, boxes) ||
                !sl_reader_words(reader, own->strokes, still->width, still->height, boxes))
                return false;
            sl_boxes_stretch(boxes, own->known, still->width, still->height);
        }
    }
    return true;
}

static sl_status search_clip(sl_reader *reader, const sl_still *still, const char *name, sl_boxes *boxes, sl_error *error)
{
    size_t count = (size_t)still->width * (size_t)still->height;
    work own = {malloc(count), malloc(count), malloc(count)};
    boxes->count = 0;
    boxes->overflowed = false;
    bool good = own.picture && own.strokes && own.known && search_all(reader, still, &own, boxes);
    free(own.picture);
    free(own.strokes);
    free(own.known);
    if (!good)
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for text in %s. Close other programs and try again.",
                       name);
    return SL_OK;
}

sl_status sl_burned_find(sl_reader *reader, sl_still *still, const char *name, sl_boxes *boxes, sl_error *error)
{
    sl_boxes found;
    *boxes = (sl_boxes){0};
    for (int round = 0; round < TEXT_ROUNDS; round++) {
        sl_status status = search_clip(reader, still, name, &found, error);
        if (status || !found.count)
            return status;
        for (int i = 0; i < found.count; i++)
            sl_boxes_add(boxes, found.box[i], 0, still->width, still->height);
        sl_boxes_join(boxes);
        for (int i = 0; i < boxes->count; i++)
            sl_still_blacken(still, boxes->box[i].x0, boxes->box[i].y0, boxes->box[i].x1, boxes->box[i].y1);
        if (boxes->overflowed || found.overflowed)
            break;
    }
    return sl_fail(error, SL_UNREADABLE, "%s could not be verified: what looks like text is found however often it is "
                                         "masked. It was not exported; mask it by hand.",
                   name);
}

sl_status sl_burned_verify(sl_reader *reader, const char *path, int threads, sl_error *error)
{
    sl_still still;
    sl_boxes found;
    sl_status status = sl_still_of(path, threads, &still, error);
    if (status)
        return status;
    status = search_clip(reader, &still, sl_path_name(path), &found, error);
    sl_still_free(&still);
    if (!status && found.count)
        status = sl_fail(error, SL_UNREADABLE, "It could not be verified: the result still shows what looks like text at "
                                               "column %d, row %d. It was not exported; mask it by hand.",
                         found.box[0].x0, found.box[0].y0);
    return status;
}

double sl_boxes_share(const sl_boxes *boxes, int width, int height)
{
    uint8_t *under = calloc((size_t)width, (size_t)height);
    if (!under)
        return -1;
    for (int i = 0; i < boxes->count; i++)
        for (int y = boxes->box[i].y0; y <= boxes->box[i].y1; y++)
            memset(under + (size_t)y * (size_t)width + boxes->box[i].x0, 1,
                   (size_t)(boxes->box[i].x1 - boxes->box[i].x0 + 1));
    long covered = 0;
    for (long i = 0; i < (long)width * height; i++)
        covered += under[i];
    free(under);
    return (double)covered / ((double)width * height);
}
