#include "reading/curtain.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/answer.h"
#include "reading/diaphragm_table.h"
#include "reading/motion_table.h"

#include <string.h>

typedef struct columns {
    int frames, first, last;    /* beams that can be used */
    float *value;               /* [frames][CURTAIN_BANDS][SL_BEAMS] */
    float scale[CURTAIN_BANDS]; /* standard deviation over time */
    float row[SL_BEAMS];
    bool use[SL_BEAMS];         /* not in a rib's shadow in any tenth of the frames */
} columns;

/* The line's rows, carried on over the beams where it was not found. */
static bool line_rows(const sl_stack *stack, const sl_pleura *pleura, columns *c)
{
    int known = 0;
    c->first = SL_BEAMS;
    c->last = -1;
    for (int j = 0; j < SL_BEAMS; j++) {
        c->row[j] = pleura->line[j];
        known += isfinite(pleura->line[j]);
    }
    if (known < CURTAIN_BEAMS_LEAST)
        return false;
    for (int j = 1; j < SL_BEAMS; j++)
        if (!isfinite(c->row[j]))
            c->row[j] = c->row[j - 1];
    for (int j = SL_BEAMS - 2; j >= 0; j--)
        if (!isfinite(c->row[j]))
            c->row[j] = c->row[j + 1];
    for (int j = 0; j < SL_BEAMS; j++) {
        int row = (int)c->row[j];
        bool in = row >= 3 && row + 12 < SL_DEPTHS && stack->mask[row * SL_BEAMS + j] && stack->mask[(row + 12) * SL_BEAMS + j] &&
                  pleura->beams.kind[j] != SL_BEAM_NO_CONTACT;
        if (in) {
            c->first = j < c->first ? j : c->first;
            c->last = j > c->last ? j : c->last;
        }
    }
    return c->last - c->first + 1 >= CURTAIN_BEAMS_LEAST;
}

static const int band_from[CURTAIN_BANDS] = {-2, 6, 17, 41}, band_to[CURTAIN_BANDS] = {3, 16, 40, 90};

static void measure_frame(const sl_stack *stack, int t, const columns *c, float (*out)[SL_BEAMS])
{
    const uint8_t *cell = sl_stack_frame(stack, t);
    for (int k = 0; k < CURTAIN_BANDS; k++)
        for (int j = c->first; j <= c->last; j++) {
            int from = (int)c->row[j] + band_from[k], to = (int)c->row[j] + band_to[k], n = 0, most = 0, sum = 0;
            to = to > SL_DEPTHS - 1 ? SL_DEPTHS - 1 : to;
            for (int r = from; r <= to; r++) {
                if (r < 0 || !stack->mask[r * SL_BEAMS + j])
                    continue;
                int v = cell[r * SL_BEAMS + j];
                most = v > most ? v : most;
                sum += v;
                n++;
            }
            out[k][j] = !n ? 0 : k ? (float)sum / (float)n : (float)most;
        }
}

/* Means over a few beams and a few moments, and each band's standard deviation over time. */
static bool measure(const sl_stack *stack, sl_arena *arena, columns *c)
{
    enum { SIZE = CURTAIN_BANDS * SL_BEAMS };
    int n = stack->frames;
    float *raw = SL_NEW(arena, (size_t)n * SIZE, float);
    c->value = SL_NEW(arena, (size_t)n * SIZE, float);
    c->frames = n;
    if (!raw || !c->value)
        return false;
    for (int t = 0; t < n; t++)
        measure_frame(stack, t, c, (float (*)[SL_BEAMS])(raw + (size_t)t * SIZE));
    double frame_s = stack->times_known && stack->frame_s > 0 ? stack->frame_s : MOTION_FRAME_S;
    int half = (int)(0.5 * CURTAIN_SMOOTH_S / frame_s);
    float line[SIZE];
    for (int t = 0; t < n; t++) {
        int from = t - half < 0 ? 0 : t - half, to = t + half >= n ? n - 1 : t + half;
        memset(line, 0, sizeof line);
        for (int u = from; u <= to; u++)
            for (int i = 0; i < SIZE; i++)
                line[i] += raw[(size_t)u * SIZE + (size_t)i] / (float)(to - from + 1);
        float *out = c->value + (size_t)t * SIZE;
        for (int k = 0; k < CURTAIN_BANDS; k++)
            for (int j = c->first; j <= c->last; j++) {
                float sum = 0;
                int a = j - CURTAIN_SMOOTH_BEAMS < c->first ? c->first : j - CURTAIN_SMOOTH_BEAMS;
                int b = j + CURTAIN_SMOOTH_BEAMS > c->last ? c->last : j + CURTAIN_SMOOTH_BEAMS;
                for (int i = a; i <= b; i++)
                    sum += line[k * SL_BEAMS + i];
                out[k * SL_BEAMS + j] = sum / (float)(b - a + 1);
            }
    }
    for (int k = 0; k < CURTAIN_BANDS; k++) {
        double var = 0, beams = 0;
        for (int j = c->first; j <= c->last; j++) {
            double sum = 0, square = 0;
            for (int t = 0; t < n; t++) {
                double v = (double)c->value[(size_t)t * SIZE + (size_t)(k * SL_BEAMS + j)];
                sum += v;
                square += v * v;
            }
            var += fmax(square / n - sum / n * sum / n, 0);
            beams++;
        }
        c->scale[k] = (float)sqrt(var / beams + CURTAIN_FLOOR * CURTAIN_FLOOR);
    }
    return true;
}

