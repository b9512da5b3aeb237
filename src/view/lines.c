/* Straight edges and arcs of the outline of the lit picture. Hypotheses from pairs (lines) or triples (arcs)
 * of outline points taken at even steps, so that the result is the same every time; the best is the one that
 * many points lie on and few lie beyond. Points inside say nothing: shadow and lost contact darken whole
 * beams. */
#include "view/find_parts.h"
#include "view/view_table.h"

#include <math.h>

enum { STEPS = 28, POINTS_MOST = 4096 };

typedef struct outline_points {
    int count; /* points that may support an edge */
    int16_t x[POINTS_MOST], y[POINTS_MOST];
    int all; /* ... and all, for what lies beyond */
    int16_t all_x[POINTS_MOST], all_y[POINTS_MOST];
} outline_points;

/* The left outline, mirrored for the right one. Points on a cut of the picture support no edge. */
static void side_points(const sl_lit *lit, bool mirrored, outline_points *points)
{
    points->count = points->all = 0;
    bool cropped = mirrored ? lit->cropped_right : lit->cropped_left;
    int border = mirrored ? lit->w - 1 - lit->x1 : lit->x0;
    for (int y = 0; y < lit->h && points->all < POINTS_MOST; y++) {
        int raw = mirrored ? lit->last[y] : lit->first[y];
        if (raw < 0)
            continue;
        int x = mirrored ? lit->w - 1 - raw : raw;
        points->all_x[points->all] = (int16_t)x;
        points->all_y[points->all++] = (int16_t)y;
        if (x < 2 || (cropped && x <= border + 1) || y < 1)
            continue;
        points->x[points->count] = (int16_t)x;
        points->y[points->count++] = (int16_t)y;
    }
}

static double line_score(const outline_points *points, double at, double slope, int *support)
{
    double norm = 1 / sqrt(1 + slope * slope), score = 0;
    int on = 0;
    for (int i = 0; i < points->count; i++) {
        double off = (points->x[i] - at - slope * points->y[i]) * norm;
        on += fabs(off) < SL_EDGE_NEAR_PX;
    }
    int beyond = 0;
    for (int i = 0; i < points->all; i++) {
        double off = (points->all_x[i] - at - slope * points->all_y[i]) * norm;
        beyond += off < -SL_EDGE_BEYOND_PX;
    }
    score = on - SL_EDGE_BEYOND_COST * beyond;
    *support = on;
    return score;
}

/* Least squares through the points near the line. */
static void line_polish(const outline_points *points, sl_line *line)
{
    for (int round = 0; round < 2; round++) {
        double n = 0, sx = 0, sy = 0, sxy = 0, syy = 0, norm = 1 / sqrt(1 + line->slope * line->slope);
        for (int i = 0; i < points->count; i++) {
            if (fabs((points->x[i] - line->at - line->slope * points->y[i]) * norm) >= SL_EDGE_NEAR_PX)
                continue;
            n++;
            sx += points->x[i];
            sy += points->y[i];
            sxy += (double)points->x[i] * points->y[i];
            syy += (double)points->y[i] * points->y[i];
        }
        double spread = n * syy - sy * sy;
        if (n < 4 || spread < 1)
            return;
        line->slope = (n * sxy - sx * sy) / spread;
        line->at = (sx - line->slope * sy) / n;
    }
}

int sl_lines_find(const sl_lit *lit, bool mirrored, sl_line *line, int most)
{
    outline_points points;
    side_points(lit, mirrored, &points);
    int rows = lit->y1 - lit->y0 + 1, found = 0;
    int least = (int)(SL_EDGE_LEAST_ROWS * rows) > 8 ? (int)(SL_EDGE_LEAST_ROWS * rows) : 8;
    double steepest = tan(SL_EDGE_STEEPEST), best[8] = {0};
    if (most > 8)
        most = 8;
    if (points.count < least)
        return 0;
    for (int a = 0; a < STEPS; a++) {
        int i = a * (points.count - 1) / (STEPS - 1);
        for (int b = a + 1; b < STEPS; b++) {
            int j = b * (points.count - 1) / (STEPS - 1);
            if (points.y[j] - points.y[i] < 6)
                continue;
            double slope = (double)(points.x[j] - points.x[i]) / (points.y[j] - points.y[i]);
            if (slope > 0.1 || slope < -steepest)
                continue;
            sl_line made = {points.x[i] - slope * points.y[i], slope, 0};
            double score = line_score(&points, made.at, made.slope, &made.support);
            if (made.support < least || score <= 0 || (found == most && score <= best[most - 1]))
                continue;
            /* One line of a bundle: nearly the same slope and place at mid height. */
            int same = -1, middle = (lit->y0 + lit->y1) / 2;
            for (int k = 0; k < found && same < 0; k++)
                if (fabs(atan(line[k].slope) - atan(slope)) < 0.05 &&
                    fabs(line[k].at + line[k].slope * middle - made.at - slope * middle) < 0.02 * lit->w + 4)
                    same = k;
            if (same >= 0 && score <= best[same])
                continue;
            if (same < 0)
                same = found < most ? found++ : most - 1;
            for (; same > 0 && best[same - 1] < score; same--) {
                best[same] = best[same - 1];
                line[same] = line[same - 1];
            }
            best[same] = score;
            line[same] = made;
        }
    }
    for (int k = 0; k < found; k++) {
        line_polish(&points, &line[k]);
        line_score(&points, line[k].at, line[k].slope, &line[k].support);
        if (mirrored) {
            line[k].at = lit->w - 1 - line[k].at;
            line[k].slope = -line[k].slope;
        }
    }
    return found;
}

