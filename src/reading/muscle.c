#include "reading/muscle.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/motion_table.h"

#include <stdlib.h>
#include <string.h>

/* Mean grey of the space over depth, and how far each row stands out. */
typedef struct profiles {
    int frames, rows;
    float *grey, *over;       /* [frames][rows] */
} profiles;

static const char no_room[] = "Memory ran out while the diaphragm's thickness was followed.";

/* The widest run of beams in which there is something far down, as there is below a space but not below a rib. */
static bool widest(const sl_pleura *pleura, const uint8_t *mask, int *first, int *last)
{
    double deep[SL_BEAMS], sorted[SL_BEAMS];
    int best = 0;
    for (int j = 0; j < SL_BEAMS; j++) {
        double sum = 0;
        int n = 0;
        for (int r = (int)(MUSCLE_DEEP_FROM * SL_DEPTHS); r < (int)(MUSCLE_DEEP_TO * SL_DEPTHS); r++)
            if (mask[r * SL_BEAMS + j]) {
                sum += (double)pleura->mean[r * SL_BEAMS + j];
                n++;
            }
        sorted[j] = deep[j] = n ? sum / n : SL_UNKNOWN;
    }
    double least = MUSCLE_DEEP_SHARE * sl_quantile(sorted, SL_BEAMS, 0.75);
    for (int j = 0, from = 0; j <= SL_BEAMS; j++)
        if (j == SL_BEAMS || !(deep[j] > least)) {
            if (j - from > best) {
                best = j - from;
                *first = from + MUSCLE_RIM;
                *last = j - 1 - MUSCLE_RIM;
            }
            from = j + 1;
        }
    return best >= MUSCLE_BEAMS_LEAST;
}

/* Rows a beam by which the layers lean: where the mean profile across the beams is sharpest. */
static float lean_of(const sl_pleura *pleura, int first, int last)
{
    float best_lean = 0;
    double best = 0;
    for (int i = -MUSCLE_LEANS; i <= MUSCLE_LEANS; i++) {
        float lean = (float)i * MUSCLE_LEAN;
        double sharp = 0, before = 0;
        for (int k = 8; k < SL_DEPTHS - 8; k++) {
            double sum = 0;
            for (int j = first; j <= last; j++) {
                int r = k + (int)lrintf(lean * (float)(j - (first + last) / 2));
                sum += r >= 0 && r < SL_DEPTHS ? (double)pleura->mean[r * SL_BEAMS + j] : 0;
            }
            sum /= last - first + 1;
            sharp += k > 8 ? (sum - before) * (sum - before) : 0;
            before = sum;
        }
        if (sharp > best) {
            best = sharp;
            best_lean = lean;
        }
    }
    return best_lean;
}

static void cut(const sl_stack *stack, const float *course, int first, int last, profiles *p)
{
    for (int t = 0; t < p->frames; t++) {
        const uint8_t *cell = sl_stack_frame(stack, t);
        float *grey = p->grey + (size_t)t * (size_t)p->rows, *over = p->over + (size_t)t * (size_t)p->rows;
        for (int k = 0; k < p->rows; k++) {
            float sum = 0;
            int n = 0;
            for (int j = first; j <= last; j++) {
                float row = (float)k + course[j];
                int whole = (int)floorf(row);
                if (whole < 0 || whole >= SL_DEPTHS - 1 || !stack->mask[whole * SL_BEAMS + j])
                    continue;
                const uint8_t *at = cell + whole * SL_BEAMS + j;
                sum += (float)at[0] + (row - (float)whole) * ((float)at[SL_BEAMS] - (float)at[0]);
                n++;
            }
            grey[k] = n ? sum / (float)n : 0;
        }
        for (int k = 4; k < p->rows - 4; k++) {
            float above = 0.5f * (grey[k - 3] + grey[k - 4]), below = 0.5f * (grey[k + 3] + grey[k + 4]);
            float v = (grey[k - 1] + grey[k] + grey[k + 1]) / 3 - (above > below ? above : below);
            over[k] = v > 0 ? v : 0;
        }
    }
}

/* How the two lines run across the beams: each few beams' mean profile about them, carried back to the first frame, against that
 * of all. */