/* The two kinds of columns, left and right of the edge, for every beam. */
typedef struct kinds {
    float side[2][CURTAIN_BANDS][SL_BEAMS];
} kinds;

typedef struct fit {
    kinds kind;
    int *edge;         /* [frames] beams left of it, from first */
    double explained, swept;
    int low, high;     /* of the edge */
} fit;

/* Beams that a rib shades now and then (it glides, and the hand sways) are left out: its edge is one, too. Below a rib it is
 * dark at once, below lung and organ only further down. */
static void leave_ribs_out(float *sorted, double *spare, columns *c)
{
    double usual = 0;
    int n = 0;
    for (int j = c->first; j <= c->last; j++) {
        for (int t = 0; t < c->frames; t++)
            spare[t] = (double)c->value[((size_t)t * CURTAIN_BANDS + 1) * SL_BEAMS + (size_t)j];
        sorted[j] = (float)sl_quantile(spare, c->frames, CURTAIN_SHADE_SHARE);
        usual += (double)sorted[j];
        n++;
    }
    for (int round = 0; round < 2; round++) { /* the mean of those that are not dark */
        double sum = 0;
        int lit = 0;
        for (int j = c->first; j <= c->last; j++)
            if ((double)sorted[j] >= 0.5 * usual / n) {
                sum += (double)sorted[j];
                lit++;
            }
        usual = lit ? sum / lit * n : usual;
    }
    for (int j = 0; j < SL_BEAMS; j++)
        c->use[j] = j >= c->first && j <= c->last && (double)sorted[j] > CURTAIN_SHADE * usual / n;
}

static const float *value_of(const columns *c, int t)
{
    return c->value + (size_t)t * CURTAIN_BANDS * SL_BEAMS;
}

static void start_from(const columns *c, double share, kinds *k)
{
    int split = c->first + (int)(share * (c->last - c->first));
    for (int b = 0; b < CURTAIN_BANDS; b++) {
        double sum[2] = {0}, n[2] = {0};
        for (int t = 0; t < c->frames; t++)
            for (int j = c->first; j <= c->last; j++) {
                if (!c->use[j])
                    continue;
                sum[j >= split] += (double)value_of(c, t)[b * SL_BEAMS + j];
                n[j >= split]++;
            }
        for (int s = 0; s < 2; s++)
            for (int j = c->first; j <= c->last; j++)
                k->side[s][b][j] = n[s] > 0 ? (float)(sum[s] / n[s]) : 0;
    }
}

/* Each kind anew from the frames in which the edge has it there; where it is hardly ever so, the other kind with the two
 * kinds' mean difference. */
static void learn(const columns *c, const int *edge, kinds *k)
{
    double few = CURTAIN_FEW * c->frames;
    for (int b = 0; b < CURTAIN_BANDS; b++) {
        double sum[2][SL_BEAMS] = {{0}}, n[2][SL_BEAMS] = {{0}}, all[2] = {0}, frames[2] = {0}, both = 0, diff = 0;
        for (int t = 0; t < c->frames; t++)
            for (int j = c->first; j <= c->last; j++) {
                int s = j - c->first >= edge[t];
                sum[s][j] += (double)value_of(c, t)[b * SL_BEAMS + j];
                n[s][j]++;
            }
        for (int j = c->first; j <= c->last; j++) {
            for (int s = 0; s < 2 && c->use[j]; s++) {
                all[s] += sum[s][j];
                frames[s] += n[s][j];
            }
            if (c->use[j] && n[0][j] >= few && n[1][j] >= few) {
                diff += sum[1][j] / n[1][j] - sum[0][j] / n[0][j];
                both++;
            }
        }
        diff = both >= 3 ? diff / both : frames[0] > 0 && frames[1] > 0 ? all[1] / frames[1] - all[0] / frames[0] : 0;
        for (int j = c->first; j <= c->last; j++) {
            double one = n[0][j] > 0 ? sum[0][j] / n[0][j] : 0, two = n[1][j] > 0 ? sum[1][j] / n[1][j] : 0;
            double level = n[0][j] >= n[1][j] ? one : two - diff; /* of the left kind, as the better known one says */
            double from_two = n[0][j] >= n[1][j] ? one + diff : two;
            k->side[0][b][j] = (float)((sum[0][j] + few * level) / (n[0][j] + few));
            k->side[1][b][j] = (float)((sum[1][j] + few * from_two) / (n[1][j] + few));
        }
    }
}

