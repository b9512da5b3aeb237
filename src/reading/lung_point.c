#include "reading/lung_point.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/filters.h"

#include <math.h>
#include <string.h>

/* The sliding part's own path: windows by how surely they slide. */
static bool lung_path(const sl_movement *movement, const sl_sliding *sliding, double *x)
{
    double weights = 0;
    memset(x, 0, (size_t)movement->frames * sizeof *x);
    for (int w = 0; w < movement->windows; w++) {
        double index = sliding->window[w].index, misfit = movement->window[w].misfit;
        double weight = index > 0.5 && sl_known(misfit) ? index / (misfit * misfit + SLIDE_MISFIT_FLOOR * SLIDE_MISFIT_FLOOR) : 0;
        for (int t = 0; t < movement->frames && weight > 0; t++)
            x[t] += weight * movement->window[w].x[t];
        weights += weight;
    }
    for (int t = 0; t < movement->frames && weights > 0; t++)
        x[t] /= weights;
    return weights > 0;
}

static float at_shift(const float *row, float at)
{
    int whole = (int)floorf(at);
    float part = at - (float)whole;
    float left = whole >= 0 && whole < SL_BEAMS ? row[whole] : 0, right = whole + 1 >= 0 && whole + 1 < SL_BEAMS ? row[whole + 1] : 0;
    return left + part * (right - left);
}

/* The mean strip at each position of the lung, carried back to where the wall was in the first frame. */
typedef struct mean_strip {
    float value[STRIP_LUNG_ROWS * SL_BEAMS];
    double frames, x;
} mean_strip;

static void add_frame(const sl_movement *movement, int t, double x, mean_strip *to)
{
    const float *strip = sl_strip_lung(&movement->strips, t), *taken = movement->strips.still;
    double wall = 0;
    for (int s = 0; s < movement->spaces; s++)
        wall += movement->space[s].wall[t] / movement->spaces;
    float shift = (float)(movement->wall_to_lung * wall);
    for (int i = 0; i < STRIP_LUNG_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++)
            if (movement->strips.lit[j] > 0)
                to->value[i * SL_BEAMS + j] += at_shift(strip + i * SL_BEAMS, (float)j + shift) +
                                               at_shift(taken + i * SL_BEAMS, (float)j + shift);
    to->frames++;
    to->x += x;
}

/* Correlation of two mean strips, beam by beam over its neighbours. */
static void stillness(const float *x, const float *y, const sl_filter *near, double *still)
{
    float product[SL_BEAMS] = {0}, first[SL_BEAMS] = {0}, second[SL_BEAMS] = {0}, a[SL_BEAMS], b[SL_BEAMS], c[SL_BEAMS];
    for (int i = 0; i < STRIP_LUNG_ROWS; i++)
        for (int j = 0; j < SL_BEAMS; j++) {
            float u = x[i * SL_BEAMS + j], v = y[i * SL_BEAMS + j];
            product[j] += u * v;
            first[j] += u * u;
            second[j] += v * v;
        }
    sl_filter_beams(near, product, 1, a);
    sl_filter_beams(near, first, 1, b);
    sl_filter_beams(near, second, 1, c);
    for (int j = 0; j < SL_BEAMS; j++)
        still[j] = b[j] * c[j] > 0 ? (double)(a[j] / sqrtf(b[j] * c[j])) : 0;
}

typedef struct profile {
    double still[SL_BEAMS], pairs, x; /* mean stillness; mean position of the lung */
} profile;

typedef struct beams_used {
    int beam[SL_BEAMS], count;
    int before[SL_BEAMS + 1]; /* how many of them lie left of a beam */
} beams_used;

/* Sums over the used beams left of each, one row a position of the lung. */
typedef struct sums {
    double value[LUNG_POINT_BINS][SL_BEAMS + 1], square;
    double weight[LUNG_POINT_BINS], x[LUNG_POINT_BINS]; /* frames; position of the lung */
    double weights, total, mean_x;
} sums;

typedef struct step {
    double left, right, error; /* levels; squares left over */
} step;

/* Two levels that meet at beam `edge` + `slope` times the lung's position: the best levels and what they leave. */
static bool fit_step(const sums *s, const beams_used *u, double edge, double slope, step *out)
{
    double left = 0, right = 0, nl = 0, nr = 0;
    for (int q = 0; q < LUNG_POINT_BINS; q++) {
        if (!(s->weight[q] > 0))
            continue;
        double at = edge + slope * s->x[q];
        int beam = at < 0 ? 0 : at > SL_BEAMS ? SL_BEAMS : (int)ceil(at), cut = u->before[beam];
        if (cut < LUNG_POINT_SIDE || u->count - cut < LUNG_POINT_SIDE)
            return false;
        left += s->weight[q] * s->value[q][cut];
        right += s->weight[q] * (s->value[q][u->count] - s->value[q][cut]);
        nl += s->weight[q] * cut;
        nr += s->weight[q] * (u->count - cut);
    }
    *out = (step){left / nl, right / nr, s->square - left * left / nl - right * right / nr};
    return true;
}

