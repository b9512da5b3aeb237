/* Drawn clips with a known view: speckle that lies across the beams, layers, attenuation, shadow, and around
 * it what screens show: marks, text, a ruler, a grey bar, a banner, a trace. Invented; nothing is copied from
 * any device. */
#ifndef TEST_VIEW_PATTERN_H
#define TEST_VIEW_PATTERN_H

#include "view/view.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct pattern {
    sl_view view; /* the truth: shape, geometry, size, aspect */
    int surround; /* grey level around */
    int page;     /* > 0: level of a page that frames the picture, `page_px` wide */
    int page_px;
    int noise;                 /* grey levels of noise everywhere, as lossy coding leaves it */
    double dark_from, dark_to; /* beams 0..1 without contact */
    double shadow_at;          /* a rib's shadow about this beam, < 0 = none */
    double ribs;               /* > 0: share of the width at each side in a rib's shadow below the wall, and a last repeat
                                  that bends, as a pressed wall makes it */
    double floor;              /* grey level of the deep noise floor inside */
    bool text, grey_bar, banner, trace, mark_left, mark_right;
    double ruler_px;  /* > 0: ticks at this spacing at the right border, every fifth longer */
    int ruler_longer; /* which ticks are longer (5, 10), 0 = none */
    double ruler_y0;  /* row of the first tick */
} pattern;

/* A plausible pattern: convex, 400 x 400, face in the picture. */
pattern pattern_convex(void);
pattern pattern_linear(void);
pattern pattern_sector(void);

/* Draws frame `frame` (0, 1, ...) into `pixel`, width x height bytes. Same numbers, same picture. */
void pattern_draw(const pattern *p, int frame, uint8_t *pixel);

/* Draws `frames` frames and finds the view. */
sl_status pattern_find(const pattern *p, int frames, const sl_clip_info *info, sl_view *found,
                       sl_error *error);

#endif