static double distance(const columns *c, const kinds *k, int side, const float *v, int j)
{
    double sum = 0;
    if (!c->use[j])
        return 0;
    for (int b = 0; b < CURTAIN_BANDS; b++) {
        double d = (double)((v[b * SL_BEAMS + j] - k->side[side][b][j]) / c->scale[b]);
        sum += fmin(d * d, CURTAIN_FAR);
    }
    return sum;
}

/* The edge's path of least distance. */
static void find_edge(const columns *c, const kinds *k, float *cost, int16_t *from, int *edge)
{
    int states = c->last - c->first + 2;
    float before[SL_BEAMS + 1], now[SL_BEAMS + 1] = {0};
    for (int t = 0; t < c->frames; t++) {
        const float *v = value_of(c, t);
        double right = 0, left = 0;
        for (int j = c->first; j <= c->last; j++)
            right += distance(c, k, 1, v, j);
        for (int x = 0; x < states; x++) {
            cost[x] = (float)(left + right);
            if (x < states - 1) {
                left += distance(c, k, 0, v, c->first + x);
                right -= distance(c, k, 1, v, c->first + x);
            }
        }
        memcpy(before, now, sizeof now);
        for (int x = 0; x < states; x++) {
            float best = INFINITY;
            int by = x, low = x - CURTAIN_STEP < 0 ? 0 : x - CURTAIN_STEP, high = x + CURTAIN_STEP >= states ? states - 1 : x + CURTAIN_STEP;
            for (int i = low; t && i <= high; i++) {
                float way = before[i] + CURTAIN_STEP_COST * (float)(i < x ? x - i : i - x);
                if (way < best) {
                    best = way;
                    by = i;
                }
            }
            now[x] = (t ? best : 0) + cost[x];
            from[(size_t)t * (SL_BEAMS + 1) + (size_t)x] = (int16_t)by;
        }
    }
    int x = 0;
    for (int i = 0; i < states; i++)
        x = now[i] < now[x] ? i : x;
    for (int t = c->frames - 1; t >= 0; t--) {
        edge[t] = x;
        x = from[(size_t)t * (SL_BEAMS + 1) + (size_t)x];
    }
}

/* How much of the variance over time of the beams that the edge passes it explains. */
static void judge(const columns *c, double *sorted, fit *f)
{
    for (int t = 0; t < c->frames; t++)
        sorted[t] = f->edge[t];
    int n = sl_sort_known(sorted, c->frames);
    f->low = (int)sl_quantile_sorted(sorted, n, CURTAIN_ENDS_OUT);
    f->high = (int)sl_quantile_sorted(sorted, n, 1 - CURTAIN_ENDS_OUT);
    f->swept = f->explained = 0;
    for (int j = c->first + f->low; j < c->first + f->high; j++)
        f->swept += c->use[j];
    if (f->swept < 2)
        return;
    double left = 0, all = 0;
    for (int j = c->first + f->low; j < c->first + f->high; j++) {
        if (!c->use[j])
            continue;
        double mean[CURTAIN_BANDS] = {0};
        for (int t = 0; t < c->frames; t++)
            for (int b = 0; b < CURTAIN_BANDS; b++)
                mean[b] += (double)value_of(c, t)[b * SL_BEAMS + j] / c->frames;
        for (int t = 0; t < c->frames; t++) {
            const float *v = value_of(c, t);
            int side = j - c->first >= f->edge[t];
            for (int b = 0; b < CURTAIN_BANDS; b++) {
                double scale = (double)c->scale[b], a = ((double)v[b * SL_BEAMS + j] - mean[b]) / scale;
                double e = (double)(v[b * SL_BEAMS + j] - f->kind.side[side][b][j]) / scale;
                all += a * a;
                left += e * e;
            }
        }
    }
    f->explained = all > 0 ? fmax(1 - left / all, 0) : 0;
}

