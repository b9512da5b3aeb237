#include "reading/flicker.h"

#include "core/units.h"
#include "reading/filters.h"
#include "reading/signs.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PROFILE = FLICKER_BANDS * SL_BEAMS };

/* First row of a band when the bands begin at row `first`. */
static int band_row(int first, int band)
{
    return first + (FLICKER_LAST_ROW - first) * band / FLICKER_BANDS;
}

/* Mean grey of each band and beam. `scale` is 1 / cells inside, 0 where none. Cells outside the picture are 0. */
static void frame_profile(const uint8_t *restrict cell, int first_row, const float *restrict scale,
                          float *restrict profile)
{
    for (int band = 0; band < FLICKER_BANDS; band++) {
        uint16_t sum[SL_BEAMS] = {0};
        for (int row = band_row(first_row, band); row < band_row(first_row, band + 1); row++)
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] = (uint16_t)(sum[j] + cell[row * SL_BEAMS + j]);
        for (int j = 0; j < SL_BEAMS; j++)
            profile[band * SL_BEAMS + j] = (float)sum[j] * scale[band * SL_BEAMS + j];
    }
}

static void look_at_mask(const uint8_t *mask, int first_row, float *scale, uint8_t *inside)
{
    memset(inside, 1, SL_BEAMS);
    for (int band = 0; band < FLICKER_BANDS; band++)
        for (int j = 0; j < SL_BEAMS; j++) {
            int cells = 0, rows = band_row(first_row, band + 1) - band_row(first_row, band);
            for (int row = band_row(first_row, band); row < band_row(first_row, band + 1); row++)
                cells += mask[row * SL_BEAMS + j];
            scale[band * SL_BEAMS + j] = cells ? 1.0f / (float)cells : 0;
            if (2 * cells <= rows)
                inside[j] = 0;
        }
}

/* Whole beams by which `b` must be moved to lie on `a`: least mean squared difference of the profiles. */
static int register_pair(const float *restrict a, const float *restrict b)
{
    int best = 0;
    float least = INFINITY;
    for (int shift = -FLICKER_SHIFT_MOST; shift <= FLICKER_SHIFT_MOST; shift++) {
        int skip = shift < 0 ? -shift : shift, overlap = SL_BEAMS - skip;
        const float *from = a + (shift < 0 ? skip : 0), *to = b + (shift < 0 ? 0 : skip);
        float lane[SL_BEAMS] = {0}, sum = 0;
        for (int band = 0; band < FLICKER_BANDS; band++)
            for (int j = 0; j < overlap; j++) {
                float d = to[band * SL_BEAMS + j] - from[band * SL_BEAMS + j];
                lane[j] += d * d;
            }
        for (int j = 0; j < overlap; j++)
            sum += lane[j];
        sum /= (float)overlap;
        if (sum < least) {
            least = sum;
            best = shift;
        }
    }
    return best;
}

static double dot(const float *restrict a, const float *restrict b)
{
    float lane[SL_BEAMS] = {0};
    for (int band = 0; band < FLICKER_BANDS; band++)
        for (int j = 0; j < SL_BEAMS; j++)
            lane[j] += a[band * SL_BEAMS + j] * b[band * SL_BEAMS + j];
    double sum = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        sum += (double)lane[j];
    return sum;
}

/* Takes the projection on `along` out of `from`, at most `most` times `along`. */
static void take_out(float *restrict from, const float *restrict along, double along_squared, double most)
{
    if (!(along_squared > 0))
        return;
    double exact = dot(from, along) / along_squared;
    float share = (float)(exact > most ? most : exact < -most ? -most : exact);
    for (int i = 0; i < PROFILE; i++)
        from[i] -= share * along[i];
}

typedef struct pair_work {
    float change[PROFILE], level[PROFILE], slope[PROFILE];
    float use[SL_BEAMS];
} pair_work;

