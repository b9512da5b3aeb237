#include "view/motion_trace.h"

#include "core/order.h"
#include "core/units.h"

#include <stdlib.h>
#include <string.h>

enum { PIECES = 64 }; /* of a curve between two points: chords shorter than a pixel or two */

typedef struct spot {
    double x, y;
} spot;

static double apart(spot a, spot b)
{
    return hypot(b.x - a.x, b.y - a.y);
}

static spot mixed(spot a, spot b, double share)
{
    return (spot){a.x + share * (b.x - a.x), a.y + share * (b.y - a.y)};
}

/* Between b and c, at `share` of the knots' distance (Barry and Goldman's scheme for the centripetal spline). */
static spot between_spots(const spot p[4], double share)
{
    double t[4] = {0};
    for (int i = 1; i < 4; i++)
        t[i] = t[i - 1] + sqrt(apart(p[i - 1], p[i]));
    double at = t[1] + share * (t[2] - t[1]);
    spot a[3], b[2];
    for (int i = 0; i < 3; i++)
        a[i] = mixed(p[i], p[i + 1], (at - t[i]) / (t[i + 1] - t[i]));
    for (int i = 0; i < 2; i++)
        b[i] = mixed(a[i], a[i + 1], (at - t[i]) / (t[i + 2] - t[i]));
    return mixed(b[0], b[1], (at - t[1]) / (t[2] - t[1]));
}

/* The curve as a fine polygon; how many corners, 0 when there is none. */
static int polygon(const sl_view *view, const double *beam, const double *depth, int points, spot *corner, double *way)
{
    spot p[SL_TRACE_POINTS_MOST + 2];
    int n = 0, count = 0;
    if (points < 2 || points > SL_TRACE_POINTS_MOST)
        return 0;
    for (int i = 0; i < points; i++) {
        spot at;
        if (!isfinite(beam[i]) || !isfinite(depth[i]))
            return 0;
        sl_view_to_pixel(view, beam[i], depth[i], &at.x, &at.y);
        at.y *= view->aspect;
        if (!isfinite(at.x) || !isfinite(at.y))
            return 0;
        if (!n || apart(p[n], at) > 1e-3) /* the same place twice is one point */
            p[++n] = at;
    }
    if (n < 2)
        return 0;
    p[0] = mixed(p[1], p[2], -1); /* the ends run on straight */
    p[n + 1] = mixed(p[n], p[n - 1], -1);
    for (int i = 1; i < n; i++)
        for (int k = i > 1 ? 1 : 0; k <= PIECES; k++) {
            corner[count] = n == 2 ? mixed(p[1], p[2], (double)k / PIECES) : between_spots(p + i - 1, (double)k / PIECES);
            way[count] = count ? way[count - 1] + apart(corner[count - 1], corner[count]) : 0;
            count++;
        }
    return count;
}

double sl_curve_places(const sl_view *view, const double *beam, const double *depth, int points, const double *share, int count,
                       double *at_beam, double *at_depth)
{
    spot corner[(SL_TRACE_POINTS_MOST - 1) * PIECES + 1];
    double way[(SL_TRACE_POINTS_MOST - 1) * PIECES + 1];
    int corners = polygon(view, beam, depth, points, corner, way);
    if (!corners)
        return SL_UNKNOWN;
    double length = way[corners - 1];
    for (int i = 0; i < count; i++) {
        double at = fmin(fmax(share[i], 0), 1) * length;
        int low = 0, high = corners - 1;
        while (high - low > 1) {
            int middle = (low + high) / 2;
            if (way[middle] <= at)
                low = middle;
            else
                high = middle;
        }
        double step = way[high] - way[low];
        spot place = mixed(corner[low], corner[high], step > 0 ? (at - way[low]) / step : 0);
        sl_view_from_pixel(view, place.x, place.y / view->aspect, &at_beam[i], &at_depth[i]);
    }
    return length;
}

