#include "clip/canvas.h"

#include <stdlib.h>
#include <string.h>

bool sl_canvas_make(int width, int height, bool coloured, sl_canvas *canvas)
{
    size_t count = (size_t)width * (size_t)height;
    *canvas = (sl_canvas){coloured ? malloc(3 * count) : NULL, malloc(count), width, height, coloured};
    return canvas->gray && (canvas->rgb || !coloured);
}

void sl_canvas_free(sl_canvas *canvas)
{
    free(canvas->rgb);
    free(canvas->gray);
    *canvas = (sl_canvas){0};
}

static uint8_t clamp(double value)
{
    return value <= 0 ? 0 : value >= 255 ? 255 : (uint8_t)(value + 0.5);
}

static void paint(sl_canvas *to_fill, const sl_frame *frame)
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

static void blacken(sl_canvas *to_fill, const sl_boxes *boxes)
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

void sl_canvas_paint(sl_canvas *canvas, const sl_frame *frame, const sl_boxes *boxes)
{
    paint(canvas, frame);
    blacken(canvas, boxes);
}
