/* Are the pixels square? Both side edges give the apex (x0, y0) whatever the stretch. Points of an arc then
 * obey (x - x0)^2 + a^2 (y - y0)^2 = R^2, linear in a^2 and R^2: a circle for a = 1, an ellipse in a
 * stretched picture. */
#include "view/find_parts.h"
#include "view/view_table.h"

#include <math.h>
#include <string.h>

enum { MOST = 1024, STEPS = 24 };

typedef struct arc_points {
    int count;
    double across2[MOST], down2[MOST]; /* squares of the distances from the apex */
} arc_points;

static void collect(const sl_lit *lit, const sl_fan *fan, arc_points *points)
{
    points->count = 0;
    double t = tan(0.95 * fan->left);
    for (int x = lit->x0; x <= lit->x1 && points->count < MOST; x++) {
        int y = lit->bottom[x];
        if (y < 0 || sl_lit_cut_below(lit, y))
            continue;
        double dx = x - fan->x, dy = y + 0.5 - fan->y;
        if (dy <= 0 || fabs(dx) > t * dy)
            continue;
        points->across2[points->count] = dx * dx;
        points->down2[points->count++] = dy * dy;
    }
}

/* Rows by which a point lies below (positive) or above the ellipse. */
static double rows_off(const arc_points *p, int i, double a2, double r2)
{
    double here = (r2 - p->across2[i]) / a2;
    return here > 0 ? sqrt(p->down2[i]) - sqrt(here) : 1e9;
}

static double ellipse_score(const arc_points *p, double a2, double r2, int *support)
{
    int on = 0, beyond = 0;
    for (int i = 0; i < p->count; i++) {
        double off = rows_off(p, i, a2, r2);
        on += fabs(off) < SL_EDGE_NEAR_PX;
        beyond += off > SL_EDGE_BEYOND_PX;
    }
    *support = on;
    return on - SL_EDGE_BEYOND_COST * beyond;
}

/* Least squares of a^2 down^2 - R^2 = -across^2 over the points near the ellipse; also the standard error of
 * a. */
static bool refine(const arc_points *p, double *a2, double *r2, double *sd)
{
    double n = 0, s = 0, ss = 0, t = 0, st = 0;
    for (int i = 0; i < p->count; i++) {
        if (fabs(rows_off(p, i, *a2, *r2)) >= SL_EDGE_NEAR_PX)
            continue;
        n++;
        s += p->down2[i];
        ss += p->down2[i] * p->down2[i];
        t += p->across2[i];
        st += p->down2[i] * p->across2[i];
    }
    double spread = ss - s * s / n;
    if (n < 8 || spread <= 0)
        return false;
    double slope = (st - s * t / n) / spread; /* across^2 = R^2 - a^2 down^2 */
    *a2 = -slope;
    *r2 = (t + *a2 * s) / n;
    if (*a2 <= 0)
        return false;
    /* One row of error moves a^2 down^2 by 2 a^2 down: the error of the slope by the spread of the points. */
    double row = 2 * *a2 * sqrt(s / n) * SL_ASPECT_ROW_SD;
    *sd = row / sqrt(spread) / (2 * sqrt(*a2));
    return true;
}

bool sl_aspect_find(const sl_lit *lit, const sl_fan *fan, double *aspect, double *sd)
{
    if (!fan->left_seen || !fan->right_seen)
        return false;
    arc_points p;
    collect(lit, fan, &p);
    if (p.count < SL_ASPECT_LEAST_COLUMNS * (lit->x1 - lit->x0 + 1))
        return false;
    double best = 0, a2 = 1, r2 = 0;
    int support;
    for (int a = 0; a < STEPS; a++) {
        for (int b = a + 1; b < STEPS; b++) {
            int i = a * (p.count - 1) / (STEPS - 1), j = b * (p.count - 1) / (STEPS - 1);
            double down = p.down2[i] - p.down2[j];
            if (fabs(down) < 1)
                continue;
            double try_a2 = (p.across2[j] - p.across2[i]) / down, try_r2 = p.across2[i] + try_a2 * p.down2[i];
            if (try_a2 < SL_ASPECT_LEAST * SL_ASPECT_LEAST || try_a2 > SL_ASPECT_MOST * SL_ASPECT_MOST)
                continue;
            double score = ellipse_score(&p, try_a2, try_r2, &support);
            if (score > best) {
                best = score;
                a2 = try_a2;
                r2 = try_r2;
            }
        }
    }
    if (best <= 0 || !refine(&p, &a2, &r2, sd) || !refine(&p, &a2, &r2, sd))
        return false;
    ellipse_score(&p, a2, r2, &support);
    *aspect = sqrt(a2);
    return support > SL_ASPECT_LEAST_COLUMNS * (lit->x1 - lit->x0 + 1) && *aspect > SL_ASPECT_LEAST &&
           *aspect < SL_ASPECT_MOST;
}

static const uint8_t *stretch(const uint8_t *plane, int w, int h, int rows, sl_arena *arena)
{
    uint8_t *made = SL_NEW(arena, (size_t)w * rows, uint8_t);
    for (int y = 0; made && y < rows; y++)
        memcpy(made + (size_t)y * w, plane + (size_t)((2 * y + 1) * (long)h / (2 * rows)) * w, (size_t)w);
    return made;
}

sl_status sl_planes_stretch(const sl_planes *planes, double aspect, sl_arena *arena, sl_planes *square,
                            sl_error *error)
{
    int rows = (int)lrint(planes->h * aspect);
    *square = *planes;
    square->aspect = (double)rows / planes->h;
    square->h = rows;
    square->hi = stretch(planes->hi, planes->w, planes->h, rows, arena);
    square->lo = stretch(planes->lo, planes->w, planes->h, rows, arena);
    square->mean = stretch(planes->mean, planes->w, planes->h, rows, arena);
    square->range = stretch(planes->range, planes->w, planes->h, rows, arena);
    if (planes->aside)
        square->aside = stretch(planes->aside, planes->w, planes->h, rows, arena);
    if (planes->aside && !square->aside)
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");
    if (!square->hi || !square->lo || !square->mean || !square->range)
        return sl_fail(error, SL_MEMORY, "Memory ran out while looking for the imaged area.");
    return SL_OK;
}
