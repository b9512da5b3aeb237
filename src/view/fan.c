/* Fits a fan: one apex, two side edges, a near and a far arc, all that lies inside a straight crop. Hypotheses join edges
 * and arcs of the outline; the one whose inside is most lit, with least lit outside, is fitted to its outline points
 * by least squares that trust far points less (Tukey's biweight). */
#include "core/units.h"
#include "view/find_parts.h"
#include "view/texture.h"
#include "view/view_table.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RADII = 8192 };

typedef struct trig {
    double tan_left, tan_right;
} trig;

static bool within_angles(const trig *t, double dx, double dy)
{
    return dy > 0 && -dx <= dy * t->tan_left && dx <= dy * t->tan_right;
}

static trig trig_of(const sl_fan *f)
{
    return (trig){tan(f->left), tan(f->right)};
}

/* Counts of outline radii in whole pixels; columns of the fan in the crop are returned. */
static int radii(const sl_lit *lit, const sl_fan *f, const int16_t *edge, bool lower, int *bins, int *most)
{
    double side = fmax(f->x - lit->x0, lit->x1 - f->x), down = lit->y1 - f->y;
    *most = (int)fmin(hypot(side, down) + 8, RADII - 1);
    memset(bins, 0, ((size_t)*most + 1) * sizeof *bins);
    trig t = trig_of(f);
    int columns = 0;
    for (int x = lit->x0; x <= lit->x1; x++) {
        if (edge[x] < 0)
            continue;
        double dx = x - f->x, dy = edge[x] - f->y;
        if (!within_angles(&t, dx * (lower ? 1.0 : 1.1), dy))
            continue;
        columns++;
        bool cut = lower ? edge[x] >= lit->h - 2 || (lit->cropped_bottom && edge[x] >= lit->y1 - 1)
                         : edge[x] < 2 || (lit->cropped_top && edge[x] <= lit->y0 + 1);
        int r = (int)(hypot(dx, dy) + 0.5);
        if (!cut && r <= *most)
            bins[r]++;
    }
    return columns;
}

static double mean_radius(const int *bins, int r)
{
    double n = 0, sum = 0;
    for (int k = r - 1; k <= r + 1; k++) {
        n += bins[k];
        sum += (double)bins[k] * k;
    }
    return sum / n;
}

static void find_far(const sl_lit *lit, sl_fan *f)
{
    static _Thread_local int bins[RADII];
    int most, columns = radii(lit, f, lit->bottom, true, bins, &most), passed = 0, all = 0, at = 0;
    double best = 0;
    for (int r = most - 3; r > 2 && columns; r--) {
        passed += bins[r + 3];
        if (passed > SL_FAR_PASSED_MOST * columns)
            break;
        int reached = bins[r - 1] + bins[r] + bins[r + 1];
        double worth = reached - SL_EDGE_BEYOND_COST * passed;
        if (reached >= SL_FAR_REACHED * columns && worth > best) {
            best = worth;
            at = r;
        }
    }
    f->far_seen = at > 0;
    if (f->far_seen) {
        f->far_r = mean_radius(bins, at) + 0.5;
        return;
    }
    /* No arc: to the cut along the middle beam, or as far as the picture is lit. */
    if (lit->cropped_bottom || lit->y1 >= lit->h - 2) {
        double x = f->x < lit->x0 ? lit->x0 : f->x > lit->x1 ? lit->x1 : f->x;
        f->far_r = hypot(x - f->x, lit->y1 + 0.5 - f->y);
        return;
    }
    f->far_r = lit->y1 + 0.5 - f->y;
    for (int r = most; r > 0 && columns; r--) {
        all += bins[r];
        if (all > SL_FAR_PASSED * columns) {
            f->far_r = r + 0.5;
            return;
        }
    }
}

