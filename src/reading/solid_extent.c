#include "reading/solid_extent.h"

#include "core/order.h"
#include "core/units.h"
#include "reading/pleura_cells.h"
#include "reading/pleura_search.h"
#include "reading/solid_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS };

static double quantile(double *value, int count, double share)
{
    qsort(value, (size_t)count, sizeof *value, sl_by_double);
    return value[(int)(share * (count - 1) + 0.5)];
}

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
static void surface(const sl_pleura *pleura, const sl_fluid_layer *fluid, float *top)
{
    for (int j = 0; j < BEAMS; j++) {
        bool wet = fluid && fluid->seen && isfinite(fluid->bottom[j]);
        top[j] = pleura->beams.kind[j] != SL_BEAM_SPACE ? NAN : wet ? fmaxf(fluid->bottom[j], pleura->line[j]) : pleura->line[j];
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

/* A line at a rib's cap is none of the pleura there, which lies some 5 mm deeper. */
static double below_caps(const sl_pleura *pleura)
{
    double least = SL_UNKNOWN;
    for (int k = 0; k < pleura->beams.caps; k++) {
        const sl_rib_cap *cap = &pleura->beams.cap[k];
        double off = (double)(pleura->line[(cap->first + cap->last) / 2] - cap->row);
        if (isfinite(off) && !(off >= least))
            least = off;
    }
    return least;
}

static void measure(const double *at, const float *top, int window, sl_solid_extent *extent)
{
    double deep[BEAMS], torn = 0, area = 0;
    int n = 0, pairs = 0, first = -1, last = -1;
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(at[j]))
            continue;
        deep[n++] = at[j] - (double)top[j];
        area += at[j] - (double)top[j];
        first = first < 0 ? j : first;
        last = j;
        extent->beam[extent->points] = (j + 0.5) / BEAMS;
        extent->top[extent->points] = ((double)top[j] + 0.5) / ROWS;
        extent->border[extent->points++] = at[j] / ROWS;
        if (j >= 2 && j + 2 < BEAMS && !isnan(at[j - 2]) && !isnan(at[j + 2])) {
            double off = at[j] - 0.5 * (at[j - 2] + at[j + 2]);
            torn += off * off / 1.5; /* the variance of such a difference of independent ones */
            pairs++;
        }
    }
    extent->seen = n >= EXTENT_BEAMS;
    if (!extent->seen)
        return;
    extent->depth = quantile(deep, n, EXTENT_DEEPEST) / ROWS;
    double half = fmax(0.25 * window, deep[n - 1] - deep[(int)(0.8 * (n - 1))]) / ROWS;
    extent->depth_low = fmax(0, extent->depth - half);
    extent->depth_high = fmin(1, extent->depth + half);
    extent->width = (last - first + 1.0) / BEAMS;
    extent->area = area / ((double)ROWS * BEAMS);
    extent->torn = pairs ? sqrt(torn / pairs) / ROWS : SL_UNKNOWN;
}

sl_status sl_solid_extent_find(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, double row_mm,
                               sl_arena *arena, sl_solid_extent *extent, sl_error *error)
{
    memset(extent, 0, sizeof *extent);
    extent->step = extent->depth = extent->depth_low = extent->depth_high = extent->width = extent->area = extent->torn = extent->below_caps = SL_UNKNOWN;
    float level = pleura->mean && stack->frames > 0 ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (!(level > 0) || !pleura->beams.spaces)
        return SL_OK;
    int window = row_mm > 0 ? (int)(EXTENT_WINDOW_MM / row_mm + 0.5) : EXTENT_WINDOW_ROWS;
    window = window < 5 ? 5 : window > 20 ? 20 : window;
    sl_line_search search;
    float *sum = SL_NEW(arena, (ROWS + 1) * BEAMS, float), top[BEAMS], path[BEAMS];
    double at[BEAMS], step[BEAMS];
    if (!sum || !sl_line_search_new(arena, window + 1, ROWS - window - 2, &search))
        return sl_fail(error, SL_MEMORY, "Memory ran out while solid lung was measured; close other programs and read the clip "
                                         "again.");
    sums(pleura->mean, sum);
    surface(pleura, fluid, top);
    fill(stack, sum, top, SOLID_FLOOR * level, window, &search);
    sl_line_search_run(&search, NULL, NULL, path);
    int seen = border(&search, path, top, at, step);
    if (seen)
        extent->step = quantile(step, seen, 0.5);
    keep_runs(at);
    extent->below_caps = below_caps(pleura);
    measure(at, top, window, extent);
    return SL_OK;
}
