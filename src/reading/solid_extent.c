#include "reading/solid_extent.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/course.h"
#include "reading/pleura_cells.h"
#include "reading/pleura_search.h"
#include "reading/solid_surface.h"
#include "reading/solid_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS };

/* Running sums down the beams of the mean picture, each over three beams. */
static void sums(const float *mean, float *restrict sum)
{
    for (int j = 0; j < BEAMS; j++)
        sum[j] = 0;
    for (int i = 0; i < ROWS; i++)
        for (int j = 0; j < BEAMS; j++) {
            int a = j ? j - 1 : 0, b = j < BEAMS - 1 ? j + 1 : j;
            sum[(i + 1) * BEAMS + j] = sum[i * BEAMS + j] + (mean[i * BEAMS + a] + mean[i * BEAMS + j] + mean[i * BEAMS + b]) / 3;
        }
}

static float mean_of(const float *sum, int beam, int first, int last)
{
    return (sum[last * BEAMS + beam] - sum[first * BEAMS + beam]) / (float)(last - first);
}

/* Where solid lung would begin in each beam; NAN where none can be seen. */
static void surface(const sl_pleura *pleura, const sl_fluid_layer *fluid, const float *line, float *top)
{
    for (int j = 0; j < BEAMS; j++) {
        bool wet = fluid && fluid->seen && isfinite(fluid->bottom[j]);
        top[j] = pleura->beams.kind[j] != SL_BEAM_SPACE ? NAN : wet ? fmaxf(fluid->bottom[j], line[j]) : line[j];
    }
}

/* The step at each row of each beam, 0 where it can be no border. */
static void fill(const sl_stack *stack, const float *sum, const float *top, float floor, int window, sl_line_search *search)
{
    for (int j = 0; j < BEAMS; j++) {
        float *restrict score = search->score + j * ROWS;
        memset(score, 0, ROWS * sizeof *score);
        if (isnan(top[j]))
            continue;
        int first = (int)top[j] + window + EXTENT_BELOW;
        for (int i = first < search->first ? search->first : first; i <= search->last; i++) {
            if (!stack->mask[(i + window) * BEAMS + j])
                break;
            float above = mean_of(sum, j, i - window, i), below = mean_of(sum, j, i, i + (window + 1) / 2);
            float step = logf((below + floor) / (above + floor));
            score[i] = step > 0 ? fminf(step, EXTENT_STEP_MOST) : 0;
        }
    }
}

/* The border is torn: the path's row is only where to look. */
static int border(const sl_line_search *search, const float *path, const float *top, double *at, double *step)
{
    int seen = 0;
    for (int j = 0; j < BEAMS; j++) {
        at[j] = NAN;
        if (isnan(top[j]))
            continue;
        int best = -1;
        for (int i = (int)path[j] - EXTENT_TORN; i <= (int)path[j] + EXTENT_TORN; i++)
            if (i >= search->first && i <= search->last &&
                (best < 0 || search->score[j * ROWS + i] > search->score[j * ROWS + best]))
                best = i;
        if (best < 0 || search->score[j * ROWS + best] < EXTENT_STEP)
            continue;
        at[j] = best;
        step[seen++] = (double)search->score[j * ROWS + best];
    }
    return seen;
}

/* Beams whose neighbours show it too. */
static void keep_runs(double *at)
{
    enum { REACH = 4, LEAST = 6 };
    bool keep[BEAMS];
    for (int j = 0; j < BEAMS; j++) {
        int near = 0;
        for (int k = j - REACH; k <= j + REACH; k++)
            near += k >= 0 && k < BEAMS && !isnan(at[k]);
        keep[j] = near >= LEAST;
    }
    for (int j = 0; j < BEAMS; j++)
        if (!keep[j])
            at[j] = NAN;
}

/* A line at a rib's cap is none of the pleura, which lies some 5 mm deeper. In the rib's own beams nothing of the pleura is seen: its
 * course through the spaces beside it counts. */
