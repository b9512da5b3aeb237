#include "reading/pleura.h"

#include "core/quantile.h"
#include "reading/pleura_cells.h"
#include "reading/pleura_scene.h"
#include "reading/pleura_search.h"
#include "reading/pleura_table.h"
#include "reading/pleura_weights.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS };

/* What the clip is worked on with, taken from the arena once. */
typedef struct work {
    const float *weight; /* of the signs */
    sl_pleura_cells cells;
    sl_line_search search;
    uint32_t *sum;                         /* [ROWS][BEAMS] over all frames; then over the window at hand */
    uint32_t *change;                      /* sum of absolute differences of neighbouring frames */
    float *picture;                        /* mean picture, carried on outside the mask */
    int first_row[BEAMS], last_row[BEAMS]; /* inside the mask; first > last: none */
    float spread[BEAMS];                   /* log of the sum of exp(score) of a beam */
    int beams_inside;
} work;

static void add_frame(const uint8_t *restrict cell, uint32_t *restrict sum)
{
    for (int k = 0; k < SL_CELLS; k++)
        sum[k] += cell[k];
}

static void take_frame(const uint8_t *restrict cell, uint32_t *restrict sum)
{
    for (int k = 0; k < SL_CELLS; k++)
        sum[k] -= cell[k];
}

static void add_change(const uint8_t *restrict a, const uint8_t *restrict b, uint32_t *restrict sum)
{
    for (int k = 0; k < SL_CELLS; k++) {
        uint8_t most = a[k] > b[k] ? a[k] : b[k], least = a[k] > b[k] ? b[k] : a[k];
        sum[k] += (uint8_t)(most - least);
    }
}

static void to_mean(const uint32_t *restrict sum, int frames, float *restrict mean)
{
    float scale = 1.0f / (float)frames;
    for (int k = 0; k < SL_CELLS; k++)
        mean[k] = (float)sum[k] * scale;
}

static void find_extent(const uint8_t *mask, work *w)
{
    w->beams_inside = 0;
    for (int j = 0; j < BEAMS; j++) {
        int first = 0, last = ROWS - 1;
        while (first < ROWS && !mask[first * BEAMS + j])
            first++;
        while (last >= first && !mask[last * BEAMS + j])
            last--;
        w->first_row[j] = first;
        w->last_row[j] = last;
        w->beams_inside += last >= first;
    }
}

/* Carries each beam's end cells on, so that the picture's edge does not look like an interface. */
static void carry_on(const work *w, float *picture)
{
    for (int j = 0; j < BEAMS; j++) {
        if (w->first_row[j] > w->last_row[j])
            continue;
        float first = picture[w->first_row[j] * BEAMS + j], last = picture[w->last_row[j] * BEAMS + j];
        for (int i = 0; i < w->first_row[j]; i++)
            picture[i * BEAMS + j] = first;
        for (int i = w->last_row[j] + 1; i < ROWS; i++)
            picture[i * BEAMS + j] = last;
    }
}

/* Scores every cell of w->picture: log-likelihood against the best of its beam. */
static void score_cells(work *w, bool spread)
{
    sl_line_search *search = &w->search;
    sl_pleura_cells_fill(&w->cells, w->picture);
    float sign[PLEURA_SIGNS][BEAMS], total[BEAMS], most[BEAMS];
    for (int j = 0; j < BEAMS; j++)
        most[j] = -1e30f;
    for (int i = search->first; i <= search->last; i++) {
        sl_pleura_signs(&w->cells, i, sign);
        for (int j = 0; j < BEAMS; j++)
            total[j] = 0;
        for (int k = 0; k < PLEURA_SIGNS; k++)
            for (int j = 0; j < BEAMS; j++)
                total[j] += w->weight[k] * sign[k][j];
        for (int j = 0; j < BEAMS; j++) {
            bool inside = i >= w->first_row[j] && i <= w->last_row[j];
            search->score[j * ROWS + i] = inside ? total[j] : -1e30f;
            if (inside && total[j] > most[j])
                most[j] = total[j];
        }
    }
    for (int j = 0; j < BEAMS; j++) {
        float *score = search->score + j * ROWS;
        if (most[j] < -1e29f) {
            for (int i = search->first; i <= search->last; i++)
                score[i] = 0; /* nothing to see: the line passes through freely */
            w->spread[j] = 0;
            continue;
        }
        float sum = 0;
        for (int i = search->first; i <= search->last; i++) {
            float s = score[i] - most[j];
            if (spread && s > -20)
                sum += expf(s);
            score[i] = s > PLEURA_LEAST ? s : PLEURA_LEAST;
        }
        if (spread)
            w->spread[j] = logf(sum);
    }
}

