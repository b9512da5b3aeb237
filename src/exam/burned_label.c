#include "exam/burned_label.h"

#include "clip/text_find.h"
#include "clip/text_read.h"
#include "exam/zones.h"

#include <stdlib.h>
#include <string.h>

/* Letters stay where they are while the lung moves: the darker of two moments carries bright letters, the lighter dark ones. */
static bool read_words(sl_reader **reader, const sl_kept_frame *a, const sl_kept_frame *b, bool dark, char *words, size_t room)
{
    int width = a->picture.width, height = a->picture.height;
    size_t count = (size_t)width * (size_t)height;
    uint8_t *low = malloc(count), *high = malloc(count), *picture = malloc(count), *strokes = malloc(count);
    sl_boxes rows = {0};
    bool good = low && high && picture && strokes;
    for (int y = 0; good && y < height; y++)
        for (int x = 0; x < width; x++) {
            size_t at = (size_t)y * (size_t)width + (size_t)x;
            uint8_t p = a->picture.pixel[(size_t)y * (size_t)a->picture.stride + (size_t)x];
            uint8_t q = b->picture.pixel[(size_t)y * (size_t)b->picture.stride + (size_t)x];
            low[at] = p < q ? p : q;
            high[at] = p < q ? q : p;
            picture[at] = dark ? (uint8_t)(255 - high[at]) : low[at];
        }
    good = good && sl_text_strokes(picture, low, high, width, height, strokes) &&
           sl_text_find(picture, strokes, width, height, &rows); /* wipes what is no letter */
    words[0] = 0;
    if (good && rows.count) /* the recogniser is slow to start, and most pictures have no letters */
        good = (*reader || sl_reader_open(reader, NULL) == SL_OK) && sl_reader_text(*reader, strokes, width, height, words, room);
    free(low);
    free(high);
    free(picture);
    free(strokes);
    return good;
}

bool sl_burned_label(const sl_clip_result *result, char *words, size_t room)
{
    const sl_kept_frame *a = &result->kept[SL_KEPT_MIDDLE], *b = &result->kept[SL_KEPT_BEST];
    sl_reader *reader = NULL;
    char said[600];
    words[0] = 0;
    if (!a->picture.pixel || !b->picture.pixel || a->picture.width != b->picture.width || a->picture.height != b->picture.height)
        return false;
    const sl_zone *zone = NULL;
    for (int dark = 0; dark < 2 && !zone; dark++)
        if (read_words(&reader, a, b, dark, said, sizeof said))
            zone = sl_zone_in_words(said, NULL);
    sl_reader_close(&reader);
    if (!zone)
        return false;
    sl_zone_words(said, words, room);
    return *words;
}
