/* One frame as grey and, where the clip has colour, as packed RGB, to be masked and coded anew. */
#ifndef SL_CLIP_CANVAS_H
#define SL_CLIP_CANVAS_H

#include "clip/clip.h"
#include "clip/text_find.h"

typedef struct sl_canvas {
    uint8_t *rgb, *gray; /* owned; `rgb` is filled only when coloured */
    int width, height;
    bool coloured;
} sl_canvas;

/* False when memory ran out; sl_canvas_free in any case. */
bool sl_canvas_make(int width, int height, bool coloured, sl_canvas *canvas);
void sl_canvas_free(sl_canvas *canvas);

/* A frame of the canvas's size (JFIF 1.02, page 3: YCbCr to RGB), then the boxes black. */
void sl_canvas_paint(sl_canvas *canvas, const sl_frame *frame, const sl_boxes *boxes);

#endif