/* Probability that the line lies within a few rows of `row`, by the beam's own cells. */
static float sureness(const work *w, int beam, float row)
{
    const float *score = w->search.score + beam * ROWS;
    float sum = 0;
    int middle = (int)(row + 0.5f);
    for (int i = middle - PLEURA_NEAR_ROWS; i <= middle + PLEURA_NEAR_ROWS; i++)
        if (i >= w->search.first && i <= w->search.last && score[i] > PLEURA_LEAST)
            sum += expf(score[i] - w->spread[beam]);
    return sum > 1 ? 1 : sum;
}

/* Moves whole rows to where the echo begins, to a fraction of a cell. The interface lies at the top of the
 * rise of grey: in the middle of a thin bright line, at the upper rim of a thick one or of a bright column
 * below it. */
static void refine(const work *w, float *line)
{
    const float *grey = w->cells.grey;
    for (int j = 0; j < BEAMS; j++) {
        int row = (int)line[j], best = row;
        for (int i = row - PLEURA_FINE_ROWS; i <= row + PLEURA_FINE_ROWS; i++)
            if (i > 0 && i < ROWS - 1 && grey[i * BEAMS + j] > grey[best * BEAMS + j])
                best = i;
        float most = grey[best * BEAMS + j], base = most;
        int first = best - PLEURA_RIM_ROWS < 0 ? 0 : best - PLEURA_RIM_ROWS;
        for (int i = first; i < best; i++)
            base = grey[i * BEAMS + j] < base ? grey[i * BEAMS + j] : base;
        float level = base + PLEURA_RIM_SHARE * (most - base);
        int top = best, end = best;
        while (top > first && grey[(top - 1) * BEAMS + j] >= level)
            top--;
        while (end < ROWS - 1 && end < best + PLEURA_RIM_ROWS && grey[(end + 1) * BEAMS + j] >= level)
            end++;
        if (top == first || most <= base)
            continue;
        float above = grey[(top - 1) * BEAMS + j],
              rim = (float)top - (grey[top * BEAMS + j] - level) / (grey[top * BEAMS + j] - above);
        float under = end < ROWS - 1 ? grey[(end + 1) * BEAMS + j] : level;
        float foot = under < level
                         ? (float)end + (grey[end * BEAMS + j] - level) / (grey[end * BEAMS + j] - under)
                         : (float)end;
        float middle = 0.5f * (rim + foot);
        line[j] = middle < rim + PLEURA_RIM_OFFSET ? middle : rim + PLEURA_RIM_OFFSET;
    }
}

static void find_clip_line(const sl_stack *stack, work *w, sl_pleura *pleura)
{
    float weight[BEAMS];
    score_cells(w, true);
    sl_line_search_run(&w->search, NULL, NULL, pleura->line);
    sl_beams_classify(pleura->mean, stack->mask, pleura->line, &pleura->beams);
    for (int j = 0; j < BEAMS; j++)
        weight[j] = pleura->beams.kind[j] == SL_BEAM_SPACE ? 1.0f
                    : pleura->beams.kind[j] == SL_BEAM_RIB ? PLEURA_SHADOW_WEIGHT
                                                           : PLEURA_DARK_WEIGHT;
    sl_line_search_run(&w->search, weight, NULL, pleura->line);
    for (int j = 0; j < BEAMS; j++)
        pleura->sure[j] = sureness(w, j, pleura->line[j]);
    refine(w, pleura->line);
    for (int j = 0; j < BEAMS; j++)
        if (pleura->line[j] < (float)w->first_row[j] - 0.5f ||
            pleura->line[j] > (float)w->last_row[j] + 0.5f) {
            pleura->line[j] = NAN;
            pleura->sure[j] = 0;
        }
    sl_beams_classify(pleura->mean, stack->mask, pleura->line, &pleura->beams);
}