/* What parts the two sides in the beams that the edge passes. */
static void compare(const columns *c, const fit *f, sl_curtain *out)
{
    double diff[CURTAIN_BANDS] = {0}, n = f->swept;
    for (int j = c->first + f->low; j < c->first + f->high; j++)
        for (int b = 0; b < CURTAIN_BANDS && c->use[j]; b++)
            diff[b] += (double)((f->kind.side[0][b][j] - f->kind.side[1][b][j]) / c->scale[b]);
    for (int b = 0; b < CURTAIN_BANDS && n > 0; b++) {
        diff[b] /= n;
        out->contrast += diff[b] * diff[b];
    }
    out->contrast = sqrt(out->contrast);
    double deep = 0.25 * diff[1] + 0.5 * diff[2] + 0.25 * diff[3];
    out->organ_right = diff[0] - deep > 0; /* the left side has the brighter line and the darker depth */
    out->line = out->organ_right ? diff[0] : -diff[0];
    out->deep = out->organ_right ? -deep : deep;
    double near = 0, far = 0;
    int side = out->organ_right;
    for (int j = c->first + f->low; j < c->first + f->high; j++)
        if (c->use[j]) {
            near += (double)f->kind.side[side][1][j] / n;
            far += (double)f->kind.side[side][2][j] / n;
        }
    out->lasting = log((fmax(far, 0) + CURTAIN_FLOOR) / (fmax(near, 0) + CURTAIN_FLOOR));
}

static double index_of(const sl_curtain *c)
{
    double z = CURTAIN_INTERCEPT + CURTAIN_W_LINE * fmin(fmax(c->line, -2), 3) + CURTAIN_W_CONTRAST * fmin(c->contrast, 6) +
               CURTAIN_W_RHYTHM * fmax(c->rhythm.explained, 0) + CURTAIN_W_SWEPT * log(fmin(fmax(c->swept, 1), 60)) +
               CURTAIN_W_LASTING * fmin(fmax(c->lasting, -2), 0.5);
    return 1 / (1 + exp(-z));
}

sl_status sl_curtain_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_curtain *out, sl_error *error)
{
    static const char no_room[] = "Memory ran out while the lung's edge was followed.";
    static const double start[] = {0.25, 0.4, 0.5, 0.6, 0.75};
    memset(out, 0, sizeof *out);
    out->reason = "";
    out->index = SL_UNKNOWN;
    int n = stack->frames;
    out->times_known = stack->times_known;
    out->frame_s = stack->times_known ? stack->frame_s : SL_UNKNOWN;
    columns c = {0};
    out->reason = n < MOTION_FRAMES_LEAST ? "too few frames to see anything move"
                  : !line_rows(stack, pleura, &c) ? "no pleural line was found" : "";
    if (out->reason[0])
        return SL_OK;
    if (!measure(stack, arena, &c))
        return sl_fail(error, SL_MEMORY, no_room);
    float cost[SL_BEAMS + 1];
    int16_t *from = SL_NEW(arena, (size_t)n * (SL_BEAMS + 1), int16_t);
    double *sorted = SL_NEW(arena, n, double), *time_s = SL_NEW(arena, n, double), *path = SL_NEW(arena, n, double);
    fit *best = SL_NEW(arena, 1, fit), *f = SL_NEW(arena, 1, fit);
    if (!from || !sorted || !time_s || !path || !best || !f || !(best->edge = SL_NEW(arena, n, int)) || !(f->edge = SL_NEW(arena, n, int)))
        return sl_fail(error, SL_MEMORY, no_room);
    float shade[SL_BEAMS];
    leave_ribs_out(shade, sorted, &c);
    for (size_t s = 0; s < sizeof start / sizeof *start; s++) {
        start_from(&c, start[s], &f->kind);
        for (int round = 0; round < CURTAIN_ROUNDS; round++) {
            find_edge(&c, &f->kind, cost, from, f->edge);
            learn(&c, f->edge, &f->kind);
        }
        judge(&c, sorted, f);
        if (f->explained * sqrt(f->swept) > best->explained * sqrt(best->swept)) {
            fit *other = best;
            best = f;
            f = other;
        }
    }
    out->frames = n;
    out->explained = best->explained;
    out->swept = best->swept;
    out->index = 0;
    out->first_source = stack->source[0];
    out->last_source = stack->source[n - 1];
    out->first_time_s = stack->time_s[0];
    out->last_time_s = stack->time_s[n - 1];
    out->seconds = stack->times_known ? stack->time_s[n - 1] - stack->time_s[0] : SL_UNKNOWN;
    if (!(best->swept >= 2))
        return SL_OK;
    compare(&c, best, out);
    for (int t = 0; t < n; t++) {
        time_s[t] = stack->times_known ? stack->time_s[t] : t * MOTION_FRAME_S;
        path[t] = best->edge[t];
    }
    if (!sl_rhythm_find(time_s, path, n, BREATH_HZ_LEAST, BREATH_HZ_MOST, BREATH_FUNDAMENTAL, arena, &out->rhythm, NULL))
        return sl_fail(error, SL_MEMORY, no_room);
    out->travel_beams = best->high - best->low;
    for (int j = c.first + best->low - 1; j >= c.first && !c.use[j]; j--)
        out->hidden_beams++;
    for (int j = c.first + best->high; j <= c.last && !c.use[j]; j++)
        out->hidden_beams++;
    double row = 0;
    for (int j = c.first + best->low; j < c.first + best->high; j++)
        row += (double)c.row[j] / (best->high - best->low);
    out->depth = (row + 0.5) / SL_DEPTHS;
    out->beam_mm = sl_view_beam_step_px(stack->view, SL_BEAMS, out->depth) * stack->view->mm_per_px;
    out->first_beam = (double)(c.first + best->low) / SL_BEAMS;
    out->last_beam = (double)(c.first + best->high) / SL_BEAMS;
    out->index = index_of(out);
    return SL_OK;
}

