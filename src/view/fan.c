/* Fits a fan: one apex, two side edges, a near and a far arc, all that lies inside a straight crop.
 * Hypotheses join edges and arcs of the outline and the texture; the best ones climb to the most score; the
 * winner is fitted to its outline points by least squares that trust far points less (Tukey's biweight). */
#include "core/units.h"
#include "view/find_parts.h"
#include "view/texture.h"
#include "view/view_table.h"

#include <math.h>

/* ---- least squares ---- */

/* Apex x, y, left and right half angle, far and near radius. */
enum { UNKNOWNS = 6 };

typedef struct normal {
    double a[UNKNOWNS][UNKNOWNS], b[UNKNOWNS];
} normal;

static void accumulate(normal *n, const double *row, double residual, double weight)
{
    for (int i = 0; i < UNKNOWNS; i++) {
        n->b[i] -= weight * row[i] * residual;
        for (int j = 0; j < UNKNOWNS; j++)
            n->a[i][j] += weight * row[i] * row[j];
    }
}

static bool solve(normal *n, double *step)
{
    for (int k = 0; k < UNKNOWNS; k++) {
        int pivot = k;
        for (int i = k + 1; i < UNKNOWNS; i++)
            if (fabs(n->a[i][k]) > fabs(n->a[pivot][k]))
                pivot = i;
        if (fabs(n->a[pivot][k]) < 1e-9)
            return false;
        for (int j = 0; j < UNKNOWNS; j++) {
            double swap = n->a[k][j];
            n->a[k][j] = n->a[pivot][j];
            n->a[pivot][j] = swap;
        }
        double swap = n->b[k];
        n->b[k] = n->b[pivot];
        n->b[pivot] = swap;
        for (int i = k + 1; i < UNKNOWNS; i++) {
            double factor = n->a[i][k] / n->a[k][k];
            for (int j = k; j < UNKNOWNS; j++)
                n->a[i][j] -= factor * n->a[k][j];
            n->b[i] -= factor * n->b[k];
        }
    }
    for (int k = UNKNOWNS - 1; k >= 0; k--) {
        double sum = n->b[k];
        for (int j = k + 1; j < UNKNOWNS; j++)
            sum -= n->a[k][j] * step[j];
        step[k] = sum / n->a[k][k];
    }
    return true;
}

/* Of the six unknowns. A weak tie holds the two half angles
 * together, so that a dark edge follows from the seen one. */
static void polish(const sl_lit *lit, const sl_votes *votes, double tie_sd, sl_fan *f)
{
    for (int round = 0; round < 8; round++) {
        normal n = {0};
        double reach = round < 3 ? 5.0 : 3.0, span = lit->y1 - lit->y0 + 1;
        double cl = cos(f->left), sl = sin(f->left), cr = cos(f->right), sr = sin(f->right);
        for (int y = lit->y0 + 1; y <= lit->y1; y++) {
            double dy = y - f->y;
            int x = lit->first[y];
            if (x >= 2 && !(lit->cropped_left && x <= lit->x0 + 1)) {
                double dx = x - 0.5 - f->x, off = dx * cl + dy * sl, along = dy * cl - dx * sl;
                const double row[UNKNOWNS] = {-cl, -sl, along, 0, 0};
                if (along > 0)
                    accumulate(&n, row, off, sl_biweight(off, reach));
            }
            x = lit->last[y];
            if (x >= 0 && x < lit->w - 2 && !(lit->cropped_right && x >= lit->x1 - 1)) {
                double dx = x + 0.5 - f->x, off = dx * cr - dy * sr, along = dx * sr + dy * cr;
                const double row[UNKNOWNS] = {-cr, sr, 0, -along, 0};
                if (along > 0)
                    accumulate(&n, row, off, sl_biweight(off, reach));
            }
        }
        for (int x = lit->x0; x <= lit->x1 && f->far_seen; x++) {
            int y = lit->bottom[x];
            if (y < 0 || y >= lit->h - 2 || (lit->cropped_bottom && y >= lit->y1 - 1))
                continue;
            double dx = x - f->x, dy = y - f->y, r = hypot(dx, dy), off = r + 0.5 - f->far_r;
            if (r < 1 || dy <= 0)
                continue;
            const double row[UNKNOWNS] = {-dx / r, -dy / r, 0, 0, -1};
            accumulate(&n, row, off, sl_biweight(off, reach));
        }
        for (int x = lit->x0; x <= lit->x1 && f->face_seen; x++) {
            int y = lit->top[x];
            if (y < 0 || sl_lit_cut_above(lit, y))
                continue;
            double dx = x - f->x, dy = y - f->y, r = hypot(dx, dy), off = r - 0.5 - f->near_r;
            if (r < 1 || dy <= 0 || -dx > dy * tan(f->left) || dx > dy * tan(f->right))
                continue;
            const double row[UNKNOWNS] = {-dx / r, -dy / r, 0, 0, 0, -1};
            accumulate(&n, row, off, sl_biweight(off, reach));
        }
        for (int i = 0; i < votes->count; i++) {
            double s = votes->sin_a[i], c = votes->cos_a[i];
            double dx = votes->x[i] - f->x, dy = votes->y[i] - f->y, r = hypot(dx, dy);
            if (r < 1)
                continue;
            double off = (dx * c - dy * s) / r;
            const double row[UNKNOWNS] = {-c / r, s / r, 0, 0, 0};
            accumulate(&n, row, off,
                       votes->weight[i] * sl_biweight(off, SL_VOTE_REACH) / (SL_TEXTURE_SD * SL_TEXTURE_SD));
        }
        const double tie[UNKNOWNS] = {0, 0, 1, -1, 0};
        accumulate(&n, tie, f->left - f->right, 1 / (tie_sd * tie_sd));
        for (int k = 0; k < UNKNOWNS; k++) /* a touch of damping keeps what no point decides where it is */
            n.a[k][k] += k == 2 || k == 3 ? 1e-4 * span * span : 1e-4 * span;
        double step[UNKNOWNS];
        if (!solve(&n, step))
            return;
        for (int k = 0; k < UNKNOWNS; k++)
            if (!(fabs(step[k]) < span))
                return;
        f->x += step[0];
        f->y += step[1];
        f->left += step[2];
        f->right += step[3];
        f->far_r += step[4];
        f->near_r += step[5];
        if (!(f->left > 0.02 && f->right > 0.02 && f->left < SL_EDGE_STEEPEST && f->right < SL_EDGE_STEEPEST))
            return;
    }
}

