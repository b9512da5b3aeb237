/* How well a fan explains the picture: lit inside, dark outside, outline points on its edges and arcs,
 * texture across its beams. The far and the near radius follow from the apex and the angles. */
#include "core/units.h"
#include "view/find_parts.h"
#include "view/texture.h"
#include "view/view_table.h"

#include <math.h>
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
        bool cut = lower ? sl_lit_cut_below(lit, edge[x]) : sl_lit_cut_above(lit, edge[x]);
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
    int latest = (int)(f->near_r + SL_FACE_DEEPEST * (f->far_r - f->near_r)), at = 0;
    double best = 0;
    for (int r = 3; r < latest && r < most - 1 && columns; r++) {
        before += bins[r - 3];
        if (before > SL_FAR_PASSED_MOST * columns)
            break;
        int reached = bins[r - 1] + bins[r] + bins[r + 1];
        double worth = reached - SL_EDGE_BEYOND_COST * before, chord = r * (sin(f->left) + sin(f->right));
        bool whole = reached >= SL_FACE_WHOLE_PX && reached >= SL_FACE_WHOLE * chord; /* small, but all of it */
        if ((whole || reached >= SL_FACE_REACHED * columns) && worth > best) {
            best = worth;
            at = r;
        }
    }
    f->face_seen = at > 0;
    if (f->face_seen)
        f->near_r = mean_radius(bins, at) - 0.5;
}

/* How much of the visible part of a side edge outline points lie on, 0 to 1; also the mean square of their
 * distances. A short visible part counts less. */
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
        on += sl_biweight(off, SL_EDGE_BEYOND_PX);
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

/* The same for an arc, over the columns where the outline is not merely cut. */
static double arc_support(const sl_lit *lit, const sl_fan *f, bool lower)
{
    trig t = trig_of(f);
    const int16_t *edge = lower ? lit->bottom : lit->top;
    double on = 0, shift = lower ? 0.5 : -0.5, radius = lower ? f->far_r : f->near_r;
    int columns = 0, all = lit->x1 - lit->x0 + 1;
    for (int x = lit->x0; x <= lit->x1; x++) {
        int y = edge[x];
        if (y < 0 || (lower ? sl_lit_cut_below(lit, y) : sl_lit_cut_above(lit, y)))
            continue;
        double dx = x - f->x, dy = y - f->y;
        if (!within_angles(&t, dx * (lower ? 1.0 : 1.1), dy))
            continue;
        columns++;
        on += sl_biweight(sqrt(dx * dx + dy * dy) + shift - radius, SL_EDGE_BEYOND_PX);
    }
    return on / (columns + SL_EDGE_LEAST_ROWS * all);
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

void sl_fan_score(const sl_lit *lit, const sl_votes *votes, sl_fan *f)
{
    find_far(lit, f);
    find_near(lit, f);
    long lit_in = 0, dark_in = 0, lit_all = lit->count;
    count_inside(lit, f, &lit_in, &dark_in);
    f->inside = lit_all ? (double)lit_in / (double)lit_all : 0;
    f->filled = lit_in + dark_in ? (double)lit_in / (double)(lit_in + dark_in) : 0;
    double square = 0;
    int count = 0;
    double left = edge_support(lit, f, false, &square, &count),
           right = edge_support(lit, f, true, &square, &count);
    f->left_seen = left > 0;
    f->right_seen = right > 0;
    f->texture = sl_texture_support(votes, f->x, f->y);
    f->rms = count ? sqrt(square / count) : SL_UNKNOWN;
    f->score = ((double)lit_in - SL_DARK_COST * (double)dark_in) / (double)(lit_all ? lit_all : 1) +
               SL_EDGE_WORTH * (left + right) + (f->far_seen ? SL_ARC_WORTH * arc_support(lit, f, true) : 0) +
               (f->face_seen ? SL_ARC_WORTH * arc_support(lit, f, false) : 0) + SL_TEXTURE_WORTH * f->texture;
}
