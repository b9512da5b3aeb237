#include "reading/pleura.h"

#include "reading/pleura_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, STEP = PLEURA_STEP_ROWS };

/* Working pictures, taken from the arena once a clip. */
typedef struct work {
    uint32_t *sum; /* [ROWS][BEAMS] */
    float *mean;   /* of the block at hand */
    float *up;     /* [ROWS + 1][BEAMS] running sums down each beam */
    float *score;  /* [ROWS][BEAMS] */
    float *best;   /* [BEAMS][ROWS] for the search */
    int8_t *from;  /* [BEAMS][ROWS] */
} work;

static void add_frames(const sl_stack *stack, int first, int last, uint32_t *restrict sum)
{
    memset(sum, 0, SL_CELLS * sizeof *sum);
    for (int f = first; f < last; f++) {
        const uint8_t *restrict cell = sl_stack_frame(stack, f);
        for (int k = 0; k < SL_CELLS; k++)
            sum[k] += cell[k];
    }
}

static void to_mean(const uint32_t *restrict sum, int frames, float *restrict mean)
{
    float scale = 1.0f / (float)frames;
    for (int k = 0; k < SL_CELLS; k++)
        mean[k] = (float)sum[k] * scale;
}

/* mean over rows first..last-1 for all beams, clipped to the picture */
static void band(const float *restrict up, int first, int last, float *restrict out)
{
    first = first < 0 ? 0 : first > ROWS - 1 ? ROWS - 1 : first;
    last = last < first + 1 ? first + 1 : last > ROWS ? ROWS : last;
    float scale = 1.0f / (float)(last - first);
    for (int j = 0; j < BEAMS; j++)
        out[j] = (up[last * BEAMS + j] - up[first * BEAMS + j]) * scale;
}

static void score_cells(const float *mean, const uint8_t *mask, work *w)
{
    float *up = w->up;
    memset(up, 0, BEAMS * sizeof *up);
    for (int i = 0; i < ROWS; i++) {
        const float *restrict m = mean + i * BEAMS;
        for (int j = 0; j < BEAMS; j++) {
            float s = 0;
            for (int k = -2; k <= 2; k++)
                s += m[j + k < 0 ? 0 : j + k >= BEAMS ? BEAMS - 1 : j + k];
            up[(i + 1) * BEAMS + j] = up[i * BEAMS + j] + 0.2f * s;
        }
    }
    for (int i = 0; i < ROWS; i++) {
        float on[BEAMS], above[BEAMS], below[BEAMS], deep[BEAMS];
        band(up, i - 1, i + 2, on);
        band(up, i - 9, i - 3, above);
        band(up, i + 4, i + 10, below);
        band(up, i + 10, i + 50, deep);
        for (int j = 0; j < BEAMS; j++) {
            float ridge = on[j] - 0.5f * (above[j] + below[j]), step = 0.5f * (on[j] + above[j]) - deep[j];
            float s = (ridge + step) / (0.5f * (on[j] + above[j]) + 8.0f);
            w->score[i * BEAMS + j] = mask[i * BEAMS + j] ? s : -1.0f;
        }
    }
}

/* The line of best score from the first beam to the last: at most STEP rows a beam, each row costs; a pull
 * costs for each row off `towards` (NULL: none). */
static void trace(const work *w, int first, int last, const float *towards, float *line)
{
    for (int j = 0; j < BEAMS; j++) {
        float *restrict best = w->best + j * ROWS;
        int8_t *restrict from = w->from + j * ROWS;
        for (int i = first; i <= last; i++) {
            float s = w->score[i * BEAMS + j];
            if (towards && !isnan(towards[j])) {
                float off = fabsf((float)i - towards[j]);
                s -= PLEURA_PULL_COST * off + (off > PLEURA_PULL_ROWS ? 1.0f : 0.0f);
            }
            float most = j ? -1e30f : 0;
            int step = 0;
            if (j)
                for (int k = -STEP; k <= STEP; k++)
                    if (i + k >= first && i + k <= last) {
                        float v = best[i + k - ROWS] - PLEURA_STEP_COST * (float)(k < 0 ? -k : k);
                        if (v > most) {
                            most = v;
                            step = k;
                        }
                    }
            best[i] = s + most;
            from[i] = (int8_t)step;
        }
    }
    int at = first;
    const float *end = w->best + (BEAMS - 1) * ROWS;
    for (int i = first; i <= last; i++)
        if (end[i] > end[at])
            at = i;
    for (int j = BEAMS - 1; j >= 0; j--) {
        float a = at > first ? w->score[(at - 1) * BEAMS + j] : -1, b = w->score[at * BEAMS + j],
              c = at < last ? w->score[(at + 1) * BEAMS + j] : -1;
        float bend = a - 2 * b + c;
        float shift = bend < -1e-6f && b >= a && b >= c ? 0.5f * (a - c) / bend : 0;
        line[j] = (float)at + shift;
        at += w->from[j * ROWS + at];
    }
}

static double middle(float *value, int count, double share)
{
    for (int i = 1; i < count; i++) {
        float v = value[i];
        int j = i;
        for (; j > 0 && value[j - 1] > v; j--)
            value[j] = value[j - 1];
        value[j] = v;
    }
    double at = share * (count - 1);
    int k = (int)at;
    return k + 1 < count ? value[k] + (at - k) * (value[k + 1] - value[k]) : value[k];
}

