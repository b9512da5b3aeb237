#include "reading/pleura_search.h"

#include "reading/pleura_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, STEP = PLEURA_STEP_ROWS };

bool sl_line_search_new(sl_arena *arena, int first, int last, sl_line_search *search)
{
    search->first = first;
    search->last = last;
    search->score = SL_NEW(arena, SL_CELLS, float);
    search->best = SL_NEW(arena, SL_CELLS, float);
    search->from = SL_NEW(arena, SL_CELLS, float);
    return search->score && search->best && search->from;
}

void sl_line_search_run(const sl_line_search *search, const float *weight, const float *towards, float *line)
{
    int count = search->last - search->first + 1;
    float before[ROWS + 2 * STEP], own[ROWS];
    for (int i = 0; i < STEP; i++)
        before[i] = before[STEP + count + i] = -1e30f;
    for (int j = 0; j < BEAMS; j++) {
        const float *restrict score = search->score + j * ROWS + search->first;
        float *restrict best = search->best + j * ROWS, *restrict from = search->from + j * ROWS;
        float w = weight ? weight[j] : 1.0f;
        for (int i = 0; i < count; i++)
            own[i] = w * score[i];
        if (towards && !isnan(towards[j]))
            for (int i = 0; i < count; i++) {
                float off = fabsf((float)(i + search->first) - towards[j]);
                own[i] -= PLEURA_PULL_COST * (off < PLEURA_PULL_ROWS ? off : PLEURA_PULL_ROWS);
            }
        if (j) {
            for (int i = 0; i < count; i++) {
                best[i] = before[STEP + i];
                from[i] = 0;
            }
            for (int k = -STEP; k <= STEP; k++) {
                float step = (float)k, cost = PLEURA_STEP_COST * fabsf(step) + PLEURA_BEND_COST * step * step;
                for (int i = 0; i < count; i++) {
                    float v = before[STEP + i + k] - cost;
                    from[i] = v > best[i] ? step : from[i];
                    best[i] = v > best[i] ? v : best[i];
                }
            }
        } else {
            memset(best, 0, (size_t)count * sizeof *best);
            memset(from, 0, (size_t)count * sizeof *from);
        }
        for (int i = 0; i < count; i++)
            before[STEP + i] = best[i] += own[i];
    }
    const float *end = search->best + (BEAMS - 1) * ROWS;
    int at = 0;
    for (int i = 1; i < count; i++)
        if (end[i] > end[at])
            at = i;
    for (int j = BEAMS - 1; j >= 0; j--) {
        line[j] = (float)(at + search->first);
        at += (int)search->from[j * ROWS + at];
    }
}