/* The line block by block; the picture of a block is the mean of it and its neighbours. */
static void find_block_lines(const sl_stack *stack, work *w, sl_pleura *pleura, float *row)
{
    int per = pleura->block_frames, in_first = 0,
        in_last = 0; /* frames in the window's sum: in_first..in_last-1 */
    float weight[BEAMS];
    for (int j = 0; j < BEAMS; j++)
        weight[j] = pleura->beams.kind[j] == SL_BEAM_SPACE ? 1.0f
                    : pleura->beams.kind[j] == SL_BEAM_RIB ? PLEURA_SHADOW_WEIGHT
                                                           : PLEURA_DARK_WEIGHT;
    memset(w->sum, 0, SL_CELLS * sizeof *w->sum);
    for (int b = 0; b < pleura->blocks; b++) {
        int first = (b - 1) * per < 0 ? 0 : (b - 1) * per;
        int last = (b + 2) * per > stack->frames ? stack->frames : (b + 2) * per;
        for (; in_last < last; in_last++)
            add_frame(sl_stack_frame(stack, in_last), w->sum);
        for (; in_first < first; in_first++)
            take_frame(sl_stack_frame(stack, in_first), w->sum);
        to_mean(w->sum, last - first, w->picture);
        carry_on(w, w->picture);
        score_cells(w, false);
        float *line = row + b * BEAMS;
        sl_line_search_run(&w->search, weight, pleura->line, line);
        refine(w, line);
        for (int j = 0; j < BEAMS; j++)
            if (isnan(pleura->line[j]))
                line[j] = NAN;
    }
}

/* The row above which half of the weight lies. */
static float weighted_median(float *row, float *weight, int count)
{
    float total = 0, sum = 0;
    for (int i = 0; i < count; i++) {
        float r = row[i], w = weight[i];
        int k = i;
        for (; k > 0 && row[k - 1] > r; k--) {
            row[k] = row[k - 1];
            weight[k] = weight[k - 1];
        }
        row[k] = r;
        weight[k] = w;
        total += w;
    }
    for (int i = 0; i < count; i++) {
        sum += weight[i];
        if (sum >= 0.5f * total)
            return row[i];
    }
    return row[count - 1];
}

/* Median depth over the spaces in each block, each beam weighing as surely as it looks into a space and as
 * its row is sure, so that a beam at a rib's rim does not tip it. The clip's depth is the blocks' median, its
 * interval their spread, at least half a cell each way. */
static void find_depth(sl_pleura *pleura, double *median)
{
    float value[BEAMS], weight[BEAMS];
    int blocks = 0;
    if (!pleura->beams.space_beams)
        return;
    for (int b = 0; b < pleura->blocks; b++) {
        int n = 0;
        for (int j = 0; j < BEAMS; j++) {
            float w = pleura->beams.open[j] * pleura->beams.open[j] * pleura->sure[j];
            if (w > 0 && !isnan(pleura->row[b * BEAMS + j])) {
                weight[n] = w;
                value[n++] = pleura->row[b * BEAMS + j];
            }
        }
        if (n)
            median[blocks++] = (double)weighted_median(value, weight, n);
    }
    if (!blocks)
        return;
    sl_sort_known(median, blocks);
    pleura->depth = (sl_quantile_sorted(median, blocks, 0.5) + 0.5) / ROWS;
    pleura->depth_low = fmin(sl_quantile_sorted(median, blocks, 0.025) + 0.5, pleura->depth * ROWS - 0.5) / ROWS;
    pleura->depth_high = fmax(sl_quantile_sorted(median, blocks, 0.975) + 0.5, pleura->depth * ROWS + 0.5) / ROWS;
}

/* How far the line can be believed, from the beams that see something, and whether there is one to see. */
static void judge(bool looked, sl_pleura *pleura)
{
    double sure = 0;
    int n = 0;
    for (int j = 0; j < BEAMS; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE) {
            sure += pleura->sure[j];
            n++;
        }
    if (!n || !looked || !pleura->beams.spaces)
        return;
    pleura->clear = sure / n;
    pleura->shown = sl_pleura_scene_shown(pleura->scene);
    pleura->found = 1 / (1 + exp(-(PLEURA_FOUND_ZERO + PLEURA_FOUND_CLEAR * pleura->clear)));
    pleura->out_of_view = pleura->shown < PLEURA_SHOWN_LEAST || (pleura->shown < 0.5 && pleura->found < PLEURA_FOUND_LEAST);
    if (pleura->out_of_view)
        pleura->found = fmin(pleura->found, pleura->shown);
    pleura->seen = !pleura->out_of_view && pleura->found >= PLEURA_FOUND_LEAST;
    double shown = fmin(fmax(pleura->shown, PLEURA_RIGHT_SHOWN_LEAST), 1 - PLEURA_RIGHT_SHOWN_LEAST);
    pleura->right = 1 / (1 + exp(-(PLEURA_RIGHT_ZERO + PLEURA_RIGHT_CLEAR * pleura->clear + PLEURA_RIGHT_SHOWN * log(shown / (1 - shown)))));
}