sl_status sl_pleura_find(const sl_stack *stack, sl_arena *arena, sl_pleura *pleura, sl_error *error)
{
    memset(pleura, 0, sizeof *pleura);
    pleura->depth = pleura->depth_low = pleura->depth_high = NAN;
    pleura->beams.widest = -1;
    int frames = stack->frames, per = PLEURA_BLOCK_FRAMES;
    if (stack->times_known && stack->frame_s > 0)
        per = (int)(PLEURA_BLOCK_S / stack->frame_s + 0.5);
    per = per < 1 ? 1 : per;
    pleura->block_frames = per;
    pleura->blocks = frames ? (frames + per - 1) / per : 0;
    float *row = SL_NEW(arena, pleura->blocks * BEAMS + 1, float), *mean = SL_NEW(arena, SL_CELLS, float);
    work w = {SL_NEW(arena, SL_CELLS, uint32_t),      SL_NEW(arena, SL_CELLS, float),
              SL_NEW(arena, SL_CELLS + BEAMS, float), SL_NEW(arena, SL_CELLS, float),
              SL_NEW(arena, SL_CELLS, float),         SL_NEW(arena, SL_CELLS, int8_t)};
    if (!row || !mean || !w.sum || !w.mean || !w.up || !w.score || !w.best || !w.from)
        return sl_fail(error, SL_MEMORY,
                       "Memory ran out while finding the pleural line; close other programs and retry.");
    pleura->row = row;
    pleura->mean = mean;
    for (int j = 0; j < BEAMS; j++) {
        pleura->line[j] = NAN;
        pleura->beams.kind[j] = SL_BEAM_OUTSIDE;
    }
    if (!frames)
        return SL_OK;

    add_frames(stack, 0, frames, w.sum);
    to_mean(w.sum, frames, mean);
    int first = (int)(PLEURA_NEAREST * ROWS), last = (int)(PLEURA_DEEPEST * ROWS);
    double light = 0;
    for (int k = 0; k < SL_CELLS; k++)
        light += mean[k];
    if (light < 0.5 * SL_CELLS) { /* black */
        for (int k = 0; k < pleura->blocks * BEAMS; k++)
            row[k] = NAN;
        return SL_OK;
    }
    score_cells(mean, stack->mask, &w);
    trace(&w, first, last, NULL, pleura->line);
    float total = 0;
    int inside = 0;
    for (int j = 0; j < BEAMS; j++) {
        int at = (int)(pleura->line[j] + 0.5f);
        if (!stack->mask[at * BEAMS + j]) {
            pleura->line[j] = NAN;
            continue;
        }
        float s = w.score[at * BEAMS + j];
        pleura->sure[j] = s < 0 ? 0 : s > 1 ? 1 : s;
        total += pleura->sure[j];
        inside++;
    }
    sl_beams_classify(mean, stack->mask, pleura->line, &pleura->beams);
    pleura->found = inside ? total / (float)inside : 0;
    pleura->found = pleura->found > 1 ? 1 : pleura->found;
    pleura->seen = pleura->found > 0.2 && pleura->beams.spaces > 0;

    for (int b = 0; b < pleura->blocks; b++) {
        int from = b * per, to = from + per > frames ? frames : from + per;
        float *r = row + b * BEAMS;
        add_frames(stack, from, to, w.sum);
        to_mean(w.sum, to - from, w.mean);
        score_cells(w.mean, stack->mask, &w);
        trace(&w, first, last, pleura->line, r);
        for (int j = 0; j < BEAMS; j++)
            if (isnan(pleura->line[j]))
                r[j] = NAN;
    }
    float value[BEAMS];
    int n = 0;
    for (int j = 0; j < BEAMS; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE)
            value[n++] = (pleura->line[j] + 0.5f) / ROWS;
    if (n) {
        pleura->depth = middle(value, n, 0.5);
        pleura->depth_low = middle(value, n, 0.025);
        pleura->depth_high = middle(value, n, 0.975);
    }
    return SL_OK;
}

double sl_pleura_row_at(const sl_pleura *pleura, int frame, int beam)
{
    if (!pleura->blocks || beam < 0 || beam >= BEAMS)
        return NAN;
    double at = (frame + 0.5) / pleura->block_frames - 0.5;
    at = at < 0 ? 0 : at > pleura->blocks - 1 ? pleura->blocks - 1 : at;
    int b = (int)at;
    double a = pleura->row[b * BEAMS + beam];
    return b + 1 < pleura->blocks ? a + (at - b) * (pleura->row[(b + 1) * BEAMS + beam] - a) : a;
}

int sl_pleura_line_at(const sl_pleura *pleura, int frame, double *beam, double *depth)
{
    int n = 0;
    for (int j = 0; j < BEAMS; j++) {
        double row = sl_pleura_row_at(pleura, frame, j);
        if (isnan(row))
            continue;
        beam[n] = (j + 0.5) / BEAMS;
        depth[n++] = (row + 0.5) / ROWS;
    }
    return n;
}
