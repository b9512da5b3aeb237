#include "reading/strips.h"

#include "core/straight.h"
#include "core/units.h"
#include "reading/filters.h"
#include "reading/still.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Rows of the clip's line at which the strip's row i lies. The wall's strip reaches up to half of the way to the near edge
 * where the pleura is shallow. */
static float strip_row(float line, int i)
{
    if (i < STRIP_LUNG_ROWS)
        return line + (float)(STRIP_LUNG_FROM + i);
    float step = 1, room = 0.55f * line - STRIP_WALL_GAP;
    if (room < STRIP_WALL_ROWS)
        step = room / STRIP_WALL_ROWS;
    return line - STRIP_WALL_GAP - step * (float)(i - STRIP_LUNG_ROWS);
}

/* Brightest of the line's rows and mean of the wall above it. */
typedef struct glow {
    float line, wall;
} glow;

static glow glow_at(const sl_pleura *pleura, float line, int j)
{
    glow g = {0, 0};
    for (int i = -1; i <= 3; i++) {
        int row = (int)(line + 0.5f) + i;
        if (row >= 0 && row < SL_DEPTHS)
            g.line = fmaxf(g.line, pleura->mean[row * SL_BEAMS + j]);
    }
    for (int i = STRIP_LUNG_ROWS; i < STRIP_ROWS; i++) {
        int row = (int)strip_row(line, i);
        g.wall += row >= 0 && row < SL_DEPTHS ? pleura->mean[row * SL_BEAMS + j] / STRIP_WALL_ROWS : 0;
    }
    return g;
}

/* Over a few beams either side, for grains of speckle. `at`: rows of the line, beam by beam. */
static glow glow_near(const sl_pleura *pleura, const float *at, int j)
{
    glow sum = {0, 0};
    float beams = 0;
    for (int k = j - STRIP_LIT_BEAMS; k <= j + STRIP_LIT_BEAMS; k++)
        if (k >= 0 && k < SL_BEAMS && isfinite(at[k])) {
            glow g = glow_at(pleura, at[k], k);
            sum.line += g.line;
            sum.wall += g.wall;
            beams++;
        }
    return (glow){sum.line / fmaxf(beams, 1), sum.wall / fmaxf(beams, 1)};
}

/* A bright line with dark below is not always a rib: under free air nothing comes back but the line and its repeats. A rib's
 * shadow begins above the pleura's depth, so that the line itself is dark there; where the probe has no contact the wall is
 * dark too. `usual`: of the spaces' beams; `over_wall`: times the wall. */
static bool line_is_lit(const sl_pleura *pleura, const float *at, int j, glow usual, float over_wall)
{
    glow g = glow_near(pleura, at, j);
    return g.line > over_wall * g.wall && g.line > STRIP_LIT_SHARE * usual.line && g.wall > STRIP_LIT_SHARE * usual.wall;
}

static glow usual_glow(const sl_pleura *pleura, const float *use)
{
    glow sum = {0, 0};
    float beams = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (use[j] > 0) {
            glow g = glow_at(pleura, pleura->line[j], j);
            sum.line += g.line;
            sum.wall += g.wall;
            beams++;
        }
    return beams > 0 ? (glow){sum.line / beams, sum.wall / beams} : sum;
}

/* Grows the beams of the spaces one way over those that look like a rib's, as long as the line is lit and goes straight on: a
 * rib's cap lies millimetres nearer. Returns the last. */
static int grow(const sl_pleura *pleura, int from, int by, glow usual, float *use)
{
    const float *line = pleura->line;
    int behind = from, left = STRIP_STRAIGHT_BEAMS, j = from + by;
    while (left > 0 && behind - by >= 0 && behind - by < SL_BEAMS && use[behind - by] > 0) {
        behind -= by;
        left--;
    }
    int back = abs(from - behind);
    float slope = back >= STRIP_STRAIGHT_BEAMS / 2 ? (line[from] - line[behind]) / (float)back : 0;
    for (; j >= 0 && j < SL_BEAMS; j += by) {
        bool on = pleura->beams.kind[j] == SL_BEAM_RIB && isfinite(line[j]) && line_is_lit(pleura, line, j, usual, STRIP_LIT) &&
                  fabsf(line[j] - line[j - by]) < STRIP_STEP_MOST &&
                  fabsf(line[j] - line[from] - slope * (float)abs(j - from)) < STRIP_BEND_MOST;
        if (!on)
            break;
        use[j] = 1;
    }
    return j - by;
}