static void find_near(const sl_lit *lit, sl_fan *f)
{
    static _Thread_local int bins[RADII];
    int most, columns = radii(lit, f, lit->top, false, bins, &most), before = 0;
    f->face_seen = false;
    double top = lit->y0 - 0.5 - f->y; /* along the middle beam to the top of the crop */
    f->near_r = top > 0 ? top : 0;
    int latest = (int)(0.5 * (f->far_r + f->near_r));
    for (int r = 2; r < latest && r < most - 1 && columns; r++) {
        before += bins[r - 2];
        if (before > 2 * SL_FAR_PASSED * columns)
            break;
        int reached = bins[r - 1] + bins[r] + bins[r + 1];
        if (reached >= SL_FACE_REACHED * columns && bins[r] >= bins[r + 1]) {
            f->near_r = mean_radius(bins, r) - 0.5;
            f->face_seen = true;
            return;
        }
    }
}

static double biweight(double off, double reach)
{
    double u = off / reach;
    return u > -1 && u < 1 ? (1 - u * u) * (1 - u * u) : 0;
}

/* How much of the visible part of a side edge outline points lie on, 0 to 1; also the mean square of their distances.
 * A short visible part counts less. */
static double edge_support(const sl_lit *lit, const sl_fan *f, bool right, double *square, int *count)
{
    double half = right ? f->right : f->left, c = cos(half), s = sin(half), sum = 0, on = 0;
    int rows = 0, near_points = 0;
    for (int y = lit->y0; y <= lit->y1; y++) {
        double dy = y - f->y, dx = dy * s / c, r = dy / c;
        double x = right ? f->x + dx : f->x - dx;
        if (dy <= 0 || r < f->near_r || r > f->far_r || x < lit->x0 + 2 || x > lit->x1 - 2)
            continue;
        rows++;
        int at = right ? lit->last[y] : lit->first[y];
        if (at < 0)
            continue;
        double off = (right ? at + 0.5 - x : x - at + 0.5) * c;
        on += biweight(off, SL_EDGE_BEYOND_PX);
        if (fabs(off) < SL_EDGE_NEAR_PX) {
            near_points++;
            sum += off * off;
        }
    }
    *square += sum;
    *count += near_points;
    double least = SL_EDGE_LEAST_ROWS * (lit->y1 - lit->y0 + 1);
    return on < 0.5 * least ? 0 : on / (rows + least);
}

static double arc_support(const sl_lit *lit, const sl_fan *f)
{
    trig t = trig_of(f);
    double on = 0;
    int columns = 0;
    for (int x = lit->x0; x <= lit->x1; x++) {
        if (lit->bottom[x] < 0)
            continue;
        double dx = x - f->x, dy = lit->bottom[x] - f->y;
        if (!within_angles(&t, dx, dy))
            continue;
        columns++;
        on += biweight(hypot(dx, dy) + 0.5 - f->far_r, SL_EDGE_BEYOND_PX);
    }
    return columns ? on / columns : 0;
}

/* Row by row: a row of a fan is one stretch, or two beside the near arc. */
static void count_inside(const sl_lit *lit, const sl_fan *f, long *lit_in, long *dark_in)
{
    trig t = trig_of(f);
    for (int y = lit->y0; y <= lit->y1; y++) {
        double dy = y - f->y, far2 = f->far_r * f->far_r - dy * dy, near2 = f->near_r * f->near_r - dy * dy;
        if (dy <= 0 || far2 <= 0)
            continue;
        double reach = sqrt(far2), left = fmin(dy * t.tan_left, reach), right = fmin(dy * t.tan_right, reach);
        int a = (int)ceil(fmax(f->x - left, lit->x0)), b = (int)floor(fmin(f->x + right, lit->x1));
        if (a > b)
            continue;
        if (near2 <= 0) {
            sl_lit_count(lit, y, a, b, lit_in, dark_in);
            continue;
        }
        double gap = sqrt(near2);
        int a2 = (int)floor(fmin(f->x - gap, b)), b2 = (int)ceil(fmax(f->x + gap, a));
        if (a2 >= a)
            sl_lit_count(lit, y, a, a2, lit_in, dark_in);
        if (b2 <= b)
            sl_lit_count(lit, y, b2, b, lit_in, dark_in);
    }
}