/* ---- hypotheses ---- */

static bool plausible(const sl_lit *lit, const sl_fan *f)
{
    double half = 0.5 * (f->left + f->right), height = lit->y1 - lit->y0 + 1;
    if (f->y < lit->y0 - SL_APEX_HIGHEST * height) /* flatter than any curved probe: the fading end of a box */
        return false;
    return half > SL_HALF_ANGLE_LEAST && half < SL_EDGE_STEEPEST && f->y < lit->y1 - 10;
}

/* Uphill in the score by steps that shrink: apex across, apex along the axis, half angle, and apex and half
 * angle together so that the edges stay where they are at mid height (the direction an outline decides
 * least). */
static void climb(const sl_lit *lit, const sl_votes *votes, sl_fan *f)
{
    double scale = lit->y1 - lit->y0 + 1, middle = 0.5 * (lit->y0 + lit->y1);
    f->left = f->right = 0.5 * (f->left + f->right);
    sl_fan_score(lit, votes, f);
    for (double step = SL_CLIMB_FIRST; step > SL_CLIMB_LAST; step *= 0.5) {
        bool better = true;
        for (int round = 0; round < 4 && better; round++) {
            better = false;
            for (int k = 0; k < 8; k++) {
                sl_fan g = *f;
                double way = k & 1 ? -step : step;
                switch (k >> 1) {
                case 0:
                    g.x += way * scale;
                    break;
                case 1:
                    g.y += way * scale;
                    break;
                case 2:
                    g.left += way;
                    break;
                default:
                    g.y += 2 * way * scale;
                    g.left = atan(tan(f->left) * (middle - f->y) / (middle - g.y));
                }
                g.right = g.left;
                if (!plausible(lit, &g))
                    continue;
                sl_fan_score(lit, votes, &g);
                if (g.score > f->score) {
                    *f = g;
                    better = true;
                }
            }
        }
    }
}

static void offer(const sl_lit *lit, const sl_votes *votes, const sl_fan *made, sl_fan *best, int *count,
                  int most)
{
    if (!plausible(lit, made))
        return;
    sl_fan f = *made;
    f.left = f.right = 0.5 * (made->left + made->right); /* one probe: its two half angles are equal */
    sl_fan_score(lit, votes, &f);
    double near_px = SL_CLIMB_FIRST * (lit->y1 - lit->y0 + 1);
    int at = -1;
    for (int i = 0; i < *count && at < 0; i++)
        if (fabs(best[i].x - f.x) < near_px && fabs(best[i].y - f.y) < 2 * near_px &&
            fabs(best[i].left - f.left) < SL_CLIMB_FIRST)
            at = i;
    if (at >= 0 ? f.score <= best[at].score : *count == most && f.score <= best[most - 1].score)
        return;
    if (at < 0)
        at = *count < most ? (*count)++ : most - 1;
    for (; at > 0 && best[at - 1].score < f.score; at--)
        best[at] = best[at - 1];
    best[at] = f;
}