/* Over air, where the line is all there is, a layer of the wall or a repeat is often taken for it: where the one that was found leaves the
 * straight one at `from`, and that is lit, it is followed instead. */
static void go_straight(const sl_pleura *pleura, int from, int by, glow usual, float *use, float *line)
{
    sl_straight seen = {0};
    for (int j = from; seen.n < STRIP_ON_BEAMS && j >= 0 && j < SL_BEAMS && use[j] > 0; j -= by)
        sl_straight_add(&seen, j, (double)line[j]);
    if (seen.n < STRIP_STRAIGHT_BEAMS)
        return;
    double slope = sl_straight_slope(&seen, 0);
    float straight[SL_BEAMS];
    for (int j = 0; j < SL_BEAMS; j++)
        straight[j] = (float)sl_straight_at(&seen, slope, j);
    int count = 0, j = from + by;
    for (; count < STRIP_ON_BEAMS && j >= 0 && j < SL_BEAMS && pleura->beams.kind[j] == SL_BEAM_RIB && !(use[j] > 0) &&
           line_is_lit(pleura, straight, j, usual, STRIP_ON_LIT); j += by)
        count++;
    if (j >= 0 && j < SL_BEAMS && use[j] > 0 && fabsf(line[j] - straight[j]) > STRIP_BEND_MOST)
        count -= STRIP_ON_APART;
    for (j = from + by; count > 0; count--, j += by) {
        line[j] = straight[j];
        use[j] = 1;
    }
}

static void find_use(const sl_stack *stack, const sl_pleura *pleura, bool over_air, float *use, float *line)
{
    int first[SL_SPACES_MOST], last[SL_SPACES_MOST];
    memcpy(line, pleura->line, SL_BEAMS * sizeof *line);
    for (int j = 0; j < SL_BEAMS; j++)
        use[j] = isfinite(pleura->line[j]) && pleura->beams.kind[j] == SL_BEAM_SPACE;
    glow usual = usual_glow(pleura, use);
    if (over_air)
        for (int s = 0; s < pleura->beams.spaces; s++) {
            first[s] = grow(pleura, pleura->beams.space[s].first, -1, usual, use);
            last[s] = grow(pleura, pleura->beams.space[s].last, 1, usual, use);
        }
    for (int s = 0; over_air && s < pleura->beams.spaces; s++) {
        go_straight(pleura, first[s], -1, usual, use, line);
        go_straight(pleura, last[s], 1, usual, use, line);
    }
    for (int j = 0; j < SL_BEAMS; j++)
        for (int i = 0; i < STRIP_ROWS && use[j] > 0; i++) {
            int row = (int)strip_row(line[j], i);
            if (row < 2 || row >= SL_DEPTHS - 3 || !stack->mask[row * SL_BEAMS + j])
                use[j] = 0;
        }
}

enum { PROFILE = 2 * STRIP_PROFILE + 1 };

/* Mean grey of the beams over depth about the clip's line, less its own mean. */
static void profile_of(const uint8_t *cell, const float *line, const float *use, float *restrict profile)
{
    double all = 0;
    for (int k = 0; k < PROFILE; k++)
        profile[k] = 0;
    for (int j = 0; j < SL_BEAMS; j++) {
        if (!(use[j] > 0))
            continue;
        int first = (int)(line[j] + 0.5f) - STRIP_PROFILE;
        for (int k = 0; k < PROFILE; k++) {
            int row = first + k;
            profile[k] += row >= 0 && row < SL_DEPTHS ? (float)cell[row * SL_BEAMS + j] : 0;
        }
    }
    for (int k = 0; k < PROFILE; k++)
        all += (double)profile[k];
    for (int k = 0; k < PROFILE; k++)
        profile[k] -= (float)(all / PROFILE);
}

