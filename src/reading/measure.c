#include "reading/measure.h"

#include "core/units.h"

#include <math.h>
#include <string.h>

enum { POINTS_MOST = 4096 };

/* The picture's rows are `aspect` pixel widths high (view.h). */
static double length(const sl_view *view, sl_pixel a, sl_pixel b)
{
    return hypot(b.x - a.x, (b.y - a.y) * view->aspect);
}

/* In pixel widths, their square, or degrees. */
static double value_of(sl_measure_kind kind, const sl_view *view, const sl_pixel *p, int n)
{
    double sum = 0;
    switch (kind) {
    case SL_MEASURE_DISTANCE:
        return length(view, p[0], p[1]);
    case SL_MEASURE_PATH:
    case SL_MEASURE_WAY:
        for (int i = 1; i < n; i++)
            sum += length(view, p[i - 1], p[i]);
        return sum;
    case SL_MEASURE_ANGLE: {
        double ax = p[0].x - p[1].x, ay = (p[0].y - p[1].y) * view->aspect;
        double bx = p[2].x - p[1].x, by = (p[2].y - p[1].y) * view->aspect;
        return fabs(atan2(ax * by - ay * bx, ax * bx + ay * by)) * 180 / acos(-1.0);
    }
    case SL_MEASURE_AREA:
        for (int i = 0; i < n; i++) {
            sl_pixel a = p[i], b = p[(i + 1) % n];
            sum += a.x * b.y - b.x * a.y;
        }
        return 0.5 * fabs(sum) * view->aspect;
    }
    return NAN;
}

/* Unit step along the beam at a point, in columns and rows; straight down where the view does not say. */
static sl_pixel beam_step(const sl_view *view, sl_pixel at)
{
    sl_pixel step = {0, 1 / view->aspect};
    if (view->shape == SL_SHAPE_CONVEX || view->shape == SL_SHAPE_SECTOR) {
        double x = at.x - view->apex_x, y = (at.y - view->apex_y) * view->aspect, r = hypot(x, y);
        if (r > 0)
            step = (sl_pixel){x / r, y / r / view->aspect};
    }
    return step;
}

static double squared(double value)
{
    return isfinite(value) ? value * value : 0;
}

/* Variance of the value from every point's errors; `along`, `across`: standard uncertainties in pixel widths. */
static double variance(sl_measure_kind kind, const sl_view *view, sl_pixel *p, int n, double along, double across)
{
    double sum = 0, here = value_of(kind, view, p, n);
    int step = kind == SL_MEASURE_WAY ? n - 1 : 1; /* which points were placed */
    for (int i = 0; i < n; i += step) {
        sl_pixel at = p[i], down = beam_step(view, at), side = {-down.y * view->aspect, down.x / view->aspect};
        const sl_pixel way[2] = {down, side};
        const double sd[2] = {along, across};
        for (int k = 0; k < 2; k++) {
            enum { PARTS = 100 };
            double part = 1.0 / PARTS;
            p[i] = (sl_pixel){at.x + part * way[k].x, at.y + part * way[k].y};
            double more = value_of(kind, view, p, n);
            p[i] = (sl_pixel){at.x - part * way[k].x, at.y - part * way[k].y};
            double less = value_of(kind, view, p, n);
            p[i] = at;
            /* The steeper side: an angle folds at 0 and 180 degrees, where the two sides cancel. On a given line its first and last
             * pieces are so short that their bending would count: there both sides. */
            double change = kind == SL_MEASURE_WAY && here > 0 ? fabs(more - less) / 2 : fmax(fabs(more - here), fabs(here - less));
            sum += squared(change / part * sd[k]);
        }
    }
    return sum;
}

static sl_measured unknown(const char *unit, const char *reason)
{
    return (sl_measured){.reason = reason, .unit = unit, .value = SL_UNKNOWN, .sd = SL_UNKNOWN, .left_out = ""};
}