static void score_fan(const sl_lit *lit, const sl_votes *votes, sl_fan *f)
{
    find_far(lit, f);
    find_near(lit, f);
    long lit_in = 0, dark_in = 0, lit_all = lit->count;
    count_inside(lit, f, &lit_in, &dark_in);
    f->inside = lit_all ? (double)lit_in / (double)lit_all : 0;
    f->filled = lit_in + dark_in ? (double)lit_in / (double)(lit_in + dark_in) : 0;
    double square = 0;
    int count = 0;
    double left = edge_support(lit, f, false, &square, &count), right = edge_support(lit, f, true, &square, &count);
    f->left_seen = left > 0;
    f->right_seen = right > 0;
    f->texture = sl_texture_support(votes, f->x, f->y);
    f->rms = count ? sqrt(square / count) : SL_UNKNOWN;
    f->score = ((double)lit_in - SL_DARK_COST * (double)dark_in) / (double)(lit_all ? lit_all : 1) + SL_EDGE_WORTH * (left + right) +
               (f->far_seen ? SL_ARC_WORTH * arc_support(lit, f) : 0) + SL_TEXTURE_WORTH * f->texture;
}

/* ---- least squares ---- */

typedef struct normal {
    double a[5][5], b[5];
} normal;

static void accumulate(normal *n, const double *row, double residual, double weight)
{
    for (int i = 0; i < 5; i++) {
        n->b[i] -= weight * row[i] * residual;
        for (int j = 0; j < 5; j++)
            n->a[i][j] += weight * row[i] * row[j];
    }
}

static bool solve5(normal *n, double *step)
{
    for (int k = 0; k < 5; k++) {
        int pivot = k;
        for (int i = k + 1; i < 5; i++)
            if (fabs(n->a[i][k]) > fabs(n->a[pivot][k]))
                pivot = i;
        if (fabs(n->a[pivot][k]) < 1e-9)
            return false;
        for (int j = 0; j < 5; j++) {
            double swap = n->a[k][j];
            n->a[k][j] = n->a[pivot][j];
            n->a[pivot][j] = swap;
        }
        double swap = n->b[k];
        n->b[k] = n->b[pivot];
        n->b[pivot] = swap;
        for (int i = k + 1; i < 5; i++) {
            double factor = n->a[i][k] / n->a[k][k];
            for (int j = k; j < 5; j++)
                n->a[i][j] -= factor * n->a[k][j];
            n->b[i] -= factor * n->b[k];
        }
    }
    for (int k = 4; k >= 0; k--) {
        double sum = n->b[k];
        for (int j = k + 1; j < 5; j++)
            sum -= n->a[k][j] * step[j];
        step[k] = sum / n->a[k][k];
    }
    return true;
}

/* Parameters: apex x, y, left and right half angle, far radius. A weak tie holds the two half angles together, so
 * that a dark edge follows from the seen one. */
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
                const double row[5] = {-cl, -sl, along, 0, 0};
                if (along > 0)
                    accumulate(&n, row, off, biweight(off, reach));
            }
            x = lit->last[y];
            if (x >= 0 && x < lit->w - 2 && !(lit->cropped_right && x >= lit->x1 - 1)) {
                double dx = x + 0.5 - f->x, off = dx * cr - dy * sr, along = dx * sr + dy * cr;
                const double row[5] = {-cr, sr, 0, -along, 0};
                if (along > 0)
                    accumulate(&n, row, off, biweight(off, reach));
            }
        }
        for (int x = lit->x0; x <= lit->x1 && f->far_seen; x++) {
            int y = lit->bottom[x];
            if (y < 0 || y >= lit->h - 2 || (lit->cropped_bottom && y >= lit->y1 - 1))
                continue;
            double dx = x - f->x, dy = y - f->y, r = hypot(dx, dy), off = r + 0.5 - f->far_r;
            if (r < 1 || dy <= 0)
                continue;
            const double row[5] = {-dx / r, -dy / r, 0, 0, -1};
            accumulate(&n, row, off, biweight(off, reach));
        }
        for (int i = 0; i < votes->count; i++) {
            const sl_vote *v = &votes->vote[i];
            double dx = v->x - f->x, dy = v->y - f->y, r = hypot(dx, dy);
            if (r < 1)
                continue;
            double off = (dx * v->cos_a - dy * v->sin_a) / r;
            const double row[5] = {-v->cos_a / r, v->sin_a / r, 0, 0, 0};
            accumulate(&n, row, off, v->weight * biweight(off, SL_VOTE_REACH) / (SL_TEXTURE_SD * SL_TEXTURE_SD));
        }
        const double tie[5] = {0, 0, 1, -1, 0};
        accumulate(&n, tie, f->left - f->right, 1 / (tie_sd * tie_sd));
        for (int k = 0; k < 5; k++) /* a touch of damping keeps what no point decides where it is */
            n.a[k][k] += k == 2 || k == 3 ? 1e-4 * span * span : 1e-4 * span;
        double step[5];
        if (!solve5(&n, step))
            return;
        for (int k = 0; k < 5; k++)
            if (!(fabs(step[k]) < span))
                return;
        f->x += step[0];
        f->y += step[1];
        f->left += step[2];
        f->right += step[3];
        f->far_r += step[4];
        if (!(f->left > 0.02 && f->right > 0.02 && f->left < SL_EDGE_STEEPEST && f->right < SL_EDGE_STEEPEST))
            return;
    }
}