void sl_curtain_merge(sl_curtain *into, const sl_curtain *from)
{
    if (!(into->frames > 0) || (from->frames > 0 && from->index > into->index))
        *into = *from;
}

void sl_curtain_state(const sl_curtain *c, const char *doubt, sl_arena *arena, sl_reading *reading)
{
    sl_finding *curtain = sl_reading_put(reading, SL_CURTAIN), *travel;
    if (doubt[0] || !(c->frames > 0)) {
        curtain->reason = doubt[0] ? doubt : c->reason && c->reason[0] ? c->reason : "nothing could be measured";
        sl_reading_put(reading, SL_CURTAIN_TRAVEL)->reason = curtain->reason;
        return;
    }
    const sl_answer_rule rule = {.absent_below = CURTAIN_ABSENT, .present_above = CURTAIN_PRESENT};
    const char *why = c->times_known && c->frame_s > CURTAIN_FRAME_MOST_S
                          ? sl_arena_printf(arena, "%.1f frames a second are too few to follow the lung's edge", 1 / c->frame_s)
                      : c->index < CURTAIN_ABSENT && c->times_known && c->seconds < CURTAIN_ABSENT_S
                          ? sl_arena_printf(arena, "no curtain seen, but %.1f s may be shorter than a breath", c->seconds)
                          : "";
    sl_rule_answer(&rule, c->index, why, curtain);
    if (c->index >= CURTAIN_ABSENT && (curtain->evidence = SL_NEW(arena, 1, sl_evidence)) != NULL) {
        sl_evidence *e = (sl_evidence *)curtain->evidence;
        *e = (sl_evidence){.first_frame = c->first_source, .last_frame = c->last_source,
                           .first_time_s = c->times_known ? c->first_time_s : SL_UNKNOWN,
                           .last_time_s = c->times_known ? c->last_time_s : SL_UNKNOWN, .first_beam = c->first_beam,
                           .last_beam = c->last_beam, .first_depth = fmax(c->depth - 0.02, 0), .last_depth = fmin(c->depth + 0.12, 1),
                           .label = c->organ_right ? "lung's edge, organ to the right" : "lung's edge, organ to the left"};
        curtain->evidences = 1;
    }
    double mm = c->travel_beams * c->beam_mm;
    travel = sl_reading_put(reading, SL_CURTAIN_TRAVEL);
    travel->reason = curtain->answer != SL_PRESENT ? "no curtain was found" : !sl_known(mm) ? "the picture's scale is not known"
                     : c->hidden_beams * c->beam_mm > CURTAIN_SLACK_MM
                         ? sl_arena_printf(arena, "at least %.0f mm: where the lung's edge turns lies in a rib's shadow", mm)
                         : "";
    if (travel->reason[0])
        return;
    double slack = CURTAIN_SLACK_MM + 0.15 * mm;
    *travel = (sl_finding){.code = SL_CURTAIN_TRAVEL, .known = true, .value = mm, .low = fmax(mm - slack, 0), .high = mm + slack,
                           .confidence = curtain->confidence, .reason = "as far as it lies in the picture", .evidence = curtain->evidence,
                           .evidences = curtain->evidences};
}
