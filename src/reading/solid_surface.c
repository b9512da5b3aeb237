#include "reading/solid_surface.h"

#include "core/order.h"
#include "reading/pleura_search.h"
#include "reading/solid_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS };

/* Running sums down the beams over five beams. */
static void sums(const float *plane, float *restrict sum)
{
    memset(sum, 0, BEAMS * sizeof *sum);
    for (int i = 0; i < ROWS; i++)
        for (int j = 0; j < BEAMS; j++) {
            float here = 0;
            int n = 0;
            for (int k = j < 2 ? 0 : j - 2; k <= j + 2 && k < BEAMS; k++, n++)
                here += plane[i * BEAMS + k];
            sum[(i + 1) * BEAMS + j] = sum[i * BEAMS + j] + here / (float)n;
        }
}

static float mean_of(const float *sum, int beam, int first, int last)
{
    first = first < 0 ? 0 : first;
    last = last > ROWS ? ROWS : last;
    return last > first ? (sum[last * BEAMS + beam] - sum[first * BEAMS + beam]) / (float)(last - first) : 0;
}

static float stir_of(const float *grey, const float *change, int beam, int first, int last)
{
    return (mean_of(change, beam, first, last) + SURFACE_FLOOR_CHANGE) / (mean_of(grey, beam, first, last) + SURFACE_FLOOR_GREY);
}

/* How much a cell looks like the border between what stands still and what moves, on a line. */
static float score_of(const float *grey, const float *change, int beam, int row, int window)
{
    float still = stir_of(grey, change, beam, row - 1 - window, row - 1), moves = stir_of(grey, change, beam, row + 2, row + 2 + window);
    float here = mean_of(grey, beam, row - 1, row + 2), around = mean_of(grey, beam, row - window, row + window + 1);
    float jump = logf(moves / still), ridge = logf((here + 1) / (around + 1));
    jump = jump < 0 ? 0 : jump > SURFACE_JUMP_MOST ? SURFACE_JUMP_MOST : jump;
    ridge = ridge < 0 ? 0 : ridge > 1 ? 1 : ridge;
    return jump + SURFACE_RIDGE * ridge;
}

/* The least row where it may lie: below the cap of the nearest rib. */
static float least_row(const sl_pleura *pleura, int beam, double row_mm)
{
    float below = (float)(row_mm > 0 ? SURFACE_CAPS_MM / row_mm : SURFACE_CAPS_ROWS), row = pleura->line[beam] - 2;
    int best = -1, off = BEAMS;
    for (int k = 0; k < pleura->beams.caps; k++) {
        int away = abs((pleura->beams.cap[k].first + pleura->beams.cap[k].last) / 2 - beam);
        if (away < off && isfinite(pleura->beams.cap[k].row)) {
            off = away;
            best = k;
        }
    }
    return best < 0 ? row : fmaxf(row, pleura->beams.cap[best].row + below);
}

sl_status sl_solid_surface_find(const sl_stack *stack, const sl_pleura *pleura, double row_mm, sl_arena *arena,
                                float *line, bool *moved, sl_error *error)
{
    memcpy(line, pleura->line, BEAMS * sizeof *line);
    *moved = false;
    int window = row_mm > 0 ? (int)(EXTENT_WINDOW_MM / row_mm + 0.5) : EXTENT_WINDOW_ROWS;
    window = window < 5 ? 5 : window > 20 ? 20 : window;
    if (!pleura->change || stack->frames < 2)
        return SL_OK;
    sl_line_search search;
    float *grey = SL_NEW(arena, (ROWS + 1) * BEAMS, float), *change = SL_NEW(arena, (ROWS + 1) * BEAMS, float), path[BEAMS];
    if (!grey || !change || !sl_line_search_new(arena, window + 2, ROWS - window - 3, &search))
        return sl_fail(error, SL_MEMORY, "Memory ran out while solid lung was measured; close other programs and read the clip "
                                         "again.");
    sums(pleura->mean, grey);
    sums(pleura->change, change);
    for (int j = 0; j < BEAMS; j++) {
        float *restrict score = search.score + j * ROWS;
        memset(score, 0, ROWS * sizeof *score);
        if (isnan(line[j]) || pleura->beams.kind[j] != SL_BEAM_SPACE)
            continue;
        int first = (int)least_row(pleura, j, row_mm), last = search.last;
        int deepest = (int)(pleura->line[j] + (float)(row_mm > 0 ? SURFACE_DEEPER_MM / row_mm : SURFACE_DEEPER_ROWS));
        last = last < deepest ? last : deepest;
        first = first < search.first ? search.first : first;
        for (int i = first; i <= search.last && i <= last; i++)
            if (stack->mask[i * BEAMS + j])
                score[i] = score_of(grey, change, j, i, window);
    }
    sl_line_search_run(&search, NULL, NULL, path);
    double gain[BEAMS], best[BEAMS];
    int n = 0;
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(line[j]) || pleura->beams.kind[j] != SL_BEAM_SPACE || fabsf(path[j] - line[j]) < SURFACE_OFF)
            continue;
        float own = 0;
        for (int i = (int)line[j] - 2; i <= (int)line[j] + 2; i++)
            if (i >= search.first && i <= search.last)
                own = fmaxf(own, search.score[j * ROWS + i]);
        best[n] = (double)search.score[j * ROWS + (int)path[j]];
        gain[n] = best[n] - (double)own;
        n++;
    }
    if (n < EXTENT_BEAMS)
        return SL_OK;
    qsort(gain, (size_t)n, sizeof *gain, sl_by_double);
    qsort(best, (size_t)n, sizeof *best, sl_by_double);
    *moved = gain[n / 2] >= SURFACE_GAIN && best[n / 2] >= SURFACE_LEAST;
    if (!*moved)
        return SL_OK;
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(line[j]))
            line[j] = path[j];
    return SL_OK;
}