static double below_caps(const sl_pleura *pleura, const double *course)
{
    double least = SL_UNKNOWN;
    for (int k = 0; k < pleura->beams.caps; k++) {
        const sl_rib_cap *cap = &pleura->beams.cap[k];
        double off = sl_course_at(course, (cap->first + cap->last) / 2) - (double)cap->row;
        if (isfinite(off) && !(off >= least))
            least = off;
    }
    return least;
}

/* Brightest row of a beam in rows first..last-1. */
static float peak_of(const float *sum, int beam, int first, int last)
{
    float most = 0;
    for (int i = first < 0 ? 0 : first; i < last && i < ROWS; i++)
        most = fmaxf(most, mean_of(sum, beam, i, i + 1));
    return most;
}

/* What the border and the region above it look like beside the line and the wall. */
static void compare(const sl_pleura *pleura, const float *sum, const double *at, const float *top, float floor, sl_solid_extent *extent)
{
    enum { LINE = 4, BELOW = 7, WALL = 16 };
    double shine[BEAMS], inside[BEAMS], stir[BEAMS], wall[BEAMS];
    int n = 0, moved = 0;
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(at[j]))
            continue;
        int line = (int)(top[j] + 0.5f), border = (int)at[j], up = line - LINE - WALL < 0 ? 0 : line - LINE - WALL;
        if (line - LINE - up < 4 || border - LINE <= line + LINE)
            continue;
        float above = mean_of(sum, j, up, line - LINE), within = mean_of(sum, j, line + LINE, border - 2);
        shine[n] = log((double)((peak_of(sum, j, border, border + BELOW) + floor) / (peak_of(sum, j, line - LINE, line + LINE + 1) + floor)));
        inside[n++] = log((double)((within + floor) / (above + floor)));
        if (!pleura->change)
            continue;
        double a = 0, b = 0;
        for (int i = line + LINE; i < border - 2; i++)
            a += (double)pleura->change[i * BEAMS + j];
        for (int i = up; i < line - LINE; i++)
            b += (double)pleura->change[i * BEAMS + j];
        stir[moved] = a / (border - 2 - line - LINE) / ((double)within + 1);
        wall[moved++] = b / (line - LINE - up) / ((double)above + 1);
    }
    if (n) {
        extent->shine = sl_quantile_nearest(shine, n, 0.5);
        extent->inside = sl_quantile_nearest(inside, n, 0.5);
    }
    if (moved) {
        extent->stir = sl_quantile_nearest(stir, moved, 0.5);
        extent->wall_stir = sl_quantile_nearest(wall, moved, 0.5);
    }
}

/* One block of time: how deep the border lies in it, and how torn and wide it is. */
typedef struct in_block {
    double deepest, mean, torn;
    int beams;
} in_block;

static in_block measure(const double *at, const float *top)
{
    double deep[BEAMS], torn = 0, area = 0;
    int n = 0, pairs = 0;
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(at[j]))
            continue;
        deep[n++] = at[j] - (double)top[j];
        area += at[j] - (double)top[j];
        if (j >= 2 && j + 2 < BEAMS && !isnan(at[j - 2]) && !isnan(at[j + 2])) {
            double off = at[j] - 0.5 * (at[j - 2] + at[j + 2]);
            torn += off * off / 1.5; /* the variance of such a difference of independent ones */
            pairs++;
        }
    }
    if (n < EXTENT_BEAMS)
        return (in_block){0};
    return (in_block){sl_quantile_nearest(deep, n, EXTENT_DEEPEST), area / n, pairs ? sqrt(torn / pairs) : 0, n};
}

static void keep(const double *at, const float *top, sl_solid_extent *extent)
{
    int first = -1, last = -1;
    extent->points = 0;
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(at[j]))
            continue;
        first = first < 0 ? j : first;
        last = j;
        extent->beam[extent->points] = (j + 0.5) / BEAMS;
        extent->top[extent->points] = ((double)top[j] + 0.5) / ROWS;
        extent->border[extent->points++] = at[j] / ROWS;
    }
    extent->width = first < 0 ? 0 : (last - first + 1.0) / BEAMS;
}