sl_measured sl_measure(sl_measure_kind kind, const sl_view *view, const sl_pixel *point, int points,
                       const sl_point_error *error)
{
    static const sl_point_error none = {NAN, NAN, NAN};
    static const int least[] = {[SL_MEASURE_DISTANCE] = 2, [SL_MEASURE_PATH] = 2, [SL_MEASURE_ANGLE] = 3, [SL_MEASURE_AREA] = 3, [SL_MEASURE_WAY] = 2};
    const char *unit = kind == SL_MEASURE_ANGLE ? "degrees" : kind == SL_MEASURE_AREA ? "mm2" : "mm";
    double scale = view->mm_per_px;
    bool scaled = isfinite(scale) && scale > 0;
    sl_pixel p[POINTS_MOST];
    if (points < least[kind])
        return unknown(unit, "more points are needed");
    if (points > POINTS_MOST)
        return unknown(unit, "the line has too many points");
    if (!scaled && kind != SL_MEASURE_ANGLE)
        return unknown(unit, "the picture's scale is not known");
    for (int i = 0; i < points; i++)
        if (!isfinite(point[i].x) || !isfinite(point[i].y))
            return unknown(unit, "a point is not in the picture");
    int used = kind == SL_MEASURE_DISTANCE ? 2 : kind == SL_MEASURE_ANGLE ? 3 : points;
    memcpy(p, point, sizeof *p * (size_t)used);
    if (kind == SL_MEASURE_ANGLE && (!(length(view, p[0], p[1]) > 0) || !(length(view, p[2], p[1]) > 0)))
        return unknown(unit, "two of the points are the same");
    error = error ? error : &none;
    double per = scaled ? 1 / scale : NAN; /* pixel widths a mm */
    double place = squared(error->placement_mm * per);
    double along = sqrt(1.0 / 12 + place + squared(error->along_mm * per) / 12),
           across = sqrt(1.0 / 12 + place + squared(error->across_mm * per) / 12);
    double value = value_of(kind, view, p, used), var = variance(kind, view, p, used, along, across);
    int power = kind == SL_MEASURE_ANGLE ? 0 : kind == SL_MEASURE_AREA ? 2 : 1;
    double unit_mm = power ? pow(scale, power) : 1;
    double common = power && isfinite(view->mm_per_px_sd) ? power * value * unit_mm * view->mm_per_px_sd / scale : 0;
    static const char *const left_out[] = {"", "the resolution along the beam", "the width of the beam", "the resolution",
        "the placement by hand", "the resolution along the beam and the placement by hand",
        "the width of the beam and the placement by hand", "the resolution and the placement by hand"};
    int missing = (isfinite(error->along_mm) && scaled ? 0 : 1) + (isfinite(error->across_mm) && scaled ? 0 : 2) +
                  (isfinite(error->placement_mm) && scaled ? 0 : 4);
    return (sl_measured){.known = true, .reason = "", .unit = unit, .value = value * unit_mm,
                         .sd = sqrt(var * unit_mm * unit_mm + common * common),
                         .left_out = left_out[missing]};
}

sl_measured sl_measure_interval(double first_s, double last_s, double frame_s)
{
    if (!isfinite(first_s) || !isfinite(last_s) || !(frame_s > 0))
        return unknown("s", "the times of the frames are not known");
    return (sl_measured){.known = true, .reason = "", .unit = "s", .value = fabs(last_s - first_s), .sd = frame_s * sqrt(2.0 / 12),
                         .left_out = "the choice of the frames"};
}

sl_trace_measured sl_measure_trace(const sl_view *view, const sl_pixel *way, int points, const double time_s[2], double frame_s,
                                   const sl_point_error *error)
{
    sl_trace_measured m = {.way = sl_measure(SL_MEASURE_WAY, view, way, points, error),
                           .time = sl_measure_interval(time_s[0], time_s[1], frame_s)};
    if (!m.way.known || !m.time.known)
        m.speed = unknown("mm/s", m.way.known ? m.time.reason : m.way.reason);
    else if (!(m.time.value > 0))
        m.speed = unknown("mm/s", "both places are at the same time");
    else {
        double speed = m.way.value / m.time.value, way_part = m.way.sd / m.time.value, time_part = speed * m.time.sd / m.time.value;
        m.speed = (sl_measured){.known = true, .reason = "", .unit = "mm/s", .value = speed, .sd = hypot(way_part, time_part),
                                .left_out = m.way.left_out};
    }
    return m;
}

bool sl_measure_put(const sl_measured *measured, sl_code code, const sl_view *view, const sl_pixel *point, int points,
                    int frame, sl_arena *arena, sl_reading *reading)
{
    const sl_finding_info *info = sl_finding_info_of(code);
    if (!measured->known || !info || points < 1 || !(measured->value >= info->low && measured->value <= info->high))
        return false;
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    double *beam = SL_NEW(arena, points, double), *depth = SL_NEW(arena, points, double);
    if (!e || !beam || !depth)
        return false;
    *e = (sl_evidence){.first_frame = frame, .last_frame = frame, .first_time_s = SL_UNKNOWN, .last_time_s = SL_UNKNOWN,
                       .points = points, .beam = beam, .depth = depth, .first_beam = 1, .first_depth = 1,
                       .label = "measured by hand"};
    for (int i = 0; i < points; i++) {
        sl_view_from_pixel(view, point[i].x, point[i].y, &beam[i], &depth[i]);
        e->first_beam = fmin(e->first_beam, beam[i]);
        e->last_beam = fmax(e->last_beam, beam[i]);
        e->first_depth = fmin(e->first_depth, depth[i]);
        e->last_depth = fmax(e->last_depth, depth[i]);
    }
    sl_finding *finding = sl_reading_put(reading, code);
    finding->known = true;
    finding->value = measured->value;
    finding->low = measured->value - 1.96 * measured->sd;
    finding->high = measured->value + 1.96 * measured->sd;
    finding->evidence = e;
    finding->evidences = 1;
    return true;
}