static void straighten(const sl_stack *stack, const profiles *p, const int *upper, const int *gap, int first, int last, float *course)
{
    enum { WIDE = 4, REACH = 5, ROOM = 2 * SL_DEPTHS };
    float all[ROOM] = {0}, here[ROOM], shift[SL_BEAMS / WIDE + 1];
    int span = 0, blocks = (last - first + 1) / WIDE;
    for (int t = 0; t < p->frames; t++)
        span = gap[t] > span ? gap[t] : span;
    int rows = span + 12;
    for (int t = 0; t < p->frames; t++)
        for (int k = 0; k < rows; k++) {
            int r = upper[t] - 6 + k;
            all[k] += r >= 0 && r < p->rows ? p->grey[(size_t)t * (size_t)p->rows + (size_t)r] / (float)p->frames : 0;
        }
    for (int b = 0; b < blocks; b++) {
        int from = first + b * WIDE, step = 1 + p->frames / 60, n = 0;
        memset(here, 0, sizeof here);
        for (int t = 0; t < p->frames; t += step, n++)
            for (int k = 0; k < rows + 2 * REACH; k++)
                for (int j = from; j < from + WIDE; j++) {
                    int r = upper[t] - 6 - REACH + k + (int)lrintf(course[j]);
                    here[k] += r >= 0 && r < SL_DEPTHS ? (float)sl_stack_frame(stack, t)[r * SL_BEAMS + j] : 0;
                }
        double value[2 * REACH + 1];
        int best = REACH;
        for (int s = 0; s <= 2 * REACH; s++) {
            double a = 0, c = 0, ac = 0, aa = 0, cc = 0;
            for (int k = 0; k < rows; k++) {
                double x = (double)all[k], y = (double)here[k + s];
                a += x;
                c += y;
                ac += x * y;
                aa += x * x;
                cc += y * y;
            }
            double power = (aa - a * a / rows) * (cc - c * c / rows);
            value[s] = power > 0 ? (ac - a * c / rows) / sqrt(power) : 0;
            best = value[s] > value[best] ? s : best;
        }
        double bend = best > 0 && best < 2 * REACH ? value[best - 1] - 2 * value[best] + value[best + 1] : 0;
        shift[b] = (float)(best - REACH + (bend < 0 ? 0.5 * (value[best - 1] - value[best + 1]) / bend : 0));
        if (value[best] < MUSCLE_ALIKE || best == 0 || best == 2 * REACH)
            shift[b] = 0;
    }
    for (int j = first; j <= last && blocks > 1; j++) { /* between the middles of the blocks */
        float place = (float)(j - first - WIDE / 2) / WIDE;
        int b = place < 0 ? 0 : (int)place > blocks - 2 ? blocks - 2 : (int)place;
        float part = fminf(fmaxf(place - (float)b, 0), 1);
        course[j] += (1 - part) * shift[b] + part * shift[b + 1];
    }
}

/* Room of the search, for one place of it after the other. */
typedef struct room {
    float *sum;
    uint8_t *from;
} room;

/* Both lines at once: for every frame the upper line's row, one of `places` from `first`, and the gap to the lower one. */
static void follow(const profiles *p, int first, int places, int least, int gaps, room *r, int *upper, int *gap)
{
    size_t states = (size_t)places * (size_t)gaps;
    float *sum = r->sum, to[SL_DEPTHS + 1] = {0};
    uint8_t *from = r->from;
    for (int t = 0; t < p->frames; t++) {
        const float *grey = p->grey + (size_t)t * (size_t)p->rows, *over = p->over + (size_t)t * (size_t)p->rows;
        const float *before = sum + (size_t)((t + 1) % 2) * states;
        float *now = sum + (size_t)(t % 2) * states;
        uint8_t *came = from + (size_t)t * states;
        for (int k = 0; k < p->rows; k++)
            to[k + 1] = to[k] + grey[k];
        for (int u = 0; u < places; u++)
            for (int g = 0; g < gaps; g++) {
                int a = first + u, b = a + least + g;
                /* The fainter line counts, and how much darker it is between them. */
                float line = over[a] < over[b] ? over[a] : over[b], inner = (to[b - 2] - to[a + 3]) / (float)(b - a - 5 > 0 ? b - a - 5 : 1);
                float fainter = grey[a] < grey[b] ? grey[a] : grey[b];
                float score = line + MUSCLE_W_DARK * (b - a > 5 && fainter > inner ? fainter - inner : 0);
                float best = t ? -INFINITY : 0;
                int by = 4;
                for (int du = -1; t && du <= 1; du++)
                    for (int dg = -1; dg <= 1; dg++) {
                        if (u + du < 0 || u + du >= places || g + dg < 0 || g + dg >= gaps)
                            continue;
                        float v = before[(size_t)(u + du) * (size_t)gaps + (size_t)(g + dg)] - MUSCLE_STEP_COST * (float)(abs(du) + abs(dg));
                        if (v > best) {
                            best = v;
                            by = (du + 1) * 3 + dg + 1;
                        }
                    }
                now[(size_t)u * (size_t)gaps + (size_t)g] = best + score;
                came[(size_t)u * (size_t)gaps + (size_t)g] = (uint8_t)by;
            }
    }
    const float *end = sum + (size_t)((p->frames + 1) % 2) * states;
    size_t k = 0;
    for (size_t i = 0; i < states; i++)
        k = end[i] > end[k] ? i : k;
    for (int t = p->frames - 1; t >= 0; t--) {
        int u = (int)(k / (size_t)gaps), g = (int)(k % (size_t)gaps), by = from[(size_t)t * states + k];
        upper[t] = first + u;
        gap[t] = least + g;
        k = (size_t)(u + by / 3 - 1) * (size_t)gaps + (size_t)(g + by % 3 - 1);
    }
}