/* Half angle that takes in nearly all of the lit outline on both sides of the axis. */
static double widest(const sl_lit *lit, double ax, double ay)
{
    double half = 0;
    int beyond = 0;
    for (int y = lit->y0; y <= lit->y1; y++) {
        if (lit->first[y] < 0 || y <= ay)
            continue;
        double l = atan2(ax - lit->first[y], y - ay), r = atan2(lit->last[y] - ax, y - ay),
               wide = l > r ? l : r;
        if (wide > half && ++beyond > SL_FAR_PASSED * (lit->y1 - lit->y0))
            half = wide;
    }
    return half;
}

bool sl_fan_find(const sl_lit *lit, const sl_votes *votes, sl_fan *fan)
{
    enum { LINES = 4, ARCS = 3, BEST = 5 };
    sl_line left[LINES], right[LINES];
    sl_arc arc[2 * ARCS]; /* of the far edge, then of the probe's face */
    sl_fan best[BEST];
    int lefts = sl_lines_find(lit, false, left, LINES), rights = sl_lines_find(lit, true, right, LINES);
    int arcs = sl_arcs_find(lit, false, arc, ARCS), count = 0;
    arcs += sl_arcs_find(lit, true, arc + arcs, ARCS);
    for (int i = 0; i < lefts; i++) {
        for (int j = 0; j < rights; j++) {
            double closing = right[j].slope - left[i].slope;
            if (closing < 0.1)
                continue;
            double y = (left[i].at - right[j].at) / closing, x = left[i].at + left[i].slope * y;
            sl_fan made = {.x = x, .y = y, .left = atan(-left[i].slope), .right = atan(right[j].slope)};
            if (made.left > 0.02 && made.right > 0.02 && fabs(made.left - made.right) < SL_SYMMETRY_MOST)
                offer(lit, votes, &made, best, &count, BEST);
        }
    }
    for (int side = 0; side < 2; side++) {
        const sl_line *line = side ? right : left;
        for (int i = 0; i < (side ? rights : lefts); i++) {
            double half = atan(side ? line[i].slope : -line[i].slope);
            for (int k = 0; k < arcs; k++) {
                /* The point of the edge nearest to the centre of the arc. */
                double s = line[i].slope;
                double y = (arc[k].y + s * (arc[k].x - line[i].at)) / (1 + s * s), x = line[i].at + s * y;
                sl_fan made = {.x = x, .y = y, .left = half, .right = half};
                offer(lit, votes, &made, best, &count, BEST);
            }
        }
    }
    for (int k = 0; k < arcs; k++) {
        double half = widest(lit, arc[k].x, arc[k].y);
        sl_fan made = {.x = arc[k].x, .y = arc[k].y, .left = half, .right = half};
        offer(lit, votes, &made, best, &count, BEST);
    }
    /* Where the far edge is dark or cropped, the texture says where on an edge the apex lies, or where at
     * all. */
    for (int side = 0; side < 2; side++) {
        const sl_line *line = side ? right : left;
        for (int i = 0; i < (side ? rights : lefts); i++) {
            sl_fan made = {0};
            made.left = made.right = atan(side ? line[i].slope : -line[i].slope);
            if (sl_texture_apex(votes, lit, &line[i], &made.x, &made.y) > 0)
                offer(lit, votes, &made, best, &count, BEST);
        }
    }
    sl_fan free_apex = {0};
    if (sl_texture_apex(votes, lit, NULL, &free_apex.x, &free_apex.y) > 0) {
        free_apex.left = free_apex.right = widest(lit, free_apex.x, free_apex.y);
        offer(lit, votes, &free_apex, best, &count, BEST);
    }
    if (!count)
        return false;
    *fan = best[0];
    for (int i = 0; i < count; i++) {
        sl_fan f = best[i];
        climb(lit, votes, &f);
        if (f.score > fan->score)
            *fan = f;
    }
    sl_fan fine = *fan;
    polish(lit, votes, SL_SYMMETRY_SD, &fine);
    if (plausible(lit, &fine)) {
        sl_fan_score(lit, votes, &fine);
        if (fine.score > fan->score - SL_POLISH_LOSS)
            *fan = fine;
    }
    return true;
}
