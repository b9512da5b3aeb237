#include "dicom/rle.h"

#include <string.h>

enum { HEADER = 64, MOST_RUN = 128 };

size_t sl_rle_room(const sl_dicom_facts *facts)
{
    size_t count = (size_t)facts->width * (size_t)facts->height, planes = (size_t)(facts->samples * facts->bits_allocated / 8);
    return HEADER + planes * (count + (count + MOST_RUN - 1) / MOST_RUN + (size_t)facts->height + 2);
}

/* One row by PackBits (PS3.5 G.3.1): runs end with the row. `step` bytes lie between the values. */
static size_t pack_row(const uint8_t *in, size_t step, int width, uint8_t *out)
{
    size_t to = 0;
    for (int at = 0; at < width;) {
        int run = 1;
        while (at + run < width && run < MOST_RUN && in[(size_t)(at + run) * step] == in[(size_t)at * step])
            run++;
        if (run > 1) {
            out[to++] = (uint8_t)(1 - run);
            out[to++] = in[(size_t)at * step];
            at += run;
            continue;
        }
        size_t head = to++;
        int literal = 0;
        while (at < width && literal < MOST_RUN &&
               !(at + 2 < width && in[(size_t)at * step] == in[(size_t)(at + 1) * step] &&
                 in[(size_t)at * step] == in[(size_t)(at + 2) * step])) {
            out[to++] = in[(size_t)at++ * step];
            literal++;
        }
        out[head] = (uint8_t)(literal - 1);
    }
    return to;
}

static void put_number(uint8_t *out, size_t number)
{
    for (int i = 0; i < 4; i++)
        out[i] = (uint8_t)(number >> 8 * i);
}

size_t sl_rle_frame(const sl_dicom_facts *facts, const uint8_t *samples, uint8_t *out)
{
    int bytes = facts->bits_allocated / 8, segments = facts->samples * bytes;
    size_t count = (size_t)facts->width * (size_t)facts->height, to = HEADER;
    size_t step = (size_t)bytes * (facts->by_plane ? 1 : (size_t)facts->samples);
    memset(out, 0, HEADER);
    put_number(out, (size_t)segments);
    for (int segment = 0; segment < segments; segment++) {
        int sample = segment / bytes, byte = bytes - 1 - segment % bytes; /* the most significant first (G.2) */
        const uint8_t *first = samples + (facts->by_plane ? (size_t)sample * count * (size_t)bytes
                                                          : (size_t)(sample * bytes)) + byte;
        put_number(out + 4 + 4 * segment, to);
        for (int y = 0; y < facts->height; y++)
            to += pack_row(first + (size_t)y * (size_t)facts->width * step, step, facts->width, out + to);
        if (to & 1)
            out[to++] = 0;
    }
    return to;
}
