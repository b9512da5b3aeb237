#include "reading/heart.h"

#include "core/units.h"
#include "reading/organ_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS / HEART_ROWS, COLUMNS = SL_BEAMS / HEART_BEAMS, BLOCKS = ROWS * COLUMNS };

/* ln of the blocks' mean grey, in units of the picture's mean. */
static void blocks_of(const uint8_t *cell, float level, float *restrict out)
{
    for (int r = 0; r < ROWS; r++) {
        uint32_t sum[SL_BEAMS] = {0};
        for (int i = r * HEART_ROWS; i < (r + 1) * HEART_ROWS; i++)
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] += cell[i * SL_BEAMS + j];
        for (int c = 0; c < COLUMNS; c++) {
            uint32_t all = 0;
            for (int j = c * HEART_BEAMS; j < (c + 1) * HEART_BEAMS; j++)
                all += sum[j];
            out[r * COLUMNS + c] = logf((float)all / (HEART_ROWS * HEART_BEAMS) / level + HEART_FLOOR);
        }
    }
}

/* Blocks that lie wholly in the picture and below the wall. */
static void inside_of(const sl_stack *stack, int top, bool *inside)
{
    for (int b = 0; b < BLOCKS; b++) {
        int row = b / COLUMNS * HEART_ROWS, beam = b % COLUMNS * HEART_BEAMS;
        inside[b] = row >= top;
        for (int i = row; i < row + HEART_ROWS && inside[b]; i++)
            for (int j = beam; j < beam + HEART_BEAMS; j++)
                inside[b] = inside[b] && stack->mask[i * SL_BEAMS + j];
    }
}

/* Mean absolute change over `lag` steps, block by block. */
static void change_over(const float *block, int steps, int lag, float *restrict change)
{
    memset(change, 0, BLOCKS * sizeof *change);
    for (int t = 0; t + lag < steps; t++) {
        const float *from = block + (size_t)t * BLOCKS, *to = from + (size_t)lag * BLOCKS;
        for (int b = 0; b < BLOCKS; b++)
            change[b] += fabsf(to[b] - from[b]);
    }
    for (int b = 0; b < BLOCKS; b++)
        change[b] /= (float)(steps - lag);
}

/* The shortest lag at which the region is like itself again, between two lags at which it differs: two beats undo as much as one. */
static void judge_region(const double *change, int lags, int least, double step_s, const double box[4], sl_heart *heart)
{
    double before = 0, after[HEART_LAGS + 1] = {0}, undone[HEART_LAGS] = {0}, most[HEART_LAGS] = {0}, best = 0;
    for (int q = lags - 1; q >= 0; q--)
        after[q] = fmax(change[q], q + 1 < lags ? after[q + 1] : 0);
    for (int q = 0; q + 2 < lags; before = fmax(before, change[q++])) {
        if (q < least || before < HEART_CHANGE_LEAST)
            continue;
        most[q] = before;
        undone[q] = fmin(before - change[q], 2 * (after[q] - change[q])) / before;
        best = fmax(best, undone[q]);
    }
    if (best <= heart->undone)
        return;
    int q = 0;
    while (undone[q] < HEART_FIRST * best)
        q++;
    while (q + 1 < lags && undone[q + 1] > undone[q]) /* to the bottom of that dip */
        q++;
    *heart = (sl_heart){.undone = best, .change = most[q], .period_s = (q + 1) * step_s, .first_beam = box[0], .last_beam = box[1],
                        .first_depth = box[2], .last_depth = box[3], .reason = ""};
}

bool sl_heart_look(const sl_stack *stack, int top, sl_arena *arena, sl_heart *heart)
{
    *heart = (sl_heart){.period_s = SL_UNKNOWN};
    heart->reason = !stack->times_known || !(stack->frame_s > 0)  ? "the frames' times are not known"
                    : stack->frame_s > HEART_FRAME_MOST_S          ? "too few frames a second for the heart's rate"
                    : stack->frames * stack->frame_s < HEART_PERIODS_LEAST * HEART_PERIOD_MOST_S ? "too short for two beats of the heart"
                                                                                                 : "";
    if (heart->reason[0])
        return true;
    int every = (int)fmax(1, floor(1 / (HEART_RATE_HZ * stack->frame_s) + 0.5)), steps = stack->frames / every;
    double step_s = every * stack->frame_s, grey = 0;
    int lags = (int)fmin(fmin(HEART_LAGS, 1.08 * HEART_PERIOD_MOST_S / step_s), steps / 2.0);
    float *block = SL_NEW(arena, (size_t)steps * BLOCKS, float), *change = SL_NEW(arena, (size_t)HEART_LAGS * BLOCKS, float);
    if (!block || !change)
        return false;
    size_t cells = 0;
    const uint8_t *middle = sl_stack_frame(stack, stack->frames / 2);
    for (int c = 0; c < SL_CELLS; c++) {
        grey += stack->mask[c] ? middle[c] : 0;
        cells += stack->mask[c];
    }
    float level = (float)fmax(1, grey / fmax(1, (double)cells));
    for (int t = 0; t < steps; t++)
        blocks_of(sl_stack_frame(stack, t * every), level, block + (size_t)t * BLOCKS);
    for (int q = 0; q < lags; q++)
        change_over(block, steps, q + 1, change + (size_t)q * BLOCKS);
    bool inside[BLOCKS];
    inside_of(stack, top, inside);
    int least = (int)ceil(HEART_PERIOD_LEAST_S / step_s) - 1;
    for (int r = 0; r + HEART_REGION <= ROWS; r++)
        for (int c = 0; c + HEART_REGION <= COLUMNS; c++) {
            double sum[HEART_LAGS] = {0};
            bool whole = true;
            for (int k = 0; k < HEART_REGION * HEART_REGION; k++) {
                int b = (r + k / HEART_REGION) * COLUMNS + c + k % HEART_REGION;
                whole = whole && inside[b];
                for (int q = 0; q < lags; q++)
                    sum[q] += (double)change[(size_t)q * BLOCKS + b] / (HEART_REGION * HEART_REGION);
            }
            const double box[4] = {(double)c / COLUMNS, (double)(c + HEART_REGION) / COLUMNS, (double)r / ROWS,
                                   (double)(r + HEART_REGION) / ROWS};
            if (whole)
                judge_region(sum, lags, least, step_s, box, heart);
        }
    heart->judged = true;
    return true;
}