/* The lung slides, so that the clip's mean blurs a torn border: it is followed in each block of time near its course in the mean.
 * The extent is the largest, as its definition says. */
static void follow(const sl_stack *stack, const sl_pleura *pleura, const float *course, const float *top, float floor, int window,
                   float *mean, float *sum, sl_line_search *search, double width, double *wide, double *areas, double *torn, sl_solid_extent *extent)
{
    double at[BEAMS], step[BEAMS], most = 0;
    float path[BEAMS];
    int blocks = 0, per = pleura->block_frames < 1 ? 1 : pleura->block_frames;
    for (int b = 0; b < pleura->blocks; b++) {
        int first = b * per, last = first + per < stack->frames ? first + per : stack->frames;
        if (last <= first)
            break;
        sl_stack_mean(stack, first, last, mean);
        sums(mean, sum);
        fill(stack, sum, top, floor, window, search);
        sl_line_search_run(search, NULL, course, path);
        border(search, path, top, at, step);
        keep_runs(at);
        in_block m = measure(at, top);
        if (!m.beams)
            continue;
        wide[blocks] = m.deepest;
        areas[blocks] = m.mean;
        torn[blocks++] = m.torn;
        if (m.deepest > most) {
            most = m.deepest;
            keep(at, top, extent);
        }
    }
    extent->seen = blocks > 0;
    if (!blocks)
        return;
    extent->depth = sl_quantile_nearest(wide, blocks, EXTENT_LONGEST) / ROWS;
    double half = fmax(0.25 * window, 0.5 * (wide[(int)(0.9 * (blocks - 1))] - wide[blocks / 2])) / ROWS;
    extent->depth_low = fmax(0, extent->depth - half);
    extent->depth_high = fmin(1, extent->depth + half);
    extent->area = sl_quantile_nearest(areas, blocks, 0.5) / ROWS * width;
    extent->torn = sl_quantile_nearest(torn, blocks, 0.5) / ROWS;
}

/* What a search works with. */
typedef struct work {
    float *sum, *mean, floor;
    double *kept;
    int window;
    double row_mm;
    sl_line_search search;
} work;

/* The deep border below `top`. In `at`: its row in each beam in the clip's mean. */
static void look(const sl_stack *stack, const sl_pleura *pleura, work *w, float *top, double *at, sl_solid_extent *extent)
{
    double step[BEAMS], course[3];
    float path[BEAMS];
    extent->step = extent->depth = extent->depth_low = extent->depth_high = extent->width = extent->area = extent->torn = SL_UNKNOWN;
    extent->shine = extent->inside = extent->stir = extent->wall_stir = extent->below_caps = SL_UNKNOWN;
    extent->seen = extent->thin = false;
    sums(pleura->mean, w->sum);
    bool smooth = sl_course_mend(top, EXTENT_BEAMS, EXTENT_COURSE, course);
    fill(stack, w->sum, top, w->floor, w->window, &w->search);
    sl_line_search_run(&w->search, NULL, NULL, path);
    int seen = border(&w->search, path, top, at, step);
    if (seen)
        extent->step = sl_quantile_nearest(step, seen, 0.5);
    keep_runs(at);
    extent->below_caps = smooth ? below_caps(pleura, course) : SL_UNKNOWN;
    if (!measure(at, top).beams)
        return;
    keep(at, top, extent);
    compare(pleura, w->sum, at, top, w->floor, extent);
    double width = extent->width;
    follow(stack, pleura, path, top, w->floor, w->window, w->mean, w->sum, &w->search, width, w->kept, w->kept + pleura->blocks,
           w->kept + 2 * pleura->blocks, extent);
    extent->width = extent->seen ? width : SL_UNKNOWN;
    extent->sure = pleura->found;
    double rows = extent->seen ? extent->area / width * ROWS : 0;
    extent->thin = w->row_mm > 0 ? rows * w->row_mm < LAYER_MUSCLE_MM : rows < LAYER_MUSCLE_ROWS;
}

/* What is thin may be the wall's muscle, and the border below it the surface of solid lung. Then that lung has a deep border of its own; behind
 * air nothing is as bright as the air. */