/* change = b moved by shift - a, level their mean, slope its derivative over the beams; 0 where not both exist. */
static void difference(const float *restrict a, const float *restrict b, int shift, const uint8_t *inside, pair_work *w)
{
    memset(w, 0, sizeof *w);
    int first = shift < 0 ? -shift : 0, last = shift > 0 ? SL_BEAMS - shift : SL_BEAMS;
    for (int j = first; j < last; j++)
        w->use[j] = inside[j];
    for (int band = 0; band < FLICKER_BANDS; band++) {
        const float *x = a + band * SL_BEAMS, *y = b + band * SL_BEAMS;
        float *change = w->change + band * SL_BEAMS, *level = w->level + band * SL_BEAMS;
        float *slope = w->slope + band * SL_BEAMS;
        for (int j = first; j < last; j++) {
            change[j] = (y[j + shift] - x[j]) * w->use[j];
            level[j] = 0.5f * (y[j + shift] + x[j]);
        }
        for (int j = first; j < last; j++) {
            int left = j > first ? j - 1 : j, right = j < last - 1 ? j + 1 : j;
            slope[j] = (level[right] - level[left]) / (float)(right - left) * w->use[j];
        }
        for (int j = first; j < last; j++)
            level[j] *= w->use[j];
    }
}

/* Sums over the beams of a pair. */
typedef struct pair_sum {
    double coherent, variance, cells;
} pair_sum;

static void read_pair(const float *a, const float *b, sl_flicker *flicker, pair_work *w, float *restrict coherent,
                      float *restrict variance, int8_t *shift, pair_sum *pair)
{
    *shift = (int8_t)register_pair(a, b);
    difference(a, b, *shift, flicker->inside, w);
    double slope_squared = dot(w->slope, w->slope);
    take_out(w->change, w->slope, slope_squared, FLICKER_SHIFT_REST);
    take_out(w->level, w->slope, slope_squared, INFINITY); /* so that the second direction is a new one */
    take_out(w->change, w->level, dot(w->level, w->level), FLICKER_GAIN_MOST);
    float mean[SL_BEAMS] = {0}, square[SL_BEAMS] = {0};
    for (int band = 0; band < FLICKER_BANDS; band++)
        for (int j = 0; j < SL_BEAMS; j++) {
            float e = w->change[band * SL_BEAMS + j];
            mean[j] += e;
            square[j] += e * e;
        }
    const float n = FLICKER_BANDS;
    for (int j = 0; j < SL_BEAMS; j++) {
        coherent[j] = (mean[j] * mean[j] - square[j]) / (n * (n - 1)); /* mean[] still is n times the mean */
        variance[j] = square[j] / n;
        pair->coherent += (double)coherent[j];
        pair->variance += (double)variance[j];
        pair->cells += (double)w->use[j];
    }
    flicker->sway_sum += abs(*shift);
}

static int lag_of(const sl_stack *stack)
{
    int lag = FLICKER_LAG_FRAMES;
    if (stack->times_known && sl_known(stack->frame_s) && stack->frame_s > 0)
        lag = (int)(FLICKER_LAG_S / stack->frame_s + 0.5);
    lag = lag < 1 ? 1 : lag;
    return lag < stack->frames ? lag : stack->frames - 1;
}

static int first_row_of(double pleura_row)
{
    int row = sl_known(pleura_row) ? (int)pleura_row + FLICKER_BELOW_PLEURA : 0;
    row = row < FLICKER_FIRST_ROW ? FLICKER_FIRST_ROW : row;
    return row < FLICKER_FIRST_MOST ? row : FLICKER_FIRST_MOST;
}

/* Beams that look into a space; all where these are too few. */
static void look_at_spaces(const sl_beams *beams, uint8_t *inside)
{
    int spaces = 0;
    for (int j = 0; beams && j < SL_BEAMS; j++)
        spaces += inside[j] && beams->kind[j] == SL_BEAM_SPACE;
    for (int j = 0; spaces >= FLICKER_SPACE_LEAST && j < SL_BEAMS; j++)
        inside[j] = inside[j] && beams->kind[j] == SL_BEAM_SPACE;
}

