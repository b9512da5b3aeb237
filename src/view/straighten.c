#include "view/stack.h"

#include "core/units.h"
#include "view/straighten_kernel.h"

#include <stdlib.h>

struct sl_straightener {
    int width, height;
    uint16_t x[SL_CELLS], y[SL_CELLS];   /* upper left neighbour */
    uint16_t wx[SL_CELLS], wy[SL_CELLS]; /* weight of the right and the lower neighbour, in 1/2048 */
    uint8_t mask[SL_CELLS];
};

/* Splits a coordinate into the pixel before it and the weight of the pixel after it, within 0 .. side - 1. */
static void split(double at, int side, uint16_t *pixel, uint16_t *weight)
{
    double clamped = at < 0 ? 0 : at > side - 1 ? side - 1 : at;
    int whole = (int)clamped;
    if (whole > side - 2)
        whole = side - 2;
    *pixel = (uint16_t)whole;
    *weight = (uint16_t)lrint((clamped - whole) * SL_WEIGHT_ONE);
}

sl_status sl_straightener_new(const sl_view *view, sl_straightener **straightener, sl_error *error)
{
    *straightener = NULL;
    double depth_px = sl_view_depth_px(view), step_px = sl_view_beam_step_px(view, SL_BEAMS, 1.0);
    if (view->width < 2 || view->height < 2 || view->width > SL_CLIP_MOST_SIDE ||
        view->height > SL_CLIP_MOST_SIDE)
        return sl_fail(error, SL_USAGE, "The picture of the view has an impossible size (%d x %d).",
                       view->width, view->height);
    if (!(depth_px > 0) || !(step_px > 0) || !(view->aspect > 0))
        return sl_fail(error, SL_USAGE, "The view has no extent; give its near and far edge and its beams.");
    sl_straightener *made = calloc(1, sizeof *made);
    if (!made)
        return sl_fail(error, SL_MEMORY, "Memory ran out while preparing the straightened picture.");
    made->width = view->width;
    made->height = view->height;
    for (int i = 0; i < SL_DEPTHS; i++) {
        for (int j = 0; j < SL_BEAMS; j++) {
            double x, y;
            sl_view_to_pixel(view, (j + 0.5) / SL_BEAMS, (i + 0.5) / SL_DEPTHS, &x, &y);
            int at = i * SL_BEAMS + j;
            if (!(x >= -0.5 && x <= view->width - 0.5 && y >= -0.5 && y <= view->height - 0.5))
                continue;
            made->mask[at] = 1;
            split(x, view->width, &made->x[at], &made->wx[at]);
            split(y, view->height, &made->y[at], &made->wy[at]);
        }
    }
    *straightener = made;
    return SL_OK;
}

void sl_straighten(const sl_straightener *straightener, sl_gray frame, uint8_t *cell)
{
    if (frame.width != straightener->width || frame.height != straightener->height) {
        for (int i = 0; i < SL_CELLS; i++)
            cell[i] = 0;
        return;
    }
    const sl_straightener *s = straightener;
    sl_kernel_straighten(SL_CELLS, frame.pixel, frame.stride, s->x, s->y, s->wx, s->wy, s->mask, cell);
}

const uint8_t *sl_straightener_mask(const sl_straightener *straightener)
{
    return straightener->mask;
}

void sl_straightener_free(sl_straightener **straightener)
{
    free(*straightener);
    *straightener = NULL;
}