/* ---- hypotheses ---- */

static bool plausible(const sl_lit *lit, const sl_fan *f)
{
    double half = 0.5 * (f->left + f->right);
    return half > SL_HALF_ANGLE_LEAST && half < SL_EDGE_STEEPEST && f->y < lit->y1 - 10;
}

/* Uphill in the score by steps that shrink: apex across, apex along the axis, half angle, and apex and half angle
 * together so that the edges stay where they are at mid height (the direction an outline decides least). */
static void climb(const sl_lit *lit, const sl_votes *votes, sl_fan *f)
{
    double scale = lit->y1 - lit->y0 + 1, middle = 0.5 * (lit->y0 + lit->y1);
    f->left = f->right = 0.5 * (f->left + f->right);
    score_fan(lit, votes, f);
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
                score_fan(lit, votes, &g);
                if (g.score > f->score) {
                    *f = g;
                    better = true;
                }
            }
        }
    }
}

static void offer(const sl_lit *lit, const sl_votes *votes, const sl_fan *made, sl_fan *best, int *count, int most)
{
    if (!plausible(lit, made))
        return;
    sl_fan f = *made;
    f.left = f.right = 0.5 * (made->left + made->right); /* one probe: its two half angles are equal */
    score_fan(lit, votes, &f);
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
        double l = atan2(ax - lit->first[y], y - ay), r = atan2(lit->last[y] - ax, y - ay), wide = l > r ? l : r;
        if (wide > half && ++beyond > SL_FAR_PASSED * (lit->y1 - lit->y0))
            half = wide;
    }
    return half;
}

bool sl_fan_find(const sl_lit *lit, const sl_votes *votes, sl_fan *fan)
{
    enum { LINES = 4, ARCS = 3, BEST = 5 };
    sl_line left[LINES], right[LINES];
    sl_arc arc[ARCS];
    sl_fan best[BEST];
    int lefts = sl_lines_find(lit, false, left, LINES), rights = sl_lines_find(lit, true, right, LINES);
    int arcs = sl_arcs_find(lit, arc, ARCS), count = 0;
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
    /* Where the far edge is dark or cropped, the texture says where on an edge the apex lies, or where at all. */
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
        if (getenv("DBG")) fprintf(stderr,"%d before %.3f (%.0f,%.0f h %.2f) after %.3f x %.0f y %.0f l %.2f far %.0f%s in %.3f fill %.2f seen %d%d tex %.3f\n",i,best[i].score,best[i].x,best[i].y,best[i].left,f.score,f.x,f.y,f.left,f.far_r,f.far_seen?"*":"",f.inside,f.filled,f.left_seen,f.right_seen,f.texture);
        if (f.score > fan->score)
            *fan = f;
    }
    sl_fan fine = *fan;
    polish(lit, votes, SL_SYMMETRY_SD, &fine);
    if (plausible(lit, &fine)) {
        score_fan(lit, votes, &fine);
        if (fine.score > fan->score - SL_POLISH_LOSS)
            *fan = fine;
    }
    return true;
}