const char *sl_pleura_unseen(bool seen, bool out_of_view)
{
    return seen          ? ""
           : out_of_view ? "the pleural line is not in the picture: show the chest wall and the pleural line, zoom out or move the focus"
                         : "no pleural line was found";
}

/* The nearest row where the pleura may lie. */
static int first_row(const sl_view *view)
{
    float share = PLEURA_NEAREST;
    if (view && view->shape == SL_SHAPE_LINEAR)
        share = PLEURA_NEAREST_LINEAR; /* a linear picture is not cut off below its probe's face */
    if (view && view->face_visible) {
        double depth_mm = sl_view_depth_mm(view);
        share = view->shape == SL_SHAPE_LINEAR ? PLEURA_NEAREST_LINEAR : PLEURA_NEAREST_FACE;
        if (depth_mm > 0)
            share = (float)(PLEURA_NEAREST_MM / depth_mm);
    }
    return (int)(share * ROWS);
}

static bool work_new(sl_arena *arena, const sl_view *view, work *w)
{
    w->sum = SL_NEW(arena, SL_CELLS, uint32_t);
    w->change = SL_NEW(arena, SL_CELLS, uint32_t);
    w->picture = SL_NEW(arena, SL_CELLS, float);
    return w->sum && w->change && w->picture && sl_pleura_cells_new(arena, &w->cells) &&
           sl_line_search_new(arena, first_row(view), (int)(PLEURA_DEEPEST * ROWS), &w->search);
}

sl_status sl_pleura_find_weighted(const sl_stack *stack, const float *weight, sl_arena *arena,
                                  sl_pleura *pleura, sl_error *error)
{
    memset(pleura, 0, sizeof *pleura);
    pleura->depth = pleura->depth_low = pleura->depth_high = NAN;
    pleura->beams.widest = -1;
    int frames = stack->frames, per = PLEURA_BLOCK_FRAMES;
    if (stack->times_known && stack->frame_s > 0)
        per = (int)(PLEURA_BLOCK_S / stack->frame_s + 0.5);
    pleura->block_frames = per = per < 1 ? 1 : per;
    pleura->blocks = frames > 0 ? (frames + per - 1) / per : 0;

    float *row = SL_NEW(arena, pleura->blocks * BEAMS + 1, float), *mean = SL_NEW(arena, SL_CELLS, float),
          *change = SL_NEW(arena, SL_CELLS, float);
    double *median = SL_NEW(arena, pleura->blocks + 1, double);
    work w;
    if (!row || !mean || !change || !median || !work_new(arena, stack->view, &w))
        return sl_fail(error, SL_MEMORY,
                       "Memory ran out while finding the pleural line; close other programs and "
                       "read the clip again.");
    w.weight = weight;
    pleura->row = row;
    pleura->mean = mean;
    for (int j = 0; j < BEAMS; j++) {
        pleura->line[j] = NAN;
        pleura->beams.kind[j] = SL_BEAM_OUTSIDE;
    }
    for (int k = 0; k < pleura->blocks * BEAMS; k++)
        row[k] = NAN;
    if (frames < 1)
        return SL_OK;

    for (int f = 0; f < frames; f++) {
        add_frame(sl_stack_frame(stack, f), w.sum);
        if (f)
            add_change(sl_stack_frame(stack, f - 1), sl_stack_frame(stack, f), w.change);
    }
    to_mean(w.sum, frames, mean);
    find_extent(stack->mask, &w);
    float level = sl_pleura_level(mean, stack->mask);
    if (!w.beams_inside || level < PLEURA_BLACK)
        return SL_OK;
    if (frames > 1) {
        to_mean(w.change, frames - 1, change);
        pleura->change = change;
        memcpy(w.picture, change, SL_CELLS * sizeof *change);
        carry_on(&w, w.picture);
    }
    sl_pleura_cells_change(&w.cells, frames > 1 ? w.picture : NULL, level);
    memcpy(w.picture, mean, SL_CELLS * sizeof *mean);
    carry_on(&w, w.picture);
    find_clip_line(stack, &w, pleura);
    _Static_assert((int)SCENE_SIGNS == (int)SL_PLEURA_SCENE, "the signs have room in sl_pleura");
    bool looked = sl_pleura_scene(mean, stack->mask, &w.cells, pleura->line, &pleura->beams, pleura->scene);
    find_block_lines(stack, &w, pleura, row);
    find_depth(pleura, median);
    judge(looked, pleura);
    return SL_OK;
}

sl_status sl_pleura_find(const sl_stack *stack, sl_arena *arena, sl_pleura *pleura, sl_error *error)
{
    return sl_pleura_find_weighted(stack, pleura_weight, arena, pleura, error);
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
