/* The view that the clips of one examination agree on: one probe and one screen give one view. */
#include "view/view.h"
#include "view/view_table.h"

#include <math.h>

bool sl_view_doubtful(const sl_view *view)
{
    return !(view->agreement >= SL_BORROW_BELOW);
}

double sl_view_distance(const sl_view *a, const sl_view *b)
{
    if (a->width != b->width || a->height != b->height || a->width < 1 ||
        (a->shape == SL_SHAPE_LINEAR) != (b->shape == SL_SHAPE_LINEAR))
        return INFINITY;
    double most = 0;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            double ax, ay, bx, by;
            sl_view_to_pixel(a, 0.5 * i, 0.5 * j, &ax, &ay);
            sl_view_to_pixel(b, 0.5 * i, 0.5 * j, &bx, &by);
            most = fmax(most, hypot(ax - bx, (ay - by) * a->aspect));
        }
    return isfinite(most) ? most / a->width : INFINITY;
}

int sl_view_consensus(const sl_view *const *views, int n, sl_view *out)
{
    int best = -1, best_near = 0, sure = 0;
    double best_sum = INFINITY;
    for (int i = 0; i < n; i++) {
        if (!views[i] || views[i]->borrowed || sl_view_doubtful(views[i]))
            continue;
        int near_views = 0;
        double sum = 0;
        sure++;
        for (int k = 0; k < n; k++) {
            if (!views[k] || views[k]->borrowed || sl_view_doubtful(views[k]))
                continue;
            double distance = sl_view_distance(views[i], views[k]);
            if (distance > SL_BORROW_NEAR)
                continue;
            near_views++; /* itself among them */
            sum += distance;
        }
        if (near_views > best_near || (near_views == best_near && sum < best_sum)) {
            best = i;
            best_near = near_views;
            best_sum = sum;
        }
    }
    if (best_near < SL_BORROW_LEAST || best_near < SL_BORROW_MAJORITY * sure)
        return -1;
    *out = *views[best];
    return best;
}