static void look_below(const sl_stack *stack, const sl_pleura *pleura, work *w, const double *at, sl_solid_extent *extent)
{
    sl_solid_extent below = *extent;
    float top[BEAMS];
    double under[BEAMS], course[3];
    for (int j = 0; j < BEAMS; j++)
        top[j] = (float)at[j];
    if (!sl_course_mend(top, EXTENT_BEAMS, EXTENT_COURSE, course) || !sl_course_fit(top, NULL, EXTENT_BEAMS, course))
        return;
    for (int j = 0; j < BEAMS; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE && isfinite(pleura->line[j]))
            below.line[j] = top[j] = (float)fmax(1, sl_course_at(course, j));
        else
            top[j] = NAN;
    look(stack, pleura, w, top, under, &below);
    below.moved = true;
    below.sure = LAYER_LINE_SURE;
    if (below.seen && !below.thin && !(below.below_caps < 0) && sl_solid_border_strength(&below) >= EXTENT_STRENGTH_STATED)
        *extent = below;
}

sl_status sl_solid_extent_find(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, double row_mm,
                               sl_arena *arena, sl_solid_extent *extent, sl_error *error)
{
    memset(extent, 0, sizeof *extent);
    extent->step = extent->depth = extent->depth_low = extent->depth_high = extent->width = extent->area = extent->torn = SL_UNKNOWN;
    extent->shine = extent->inside = extent->stir = extent->wall_stir = extent->below_caps = SL_UNKNOWN;
    float level = pleura->mean && stack->frames > 0 ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (!(level > 0) || !pleura->beams.spaces)
        return SL_OK;
    int window = row_mm > 0 ? (int)(EXTENT_WINDOW_MM / row_mm + 0.5) : EXTENT_WINDOW_ROWS;
    window = window < 5 ? 5 : window > 20 ? 20 : window;
    work w = {SL_NEW(arena, (ROWS + 1) * BEAMS, float), SL_NEW(arena, SL_CELLS, float), SOLID_FLOOR * level,
              SL_NEW(arena, 3 * (pleura->blocks + 1), double), window, row_mm, {0}};
    float top[BEAMS];
    double at[BEAMS];
    if (!w.sum || !w.mean || !w.kept || !sl_line_search_new(arena, window + 1, ROWS - window - 2, &w.search))
        return sl_fail(error, SL_MEMORY, "Memory ran out while solid lung was measured; close other programs and read the clip "
                                         "again.");
    memcpy(extent->line, pleura->line, sizeof extent->line);
    bool wet = fluid && fluid->seen;
    if (!wet) {
        sl_status status = sl_solid_surface_find(stack, pleura, row_mm, arena, extent->line, &extent->moved, error);
        if (status != SL_OK)
            return status;
    }
    surface(pleura, fluid, extent->line, top);
    look(stack, pleura, &w, top, at, extent);
    if (!wet && extent->seen && extent->thin)
        look_below(stack, pleura, &w, at, extent);
    return SL_OK;
}

static double ramp(double value, double none, double full)
{
    double share = (value - none) / (full - none);
    return share > 0 ? fmin(share, 1) : 0;
}

double sl_solid_border_strength(const sl_solid_extent *x)
{
    if (!x->seen)
        return 0;
    return ramp(x->step, BORDER_STEP_NONE, BORDER_STEP_FULL) * ramp(x->width, BORDER_WIDTH_NONE, BORDER_WIDTH_FULL) *
           ramp(x->shine, BORDER_SHINE_NONE, BORDER_SHINE_FULL) * ramp(x->inside, BORDER_DARK_NONE, BORDER_DARK_FULL) *
           ramp(x->inside, BORDER_BRIGHT_NONE, BORDER_BRIGHT_FULL) * ramp(x->sure, BORDER_SURE_NONE, BORDER_SURE_FULL) *
           (x->thin ? ramp(x->stir / x->wall_stir, BORDER_STIR_NONE, BORDER_STIR_FULL) : 1);
}