static bool circle_through(const double *x, const double *y, sl_arc *arc)
{
    double ax = x[1] - x[0], ay = y[1] - y[0], bx = x[2] - x[0], by = y[2] - y[0];
    double d = 2 * (ax * by - ay * bx);
    if (fabs(d) < 1e-6)
        return false;
    double a2 = ax * ax + ay * ay, b2 = bx * bx + by * by;
    double ux = (by * a2 - ay * b2) / d, uy = (ax * b2 - bx * a2) / d;
    arc->x = x[0] + ux;
    arc->y = y[0] + uy;
    arc->r = hypot(ux, uy);
    return true;
}

int sl_arcs_find(const sl_lit *lit, bool upper, sl_arc *arc, int most)
{
    const int16_t *edge = upper ? lit->top : lit->bottom;
    double outward = upper ? -1 : 1;
    enum { ARC_STEPS = 14 };
    int16_t px[POINTS_MOST];
    int count = 0, found = 0;
    for (int x = 0; x < lit->w && count < POINTS_MOST; x++)
        if (edge[x] >= 0 && !(upper ? sl_lit_cut_above(lit, edge[x]) : sl_lit_cut_below(lit, edge[x])))
            px[count++] = (int16_t)x;
    double best[4] = {0};
    if (most > 4)
        most = 4;
    int least = (lit->x1 - lit->x0) / 8;
    if (count < least || count < 12)
        return 0;
    double height = lit->y1 - lit->y0, low = (upper ? 0.08 : 0.3) * height,
           high = (upper ? 3.0 : 6.0) * height;
    for (int a = 0; a < ARC_STEPS; a++)
        for (int b = a + 1; b < ARC_STEPS; b++)
            for (int c = b + 1; c < ARC_STEPS; c++) {
                double x[3], y[3];
                const int pick[3] = {a, b, c};
                for (int k = 0; k < 3; k++) {
                    int column = px[pick[k] * (count - 1) / (ARC_STEPS - 1)];
                    x[k] = column;
                    y[k] = edge[column];
                }
                sl_arc made = {0};
                if (!circle_through(x, y, &made) || made.y > y[0] || made.r < low || made.r > high)
                    continue;
                int on = 0, beyond = 0;
                for (int i = 0; i < lit->w; i++) {
                    if (edge[i] < 0)
                        continue;
                    double dx = i - made.x, dy = edge[i] - made.y;
                    double off =
                        (dx * dx + dy * dy - made.r * made.r) / (2 * made.r); /* nearly the distance */
                    on += fabs(off) < SL_EDGE_NEAR_PX;
                    beyond += outward * off > SL_EDGE_BEYOND_PX;
                }
                made.support = on;
                double score = on - SL_EDGE_BEYOND_COST * beyond;
                if (on < least || score <= 0)
                    continue;
                int same = -1;
                for (int k = 0; k < found && same < 0; k++)
                    if (hypot(arc[k].x - made.x, arc[k].y - made.y) < 0.1 * made.r)
                        same = k;
                if (same >= 0 && score <= best[same])
                    continue;
                if (same < 0) {
                    if (found == most && score <= best[most - 1])
                        continue;
                    same = found < most ? found++ : most - 1;
                }
                for (; same > 0 && best[same - 1] < score; same--) {
                    best[same] = best[same - 1];
                    arc[same] = arc[same - 1];
                }
                best[same] = score;
                arc[same] = made;
            }
    return found;
}