static void sum_up(const profile *bin, const beams_used *u, sums *s)
{
    memset(s, 0, sizeof *s);
    double x = 0;
    for (int q = 0; q < LUNG_POINT_BINS; q++) {
        double w = bin[q].pairs;
        if (!(w > 0))
            continue;
        s->weight[q] = w;
        s->weights += w;
        x += w * bin[q].x;
        for (int i = 0; i < u->count; i++) {
            double v = bin[q].still[u->beam[i]];
            s->value[q][i + 1] = s->value[q][i] + v;
            s->square += w * v * v;
        }
        s->total += w * s->value[q][u->count];
    }
    s->mean_x = x / s->weights;
    for (int q = 0; q < LUNG_POINT_BINS; q++)
        s->x[q] = s->weight[q] > 0 ? bin[q].x - s->mean_x : 0;
}

/* The edge and the slope that leave least, a slope counting for what it gains over none at the same place. */
static void find_edge(const sums *s, const beams_used *u, double low, double high, sl_lung_point *point)
{
    double spread = s->square - s->total * s->total / (s->weights * u->count), most = 0;
    if (!(spread > 0))
        return;
    for (int edge = 0; edge <= SL_BEAMS; edge++) {
        step still, moving;
        if (!fit_step(s, u, edge, 0, &still))
            continue;
        for (int k = -LUNG_POINT_SLOPES; k <= LUNG_POINT_SLOPES; k++) {
            double slope = k * LUNG_POINT_SLOPE;
            if (!fit_step(s, u, edge, slope, &moving))
                continue;
            double gain = (still.error - moving.error) / spread, fit = 1 - moving.error / spread, score = fit + LUNG_POINT_GAIN * gain;
            if (score <= most)
                continue;
            most = score;
            point->fit = fit;
            point->gain = gain;
            point->lung_left = moving.left < moving.right;
            point->contrast = fabs(moving.left - moving.right);
            point->still = fmax(moving.left, moving.right);
            point->moves = fmin(moving.left, moving.right);
            double a = (edge + slope * (low - s->mean_x)) / SL_BEAMS, b = (edge + slope * (high - s->mean_x)) / SL_BEAMS;
            point->travel = fabs(b - a) * SL_BEAMS;
            point->place = 0.5 * (a + b);
            point->first = fmax(fmin(a, b), 0);
            point->last = fmin(fmax(a, b), 1);
        }
    }
}

/* The meeting place seen from one end of the lung's way: at each position of the lung, which beams still look as they did
 * when the lung was at that end. Beams under air always do, beams over lung only near that end, and those that the edge
 * passes until it has passed. */
static void look_from(const mean_strip *at, int end, const beams_used *used, double low, double high,
                      sl_lung_point *point)
{
    profile bin[LUNG_POINT_BINS] = {{.pairs = 0}};
    sl_filter near;
    sl_filter_gauss(LUNG_POINT_BEAMS, &near);
    point->pairs = 0;
    for (int q = 0; q < LUNG_POINT_BINS; q++) {
        if (!(at[q].frames >= LUNG_POINT_FRAMES_LEAST) || fabs(at[q].x - at[end].x) < LUNG_POINT_MOVED)
            continue;
        stillness(at[end].value, at[q].value, &near, bin[q].still);
        bin[q].pairs = at[q].frames;
        bin[q].x = at[q].x;
        point->pairs += at[q].frames;
    }
    if (!(point->pairs >= LUNG_POINT_PAIRS_LEAST))
        return;
    sums s;
    sum_up(bin, used, &s);
    find_edge(&s, used, low, high, point);
}

static double worth(const sl_lung_point *p)
{
    return p->pairs > 0 ? p->fit + LUNG_POINT_END_GAIN * p->gain : -1;
}