/* Where the line about row k rises: half of the way up from the darkest row before it. What lies behind a line (organ) widens it
 * to that side only. */
static double rise(const float *grey, int k)
{
    int best = k, dark;
    for (int i = k - 1; i <= k + 1; i++)
        best = grey[i] > grey[best] ? i : best;
    dark = best - 1;
    for (int i = best - 1; i >= best - 5 && i >= 0; i--)
        dark = grey[i] < grey[dark] ? i : dark;
    double half = 0.5 * ((double)grey[best] + (double)grey[dark]);
    for (int i = best; i > dark; i--) {
        double low = (double)grey[i - 1], high = (double)grey[i];
        if (low <= half && high > half)
            return i - 1 + (half - low) / (high - low);
    }
    return best;
}

/* From the middle of a line to where it has fallen half of the way to the level between the lines, towards `by`. */
static double to_edge(const float *grey, int k, int by, double inner)
{
    double half = 0.5 * ((double)grey[k] + inner);
    for (int i = 1; i < 8; i++)
        if ((double)grey[k + i * by] < half) {
            double a = (double)grey[k + (i - 1) * by], b = (double)grey[k + i * by];
            return i - 1 + (a > b ? (a - half) / (a - b) : 0);
        }
    return 0;
}

static double mean_grey(const float *grey, int first, int last, int rows)
{
    double sum = 0;
    int n = 0;
    for (int k = first < 0 ? 0 : first; k <= last && k < rows; k++, n++)
        sum += (double)grey[k];
    return n ? sum / n : 0;
}

/* What the two lines and what lies between and below look like. */
static void look(const profiles *p, const int *upper, const int *gap, sl_muscle *m)
{
    double line = 0, around = 0, square = 0, n = 0, dark = 0, organ = 0, lasting = 0, edges = 0;
    for (int t = 0; t < p->frames; t++) {
        const float *grey = p->grey + (size_t)t * (size_t)p->rows, *over = p->over + (size_t)t * (size_t)p->rows;
        int a = upper[t], b = a + gap[t];
        double inner = mean_grey(grey, a + 3, b - 3, p->rows), fainter = fmin((double)grey[a], (double)grey[b]);
        line += fmin((double)over[a], (double)over[b]) / p->frames;
        for (int k = b + 6; k < b + 30 && k < p->rows - 5; k++) {
            around += (double)over[k];
            square += (double)over[k] * (double)over[k];
            n++;
        }
        double near = mean_grey(grey, b + 4, b + 12, p->rows), far = mean_grey(grey, b + 20, p->rows - 1, p->rows);
        dark += (fainter > 1 ? (fainter - inner) / fainter : 0) / p->frames;
        organ += log((near + 4) / (inner + 4)) / p->frames;
        lasting += log((far + 4) / (near + 4)) / p->frames;
        edges += (to_edge(grey, a, 1, inner) + to_edge(grey, b, -1, inner)) / p->frames;
    }
    around /= n > 0 ? n : 1;
    double sd = n > 0 ? sqrt(fmax(square / n - around * around, 0)) : 0;
    m->clear = (line - around) / (sd + 0.5);
    m->dark = dark;
    m->organ = organ;
    m->lasting = lasting;
    m->edges = edges;
}