static double likeness(const float *profile, const double *like, int shift)
{
    double sum = 0, a = 0, b = 0;
    for (int k = STRIP_RISE_ROWS; k < PROFILE - STRIP_RISE_ROWS; k++) {
        double p = (double)profile[k + shift];
        sum += p * like[k];
        a += p * p;
        b += like[k] * like[k];
    }
    return a * b > 0 ? sum / sqrt(a * b) : 0;
}

static float best_shift(const float *profile, const double *like)
{
    double value[2 * STRIP_RISE_ROWS + 1];
    int best = STRIP_RISE_ROWS;
    for (int s = -STRIP_RISE_ROWS; s <= STRIP_RISE_ROWS; s++)
        value[s + STRIP_RISE_ROWS] = likeness(profile, like, s);
    for (int s = 0; s <= 2 * STRIP_RISE_ROWS; s++)
        if (value[s] > value[best])
            best = s;
    double off = 0;
    if (best > 0 && best < 2 * STRIP_RISE_ROWS) {
        double bend = value[best - 1] - 2 * value[best] + value[best + 1];
        off = bend < 0 ? 0.5 * (value[best - 1] - value[best + 1]) / bend : 0;
    }
    return (float)(best - STRIP_RISE_ROWS + off);
}

/* How far the line lies deeper than on the clip's mean in each frame: the frame's profile over depth against the mean one,
 * found again from the profiles so aligned. The line is by far its strongest part. */
static bool find_rise(const sl_stack *stack, const sl_pleura *pleura, const float *use, sl_arena *arena, float *rise)
{
    float *profile = SL_NEW(arena, (size_t)stack->frames * PROFILE + 1, float);
    if (!profile)
        return false;
    for (int t = 0; t < stack->frames; t++)
        profile_of(sl_stack_frame(stack, t), pleura->line, use, profile + (size_t)t * PROFILE);
    for (int round = 0; round < 3; round++) {
        double like[PROFILE] = {0};
        for (int t = 0; t < stack->frames; t++) {
            int by = (int)lrintf(rise[t]);
            for (int k = 0; k < PROFILE; k++)
                like[k] += k + by >= 0 && k + by < PROFILE ? (double)profile[(size_t)t * PROFILE + (size_t)(k + by)] : 0;
        }
        for (int t = 0; t < stack->frames; t++)
            rise[t] = best_shift(profile + (size_t)t * PROFILE, like);
    }
    return true;
}

/* Where each value of a strip is taken: whole cells and the share of the next row. */
typedef struct places {
    int cell[STRIP_ROWS * SL_BEAMS];
    float part[STRIP_ROWS * SL_BEAMS];
} places;

static void place(const float *line, const float *use, float rise, places *p)
{
    for (int i = 0; i < STRIP_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++) {
            float row = use[j] > 0 ? strip_row(line[j], i) + rise : 0;
            row = row < 0 ? 0 : row > SL_DEPTHS - 2 ? SL_DEPTHS - 2 : row;
            int whole = (int)row;
            p->cell[i * SL_BEAMS + j] = whole * SL_BEAMS + j;
            p->part[i * SL_BEAMS + j] = row - (float)whole;
        }
}

static void cut(const uint8_t *cell, const places *p, const float *use, float *restrict out)
{
    for (int i = 0; i < STRIP_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++) {
            const uint8_t *at = cell + p->cell[i * SL_BEAMS + j];
            out[i * SL_BEAMS + j] =
                use[j] * ((float)at[0] + p->part[i * SL_BEAMS + j] * ((float)at[SL_BEAMS] - (float)at[0]));
        }
}

/* Difference of two means along the beams, each over the beams that may be looked at only. */
static void band_pass(const sl_filter *narrow, const sl_filter *wide, const float *use, const float *narrow_use,
                      const float *wide_use, const float *in, float *spare, float *restrict out)
{
    sl_filter_beams(narrow, in, STRIP_ROWS, out);
    sl_filter_beams(wide, in, STRIP_ROWS, spare);
    for (int i = 0; i < STRIP_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++)
            out[i * SL_BEAMS + j] = use[j] * (out[i * SL_BEAMS + j] * narrow_use[j] - spare[i * SL_BEAMS + j] * wide_use[j]);
}