sl_status sl_lung_point_measure(const sl_movement *movement, const sl_sliding *sliding, sl_arena *arena, sl_lung_point *point,
                                sl_error *error)
{
    memset(point, 0, sizeof *point);
    point->place = point->first = point->last = SL_UNKNOWN;
    if (!movement->windows)
        return SL_OK;
    double *x = SL_NEW(arena, movement->frames, double);
    mean_strip *at = SL_NEW(arena, LUNG_POINT_BINS, mean_strip);
    if (!x || !at)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the lung point was looked for.");
    if (!lung_path(movement, sliding, x))
        return SL_OK;
    double low = INFINITY, high = -INFINITY;
    for (int t = 0; t < movement->frames; t++) {
        low = fmin(low, x[t]);
        high = fmax(high, x[t]);
    }
    if (!(high - low > LUNG_POINT_MOVED))
        return SL_OK;
    for (int t = 0; t < movement->frames; t++) {
        int q = (int)((x[t] - low) / (high - low) * LUNG_POINT_BINS);
        add_frame(movement, t, x[t], &at[q >= LUNG_POINT_BINS ? LUNG_POINT_BINS - 1 : q]);
    }
    int ends[2] = {-1, -1};
    for (int q = 0; q < LUNG_POINT_BINS; q++) {
        if (!(at[q].frames >= LUNG_POINT_FRAMES_LEAST))
            continue;
        at[q].x /= at[q].frames;
        for (int i = 0; i < STRIP_LUNG_ROWS * SL_BEAMS; i++)
            at[q].value[i] /= (float)at[q].frames;
        ends[0] = ends[0] < 0 ? q : ends[0];
        ends[1] = q;
    }
    if (ends[0] == ends[1])
        return SL_OK;
    const float *lit = movement->strips.lit;
    for (int first = 0, last; first < SL_BEAMS; first = last + 1) { /* in one run of beams: a rib in between hides the place */
        last = first;
        if (!(lit[first] > 0))
            continue;
        while (last + 1 < SL_BEAMS && lit[last + 1] > 0)
            last++;
        beams_used used = {.count = 0};
        for (int j = 0; j <= SL_BEAMS; j++) {
            used.before[j] = used.count;
            if (j >= first + LUNG_POINT_RIM && j <= last - LUNG_POINT_RIM)
                used.beam[used.count++] = j;
        }
        if (used.count < 2 * LUNG_POINT_SIDE)
            continue;
        for (int e = 0; e < 2; e++) {
            sl_lung_point from = {.place = SL_UNKNOWN, .first = SL_UNKNOWN, .last = SL_UNKNOWN};
            look_from(at, ends[e], &used, low, high, &from);
            if (worth(&from) > worth(point))
                *point = from;
        }
    }
    return SL_OK;
}

void sl_lung_point_merge(sl_lung_point *into, const sl_lung_point *more)
{
    if (more->pairs * more->contrast > into->pairs * into->contrast)
        *into = *more;
}

static double index_of(const sl_lung_point *p)
{
    if (!(p->pairs > 0) || !sl_known(p->place) || p->travel > LUNG_POINT_TRAVEL_MOST)
        return 0;
    double z = LUNG_POINT_INTERCEPT + LUNG_POINT_W_CONTRAST * p->contrast +
               LUNG_POINT_W_STILL * fmin(p->still, 0.8) + LUNG_POINT_W_TRAVEL * fmin(p->travel / LUNG_POINT_TRAVEL_FULL, 1);
    return 1 / (1 + exp(-z));
}

void sl_lung_point_state(const sl_lung_point *point, const sl_sliding *sliding, const char *doubt, sl_arena *arena,
                         sl_reading *reading)
{
    sl_finding *finding = sl_reading_put(reading, SL_LUNG_POINT), *travel = sl_reading_put(reading, SL_LUNG_POINT_TRAVEL);
    travel->reason = "no lung point was seen";
    if (doubt[0] || !(sliding->frames > 0)) {
        finding->reason = doubt[0] ? doubt : sliding->reason && sliding->reason[0] ? sliding->reason : "no movement could be followed";
        return;
    }
    /* Without sliding there is nothing that could meet its absence. */
    double index = index_of(point) * sliding->index_any;
    const sl_answer_rule rule = {.absent_below = LUNG_POINT_ABSENT, .present_above = LUNG_POINT_PRESENT};
    const char *why = sliding->lost > SLIDE_LOST_MOST ? "the picture could not be followed"
                      : !sliding->times_known         ? "frame times are not known"
                      : sliding->seconds < SLIDE_ABSENT_S ? "the clip may be shorter than a breath; both phases must be seen"
                                                          : "";
    sl_rule_answer(&rule, index, why, finding);
    if (!(index > LUNG_POINT_ABSENT) || !sl_known(point->place))
        return;
    sl_evidence *evidence = SL_NEW(arena, 1, sl_evidence);
    if (evidence) {
        *evidence = (sl_evidence){
            .first_frame = sliding->first_source, .last_frame = sliding->last_source, .first_time_s = sliding->first_time_s,
            .last_time_s = sliding->last_time_s, .first_beam = point->first, .last_beam = point->last,
            .first_depth = fmax(sliding->depth - 0.03, 0), .last_depth = fmin(sliding->depth + 0.03, 1),
            .label = point->lung_left ? "lung point: lung to its left" : "lung point: lung to its right"};
        finding->evidence = travel->evidence = evidence;
        finding->evidences = travel->evidences = 1;
    }
    travel->reason = sl_known(sliding->beam_mm) ? "" : "the picture's scale is not known";
    if (travel->reason[0])
        return;
    travel->known = true;
    travel->value = point->travel * sliding->beam_mm;
    travel->low = fmax(travel->value - LUNG_POINT_SLACK_MM, 0);
    travel->high = travel->value + LUNG_POINT_SLACK_MM;
}
