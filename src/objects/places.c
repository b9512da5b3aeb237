#include "objects/places.h"

#include <math.h>

enum {
    MOST_PLACES = 32,
    MOST_POINTS = 64, /* of a line; more say nothing that is seen */
    ACROSS = 8        /* steps along the near and the far side of an area, which are arcs in a fan */
};

static bool put(const sl_view *view, double beam, double depth, float *xy)
{
    double x, y;
    sl_view_to_pixel(view, beam, depth, &x, &y);
    x = fmin(fmax(x + 0.5, 0), view->width); /* from the pixel's middle to its corner; a beam may end beyond a cropped picture */
    y = fmin(fmax(y + 0.5, 0), view->height);
    xy[0] = (float)x;
    xy[1] = (float)y;
    return isfinite(x) && isfinite(y);
}

static bool line(const sl_evidence *own, const sl_view *view, float *xy, int *points)
{
    int count = own->points < MOST_POINTS ? own->points : MOST_POINTS;
    bool good = count > 0;
    for (int i = 0; i < count && good; i++) {
        int at = count > 1 ? (int)((long)i * (own->points - 1) / (count - 1)) : 0;
        good = isfinite(own->beam[at]) && isfinite(own->depth[at]) && put(view, own->beam[at], own->depth[at], xy + 2 * i);
    }
    *points = count;
    return good;
}

static bool area(const sl_evidence *own, const sl_view *view, float *xy, int *points)
{
    double a = own->first_beam, b = own->last_beam, top = own->first_depth, bottom = own->last_depth;
    if (!isfinite(a) || !isfinite(b) || !isfinite(top) || !isfinite(bottom))
        return false;
    *points = 1;
    if (a == b && top == bottom)
        return put(view, a, top, xy);
    bool good = true;
    int n = 0;
    for (int i = 0; i <= ACROSS && good; i++)
        good = put(view, a + (b - a) * i / ACROSS, top, xy + 2 * n++);
    for (int i = ACROSS; i >= 0 && good; i--)
        good = put(view, a + (b - a) * i / ACROSS, bottom, xy + 2 * n++);
    xy[2 * n] = xy[0];
    xy[2 * n + 1] = xy[1];
    *points = n + 1;
    return good;
}

bool sl_dicom_places(const sl_finding *finding, const sl_view *view, sl_arena *arena, sl_dicom_finding *to)
{
    int most = finding->evidences < MOST_PLACES ? finding->evidences : MOST_PLACES;
    to->places = 0;
    to->place = NULL;
    if (!most || view->shape == SL_SHAPE_UNKNOWN)
        return true;
    sl_dicom_place *places = SL_NEW(arena, most, sl_dicom_place);
    for (int i = 0; places && i < most; i++) {
        const sl_evidence *own = &finding->evidence[i];
        float *xy = SL_NEW(arena, 2 * (MOST_POINTS + 2 * ACROSS + 4), float);
        int points = 0;
        if (!xy)
            return false;
        if (own->points ? line(own, view, xy, &points) : area(own, view, xy, &points))
            places[to->places++] = (sl_dicom_place){own->first_frame + 1, own->last_frame + 1, points, xy};
    }
    to->place = places;
    return places;
}