bool sl_trace_line_set(sl_trace_line *line, const sl_view *view, const double *beam, const double *depth, int points, int rows)
{
    double share[SL_TRACE_ROWS_MOST], b[SL_TRACE_ROWS_MOST], d[SL_TRACE_ROWS_MOST];
    if (rows < SL_TRACE_ROWS_LEAST || rows > SL_TRACE_ROWS_MOST)
        return false;
    for (int row = 0; row < rows; row++)
        share[row] = (row + 0.5) / rows;
    line->rows = rows;
    line->length_px = sl_curve_places(view, beam, depth, points, share, rows, b, d);
    if (!sl_known(line->length_px))
        return false;
    for (int row = 0; row < rows; row++) {
        double x = b[row] * SL_BEAMS - 0.5, y = d[row] * SL_DEPTHS - 0.5;
        line->at[row] = -1;
        line->right[row] = line->down[row] = 0;
        if (!(x > -0.6 && x < SL_BEAMS - 0.4 && y > -0.6 && y < SL_DEPTHS - 0.4)) /* an edge's cell to its outer side, rounding and all */
            continue;
        x = fmin(fmax(x, 0), SL_BEAMS - 1);
        y = fmin(fmax(y, 0), SL_DEPTHS - 1);
        int i = x < SL_BEAMS - 1 ? (int)x : SL_BEAMS - 2, j = y < SL_DEPTHS - 1 ? (int)y : SL_DEPTHS - 2;
        line->at[row] = j * SL_BEAMS + i;
        line->right[row] = (float)(x - i);
        line->down[row] = (float)(y - j);
    }
    return true;
}

void sl_trace_column(const uint8_t *cell, const sl_trace_line *line, uint8_t *column)
{
    for (int row = 0; row < line->rows; row++) {
        if (line->at[row] < 0) {
            column[row] = 0;
            continue;
        }
        const uint8_t *at = cell + line->at[row];
        float u = line->right[row], v = line->down[row];
        float above = (1 - u) * at[0] + u * at[1], below = (1 - u) * at[SL_BEAMS] + u * at[SL_BEAMS + 1];
        column[row] = (uint8_t)((1 - v) * above + v * below + 0.5f);
    }
}

bool sl_trace_timed(const double *time_s, int columns)
{
    for (int i = 0; i < columns; i++)
        if (!isfinite(time_s[i]))
            return false;
    return columns > 1 && time_s[columns - 1] > time_s[0];
}

double sl_trace_hold(const double *time_s, int columns, double *scratch)
{
    if (!sl_trace_timed(time_s, columns))
        return SL_UNKNOWN;
    for (int i = 1; i < columns; i++)
        scratch[i - 1] = time_s[i] - time_s[i - 1];
    qsort(scratch, (size_t)columns - 1, sizeof *scratch, sl_by_double);
    return 1.5 * scratch[(columns - 1) / 2];
}

void sl_trace_axis(const double *time_s, int columns, double from, double to, double hold_s, int width, int *column)
{
    bool timed = sl_trace_timed(time_s, columns);
    int at = 0;
    for (int x = 0; x < width; x++) {
        double moment = from + (x + 0.5) / width * (to - from);
        column[x] = -1;
        if (columns < 1)
            continue;
        while (at + 1 < columns && fabs((timed ? time_s[at + 1] : at + 1) - moment) <= fabs((timed ? time_s[at] : at) - moment))
            at++;
        if (!timed || fabs(time_s[at] - moment) <= hold_s)
            column[x] = at;
    }
}

void sl_trace_picture(const sl_motion_trace *trace, const int *column, uint8_t gap, int width, uint8_t *pixel)
{
    size_t wide = (size_t)width, rows = (size_t)trace->rows;
    for (size_t x = 0; x < wide; x++) {
        const uint8_t *grey = column[x] < 0 ? NULL : trace->grey + (size_t)column[x] * rows;
        for (size_t row = 0; row < rows; row++)
            pixel[row * wide + x] = grey ? grey[row] : gap;
    }
}