/* Counts the level of every window of FLICKER_WINDOW_PAIRS pairs, or of the one there is. */
static void count_levels(const pair_sum *pair, int pairs, sl_flicker_levels *levels)
{
    int window = pairs < FLICKER_WINDOW_PAIRS ? pairs : FLICKER_WINDOW_PAIRS;
    for (int first = 0; pairs && first + window <= pairs; first++) {
        pair_sum sum = {0};
        for (int t = first; t < first + window; t++) {
            sum.coherent += pair[t].coherent;
            sum.variance += pair[t].variance;
            sum.cells += pair[t].cells;
        }
        if (!(sum.cells > 0))
            continue;
        double index = sum.coherent / (sum.variance + FLICKER_FLOOR * sum.cells);
        int level = (int)((sl_ln_flicker(index) - FLICKER_LEVEL_LEAST) / FLICKER_LEVEL_STEP);
        levels->count[level < FLICKER_LEVELS ? level : FLICKER_LEVELS - 1]++;
    }
}

sl_status sl_flicker_measure(const sl_stack *stack, double pleura_row, const sl_beams *beams, sl_arena *arena,
                             sl_flicker *flicker, sl_error *error)
{
    memset(flicker, 0, sizeof *flicker);
    int frames = stack->frames;
    flicker->frames = frames;
    flicker->first_row = first_row_of(pleura_row);
    flicker->lag = frames > 1 ? lag_of(stack) : 0;
    flicker->pairs = frames > 1 ? frames - flicker->lag : 0;
    float *profile = SL_NEW(arena, (size_t)frames * PROFILE + 1, float);
    float *edge = SL_NEW(arena, (size_t)frames * PROFILE + 1, float);
    float *coherent = SL_NEW(arena, (size_t)flicker->pairs * SL_BEAMS + 1, float);
    float *variance = SL_NEW(arena, (size_t)flicker->pairs * SL_BEAMS + 1, float);
    int8_t *shift = SL_NEW(arena, flicker->pairs + 1, int8_t);
    float *scale = SL_NEW(arena, PROFILE, float);
    pair_work *work = SL_NEW(arena, 1, pair_work);
    pair_sum *pair = SL_NEW(arena, flicker->pairs + 1, pair_sum);
    if (!profile || !edge || !coherent || !variance || !shift || !scale || !work || !pair)
        return sl_fail(error, SL_MEMORY, "Memory ran out while B-lines were looked for.");
    look_at_mask(stack->mask, flicker->first_row, scale, flicker->inside);
    look_at_spaces(beams, flicker->inside);
    sl_filter band;
    sl_filter_band(FLICKER_NARROW, FLICKER_WIDE, &band);
    for (int t = 0; t < frames; t++) {
        frame_profile(sl_stack_frame(stack, t), flicker->first_row, scale, profile + (size_t)t * PROFILE);
        sl_filter_beams(&band, profile + (size_t)t * PROFILE, FLICKER_BANDS, edge + (size_t)t * PROFILE);
    }
    for (int t = 0; t < flicker->pairs; t++)
        read_pair(edge + (size_t)t * PROFILE, edge + (size_t)(t + flicker->lag) * PROFILE, flicker, work,
                  coherent + (size_t)t * SL_BEAMS, variance + (size_t)t * SL_BEAMS, shift + t, pair + t);
    count_levels(pair, flicker->pairs, &flicker->levels);
    flicker->profile = profile;
    flicker->edge = edge;
    flicker->coherent = coherent;
    flicker->variance = variance;
    flicker->shift = shift;
    return SL_OK;
}

double sl_flicker_index(const sl_flicker_levels *levels)
{
    double windows = 0, below = 0;
    for (int i = 0; i < FLICKER_LEVELS; i++)
        windows += levels->count[i];
    for (int i = 0; i < FLICKER_LEVELS; i++) {
        double here = levels->count[i];
        if (here > 0 && below + here >= FLICKER_SHARE * windows) {
            double part = (FLICKER_SHARE * windows - below) / here;
            return sl_flicker_of_ln(FLICKER_LEVEL_LEAST + FLICKER_LEVEL_STEP * (i + part));
        }
        below += here;
    }
    return SL_UNKNOWN;
}