void sl_muscle_medians(sl_muscle *m)
{
    double low[BREATHS_MOST], high[BREATHS_MOST];
    m->whole = 0;
    m->thin_spread = m->thick_spread = 0;
    for (int b = 0; b < m->breaths.count; b++)
        if (m->breaths.breath[b].whole) {
            low[m->whole] = m->breaths.breath[b].low;
            high[m->whole++] = m->breaths.breath[b].high;
        }
    m->thin = sl_quantile(low, m->whole, 0.5);
    m->thick = sl_quantile(high, m->whole, 0.5);
    if (m->whole) {
        m->thin_spread = 0.5 * (low[m->whole - 1] - low[0]);
        m->thick_spread = 0.5 * (high[m->whole - 1] - high[0]);
    }
}

static double index_of(const sl_muscle *m)
{
    double share = m->thin > 0 ? (m->thick - m->thin) / m->thin : 0;
    double z = MUSCLE_INTERCEPT + MUSCLE_W_INNER * m->dark + MUSCLE_W_ORGAN * m->organ - MUSCLE_W_LASTING * fmin(fabs(m->lasting), 2) +
               MUSCLE_W_RHYTHM * fmax(m->rhythm.explained, 0) + MUSCLE_W_SHARE * fmin(fmax(share, 0), 0.5);
    return 1 / (1 + exp(-z));
}

/* Turns of a thickness over time. */
static bool breaths_of(const double *time_s, const double *thick, int n, double row_mm, sl_arena *arena, sl_breaths *breaths)
{
    return sl_breaths_find(time_s, thick, n, sl_known(row_mm) ? MUSCLE_TURN_MM / row_mm : MUSCLE_TURN_ROWS, arena, breaths);
}

bool sl_muscle_breaths(const double *time_s, const double *upper, const double *lower, int n, double row_mm, sl_arena *arena, sl_breaths *breaths)
{
    double *thick = SL_NEW(arena, n + 1, double);
    for (int t = 0; thick && t < n; t++)
        thick[t] = (lower[t] - upper[t]) * SL_DEPTHS;
    return thick && breaths_of(time_s, thick, n, row_mm, arena, breaths);
}

/* Keeps both lines of a place that is the best so far; `course`: of the beams' middle. */
static void keep_lines(const double *top, const double *thick, int n, double course, double *upper, double *lower)
{
    for (int t = 0; t < n; t++) {
        upper[t] = (top[t] + course + 0.5) / SL_DEPTHS;
        lower[t] = (top[t] + thick[t] + course + 0.5) / SL_DEPTHS;
    }
}

/* One place of the search: what is found there goes to `m`. */
static bool try_place(const sl_stack *stack, const profiles *p, int first, int places, room *r, int *upper, int *gap, double *top, double *thick,
                      const double *time_s, sl_arena *arena, sl_muscle *m)
{
    int least = (int)ceil(MUSCLE_LEAST_MM / m->row_mm), gaps = (int)(MUSCLE_MOST_MM / m->row_mm) - least + 1;
    follow(p, first, places, least, gaps, r, upper, gap);
    double row = 0;
    for (int t = 0; t < p->frames; t++) {
        const float *grey = p->grey + (size_t)t * (size_t)p->rows;
        top[t] = rise(grey, upper[t]);
        thick[t] = rise(grey, upper[t] + gap[t]) - top[t];
        row += (double)upper[t] / p->frames;
    }
    if (!breaths_of(time_s, thick, p->frames, m->row_mm, arena, &m->breaths) ||
        !sl_rhythm_find(time_s, thick, p->frames, BREATH_HZ_LEAST, BREATH_HZ_MOST, BREATH_FUNDAMENTAL, arena, &m->rhythm, NULL))
        return false;
    for (int b = 0; b < m->breaths.count; b++) {
        m->breaths.breath[b].from_source = stack->source[m->breaths.breath[b].from];
        m->breaths.breath[b].to_source = stack->source[m->breaths.breath[b].to];
    }
    m->depth = (row + 0.5) / SL_DEPTHS;
    look(p, upper, gap, m);
    sl_muscle_medians(m);
    m->index = index_of(m);
    return true;
}