static void weights(const sl_filter *filter, const float *use, float *out)
{
    sl_filter_beams(filter, use, 1, out);
    for (int j = 0; j < SL_BEAMS; j++)
        out[j] = out[j] > 0.05f ? 1 / out[j] : 0;
}

/* Every row with the same say: bright rows vary more where grey is not a logarithm. Rows of mere noise are not raised. */
static void level_rows(int frames, float *value)
{
    float scale[STRIP_ROWS];
    for (int i = 0; i < STRIP_ROWS; i++) {
        double power = 0;
        for (int t = 0; t < frames; t++) {
            const float *v = value + ((size_t)t * STRIP_ROWS + (size_t)i) * SL_BEAMS;
            float lane[SL_BEAMS / 8] = {0};
            for (int j = 0; j < SL_BEAMS; j++)
                lane[j % (SL_BEAMS / 8)] += v[j] * v[j];
            for (int j = 0; j < SL_BEAMS / 8; j++)
                power += (double)lane[j];
        }
        scale[i] = (float)(1 / (sqrt(power / ((double)frames * SL_BEAMS)) + STRIP_ROW_FLOOR));
    }
    for (int t = 0; t < frames; t++)
        for (int i = 0; i < STRIP_ROWS; i++) {
            float *v = value + ((size_t)t * STRIP_ROWS + (size_t)i) * SL_BEAMS;
            for (int j = 0; j < SL_BEAMS; j++)
                v[j] *= scale[i];
        }
}

sl_status sl_strips_cut(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_strips *strips, sl_error *error)
{
    enum { SIZE = STRIP_ROWS * SL_BEAMS };
    memset(strips, 0, sizeof *strips);
    strips->frames = stack->frames;
    float *value = SL_NEW(arena, (size_t)stack->frames * SIZE + 1, float);
    float *rise = SL_NEW(arena, stack->frames + 1, float);
    float *raw = SL_NEW(arena, 2 * SIZE, float);
    places *p = SL_NEW(arena, 1, places);
    if (!value || !rise || !raw || !p)
        return sl_fail(error, SL_MEMORY, "Memory ran out while movement was followed.");
    find_use(stack, pleura, false, strips->use, strips->line);
    find_use(stack, pleura, true, strips->lit, strips->line);
    if (!find_rise(stack, pleura, strips->use, arena, rise))
        return sl_fail(error, SL_MEMORY, "Memory ran out while movement was followed.");
    sl_filter narrow, wide;
    sl_filter_gauss(STRIP_NARROW, &narrow);
    sl_filter_gauss(STRIP_WIDE, &wide);
    float narrow_use[SL_BEAMS], wide_use[SL_BEAMS];
    weights(&narrow, strips->lit, narrow_use);
    weights(&wide, strips->lit, wide_use);
    for (int t = 0; t < stack->frames; t++) {
        place(strips->line, strips->lit, rise[t], p);
        cut(sl_stack_frame(stack, t), p, strips->lit, raw);
        band_pass(&narrow, &wide, strips->lit, narrow_use, wide_use, raw, raw + SIZE, value + (size_t)t * SIZE);
    }
    level_rows(stack->frames, value);
    strips->still = sl_still_lung(strips->lit, stack->frames, arena, value);
    if (!strips->still || !sl_still_wall(stack->frames, arena, value))
        return sl_fail(error, SL_MEMORY, "Memory ran out while movement was followed.");
    double lung = 0, wall = 0, beams = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (strips->use[j] > 0) {
            lung += (double)pleura->line[j];
            wall += (double)strip_row(pleura->line[j], STRIP_LUNG_ROWS + STRIP_WALL_ROWS / 2);
            beams++;
        }
    strips->lung_depth = beams > 0 ? (lung / beams + 0.5) / SL_DEPTHS : SL_UNKNOWN;
    strips->wall_depth = beams > 0 ? (wall / beams + 0.5) / SL_DEPTHS : SL_UNKNOWN;
    strips->value = value;
    strips->rise = rise;
    return SL_OK;
}
