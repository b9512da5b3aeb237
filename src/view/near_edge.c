/* Where the imaged area begins, between pixels. The fit works on a pooled outline; depths of a few millimetres
 * hang on its near edge, so that is measured again along beams of the full picture: the first rise out of the
 * surround, at half its height. The median over beams bears shadow and marks. */
#include "view/find_parts.h"
#include "view/view_table.h"
#include "core/quantile.h"

#include <math.h>
#include <stdlib.h>

enum { STEPS_A_PIXEL = 4, MOST_SAMPLES = 256 };

static double sample(const uint8_t *hi, int w, int h, double x, double y)
{
    if (!(x >= 0 && y >= 0 && x <= w - 1 && y <= h - 1))
        return -1;
    int c = (int)x < w - 1 ? (int)x : w - 2, r = (int)y < h - 1 ? (int)y : h - 2;
    double fx = x - c, fy = y - r;
    const uint8_t *at = hi + (size_t)r * (size_t)w + (size_t)c;
    return (1 - fy) * ((1 - fx) * at[0] + fx * at[1]) + fy * ((1 - fx) * at[w] + fx * at[w + 1]);
}

/* Distance from the start of the profile to the first rise at half height, in samples; negative when there is none. */
static double first_rise(const double *profile, int samples)
{
    double base = profile[0];
    int at = 1;
    while (at < samples && profile[at] < base + SL_LIT_STEP)
        at++;
    if (base < 0 || at >= samples - 2 * STEPS_A_PIXEL)
        return -1;
    double peak = profile[at];
    for (int k = at; k < at + 2 * STEPS_A_PIXEL; k++)
        peak = profile[k] > peak ? profile[k] : peak;
    double half = 0.5 * (base + peak);
    while (at < samples - 1 && profile[at] < half)
        at++;
    double rise = profile[at] - profile[at - 1];
    return rise > 0 ? at - (profile[at] - half) / rise : at;
}

void sl_near_edge_refine(const uint8_t *hi, int pool, sl_view *view)
{
    double length = sl_view_depth_px(view), reach = SL_NEAR_REACH_PX + pool, start[SL_NEAR_BEAMS],
           profile[MOST_SAMPLES];
    int samples = (int)(2 * reach * STEPS_A_PIXEL) + 1, found = 0;
    if (!(length > 4 * reach) || samples > MOST_SAMPLES)
        return;
    for (int j = 0; j < SL_NEAR_BEAMS; j++) {
        double beam = 0.1 + 0.8 * (j + 0.5) / SL_NEAR_BEAMS; /* not the outermost: there the side edge begins */
        bool whole = true;
        for (int k = 0; k < samples && whole; k++) {
            double x, y;
            sl_view_to_pixel(view, beam, ((double)k / STEPS_A_PIXEL - reach) / length, &x, &y);
            profile[k] = sample(hi, view->width, view->height, x, y);
            if (profile[k] < 0) { /* above the picture */
                whole = k == 0 || profile[k - 1] == 0;
                profile[k] = 0;
            }
        }
        double at = whole ? first_rise(profile, samples) : -1;
        if (at >= 0)
            start[found++] = at / STEPS_A_PIXEL - reach;
    }
    if (found < SL_NEAR_SHARE * SL_NEAR_BEAMS)
        return;
    double away[SL_NEAR_BEAMS];
    double median = sl_quantile(start, found, 0.5);
    for (int i = 0; i < found; i++)
        away[i] = fabs(start[i] - median);
    if (sl_quantile(away, found, 0.5) > SL_NEAR_SPREAD_PX * pool)
        return;
    if (view->shape == SL_SHAPE_LINEAR)
        view->near_y += median / view->aspect;
    else
        view->near_r += median;
}
