/* Rows of letters in a picture, found by their shape alone: thin strokes that stand out from what is around them, of one
 * height, on one line, evenly spaced. No dictionary and no language: what nobody can read is found as well. */
#ifndef SL_CLIP_TEXT_FIND_H
#define SL_CLIP_TEXT_FIND_H

#include <stdbool.h>
#include <stdint.h>

enum { SL_MOST_BOXES = 512 };

typedef struct sl_box {
    int x0, y0, x1, y1; /* inclusive */
} sl_box;

typedef struct sl_boxes {
    int count;
    bool overflowed; /* there were more than fit: nobody can vouch for the rest */
    sl_box box[SL_MOST_BOXES];
} sl_boxes;

/* Adds a box grown by `margin` pixels and cut to the picture; one that lies in another is left out. */
void sl_boxes_add(sl_boxes *boxes, sl_box box, int margin, int width, int height);

/* Joins boxes that overlap or leave a sliver between them which would itself look like a stroke. */
void sl_boxes_join(sl_boxes *boxes);

/* Stretches boxes to the left and right over whatever `known` strokes (any value but 0) follow on the same row: letters that
 * were not seen as such. */
void sl_boxes_stretch(sl_boxes *boxes, const uint8_t *known, int width, int height);

/* `strokes` (width * height) receives how far each pixel of `picture` stands out from what is around it, spread to 0..255 by
 * the strongest nearby: 255 = a full stroke. `low`, `high`: the range of each pixel over the frames; what moves is left out,
 * and where much moves a stroke has to stand out more. False when memory is out. */
bool sl_text_strokes(const uint8_t *picture, const uint8_t *low, const uint8_t *high, int width, int height,
                     uint8_t *strokes);

/* Adds the rows of letters of `picture` with its strokes, and wipes from `strokes` what is no letter. False when memory is
 * out. */
bool sl_text_find(const uint8_t *picture, uint8_t *strokes, int width, int height, sl_boxes *boxes);

#endif