sl_status sl_muscle_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_muscle *m, sl_error *error)
{
    memset(m, 0, sizeof *m);
    m->index = m->thin = m->thick = SL_UNKNOWN;
    double depth_mm = sl_view_depth_mm(stack->view);
    int n = stack->frames, first = 0, last = 0;
    m->row_mm = sl_known(depth_mm) ? depth_mm / SL_DEPTHS : SL_UNKNOWN;
    m->times_known = stack->times_known;
    m->frame_s = stack->times_known ? stack->frame_s : SL_UNKNOWN;
    m->reason = n < MOTION_FRAMES_LEAST || !pleura->mean ? "too few frames to see anything move"
                : !sl_known(m->row_mm)                   ? "the picture's scale is not known"
                : m->row_mm > MUSCLE_ROW_MOST_MM ? "the picture is too deep for the diaphragm's thickness: a linear probe, 6 cm or less"
                : m->row_mm < MUSCLE_ROW_LEAST_MM ? "the picture is too shallow to hold the chest wall and the diaphragm"
                : !widest(pleura, stack->mask, &first, &last) ? "no space between the ribs is wide enough"
                                                               : "";
    if (m->reason[0])
        return SL_OK;
    int places = (int)(MUSCLE_PLACE_MM / m->row_mm), gaps = (int)(MUSCLE_MOST_MM / m->row_mm) + 1;
    size_t states = (size_t)places * (size_t)gaps;
    profiles p = {.frames = n, .rows = SL_DEPTHS, .grey = SL_NEW(arena, (size_t)n * SL_DEPTHS, float),
                  .over = SL_NEW(arena, (size_t)n * SL_DEPTHS, float)};
    float course[SL_BEAMS] = {0}, lean = lean_of(pleura, first, last);
    for (int j = first; j <= last; j++)
        course[j] = lean * (float)(j - (first + last) / 2);
    room r = {SL_NEW(arena, 2 * states, float), SL_NEW(arena, (size_t)n * states, uint8_t)};
    int *upper = SL_NEW(arena, n, int), *gap = SL_NEW(arena, n, int);
    double *top = SL_NEW(arena, n, double), *thick = SL_NEW(arena, n, double), *time_s = SL_NEW(arena, n, double);
    double *above = SL_NEW(arena, n, double), *below = SL_NEW(arena, n, double);
    if (!r.sum || !r.from || !upper || !gap || !top || !thick || !time_s || !above || !below || !p.grey || !p.over)
        return sl_fail(error, SL_MEMORY, no_room);
    for (int t = 0; t < n; t++)
        time_s[t] = stack->times_known ? stack->time_s[t] : t * MOTION_FRAME_S;
    m->frames = n;
    m->index = 0;
    m->seconds = stack->times_known ? stack->time_s[n - 1] - stack->time_s[0] : SL_UNKNOWN;
    m->first_source = stack->source[0];
    m->last_source = stack->source[n - 1];
    m->first_time_s = stack->time_s[0];
    m->last_time_s = stack->time_s[n - 1];
    m->first_beam = (double)first / SL_BEAMS;
    m->last_beam = (last + 1.0) / SL_BEAMS;
    cut(stack, course, first, last, &p);
    /* The lines lie somewhere below the wall: one place after the other, half over the one before. */
    int best = -1;
    for (int from = (int)(MUSCLE_WALL_MM / m->row_mm); from + places + gaps < SL_DEPTHS - 6; from += places / 2) {
        sl_muscle here = *m;
        here.whole = 0;
        if (!try_place(stack, &p, from, places, &r, upper, gap, top, thick, time_s, arena, &here))
            return sl_fail(error, SL_MEMORY, no_room);
        if (here.index > m->index) {
            *m = here;
            best = from;
            keep_lines(top, thick, n, (double)course[(first + last) / 2], above, below);
        }
    }
    /* There once more, along the lines as they run. */
    sl_muscle found = *m;
    for (int round = 0; round < MUSCLE_ROUNDS && best >= 0; round++) {
        sl_muscle here = found;
        if (!round) {
            here.whole = 0;
            if (!try_place(stack, &p, best, places, &r, upper, gap, top, thick, time_s, arena, &here))
                return sl_fail(error, SL_MEMORY, no_room);
        }
        straighten(stack, &p, upper, gap, first, last, course);
        cut(stack, course, first, last, &p);
        here.whole = 0;
        if (!try_place(stack, &p, best, places, &r, upper, gap, top, thick, time_s, arena, &here))
            return sl_fail(error, SL_MEMORY, no_room);
        if (here.index > m->index) {
            *m = here;
            keep_lines(top, thick, n, (double)course[(first + last) / 2], above, below);
        }
    }
    if (best >= 0) {
        m->upper = above;
        m->lower = below;
    }
    return SL_OK;
}

void sl_muscle_merge(sl_muscle *into, const sl_muscle *from)
{
    if (!(into->frames > 0) || (from->frames > 0 && from->index > into->index))
        *into = *from;
}
