#include "reading/sliding.h"

#include "core/order.h"
#include "core/units.h"
#include "core/weighed.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RANGES_MOST = 64 };

/* Range that leaves out the share `out` at either end. */
static double range_of(const double *x, int n, double out, double *scratch)
{
    memcpy(scratch, x, (size_t)n * sizeof *x);
    qsort(scratch, (size_t)n, sizeof *scratch, sl_by_double);
    int skip = (int)(out * n);
    return scratch[n - 1 - skip] - scratch[skip];
}

/* Peak to peak in a breath: the range within stretches of `length` frames, half of it apart, their median; so that a path
 * that drifts over many breaths does not count as sliding far. */
static double swing_of(const double *x, int n, int length, double *scratch)
{
    double range[RANGES_MOST];
    int ranges = 0;
    length = length > n ? n : length < 2 ? 2 : length;
    int hop = length / 2 > 0 ? length / 2 : 1;
    while ((n - length) / hop + 1 > RANGES_MOST)
        hop *= 2;
    for (int first = 0; first + length <= n && ranges < RANGES_MOST; first += hop)
        range[ranges++] = range_of(x + first, length, SLIDE_RANGE_OUT, scratch);
    qsort(range, (size_t)ranges, sizeof *range, sl_by_double);
    return ranges ? range[ranges / 2] : 0;
}

/* A centred mean over `frames` frames: takes the path's own noise down before its range is taken. */
static void smooth(const double *x, int n, int frames, double *out)
{
    int half = frames / 2;
    for (int i = 0; i < n; i++) {
        int first = i - half < 0 ? 0 : i - half, last = i + half > n - 1 ? n - 1 : i + half;
        double sum = 0;
        for (int k = first; k <= last; k++)
            sum += x[k];
        out[i] = sum / (last - first + 1);
    }
}

/* 0..1 that a part slides: from how far it goes and how much of its speckle is left. */
static double slide_index(double amplitude_mm, double persistence)
{
    double z = SLIDE_INTERCEPT + SLIDE_AMPLITUDE * log(amplitude_mm + SLIDE_AMPLITUDE_FLOOR_MM) -
               SLIDE_PERSISTENCE * persistence;
    return 1 / (1 + exp(-z));
}

typedef struct work {
    double *mean, *even, *periodic, *quick, *wall /* without what is slower than the heart */, *scratch, *time;
    int n;
} work;

static bool make_room(int n, sl_arena *arena, work *w)
{
    w->n = n;
    w->mean = SL_NEW(arena, n, double);
    w->even = SL_NEW(arena, n, double);
    w->periodic = SL_NEW(arena, n, double);
    w->quick = SL_NEW(arena, n, double);
    w->wall = SL_NEW(arena, n, double);
    w->scratch = SL_NEW(arena, 2 * n, double);
    w->time = SL_NEW(arena, n, double);
    return w->mean && w->even && w->periodic && w->quick && w->wall && w->scratch && w->time;
}

/* The windows' common path. */
static void mean_path(const sl_movement *movement, double *mean)
{
    double weights = 0;
    memset(mean, 0, (size_t)movement->frames * sizeof *mean);
    for (int w = 0; w < movement->windows; w++) {
        double weight = sl_motion_weight(movement->window[w].misfit);
        for (int t = 0; t < movement->frames; t++)
            mean[t] += weight * movement->window[w].x[t];
        weights += weight;
    }
    for (int t = 0; t < movement->frames && weights > 0; t++)
        mean[t] /= weights;
}

/* The path without what is slower than the heart, and without what goes with the wall: of a hand's sway a share stays where the wall's path or the
 * lung's was drawn short. `out` may not be `x`. */
static void quick_of(const double *x, const work *k, double *out)
{
    sl_rhythm_quick(k->time, x, k->n, HEART_SLOW_S, out);
    sl_path_products p = sl_motion_products(out, k->wall, k->n);
    for (int t = 0; t < k->n && p.yy > 0; t++)
        out[t] -= p.xy / p.yy * k->wall[t];
}

static bool find_rhythms(const sl_movement *movement, bool times_known, sl_arena *arena, work *k, sl_sliding *s)
{
    mean_path(movement, k->mean);
    sl_motion_seconds(movement, times_known, k->time);
    if (!sl_rhythm_find(k->time, k->mean, k->n, BREATH_HZ_LEAST, BREATH_HZ_MOST, BREATH_FUNDAMENTAL, arena, &s->breath, k->periodic))
        return false;
    /* The heart in what breathing leaves. */
    double share = s->breath.explained > BREATH_EXPLAINED ? 1 : 0;
    for (int t = 0; t < k->n; t++)
        k->even[t] = k->mean[t] - share * k->periodic[t];
    sl_rhythm_quick(k->time, movement->wall, k->n, HEART_SLOW_S, k->wall);
    quick_of(k->even, k, k->quick);
    if (!sl_rhythm_find(k->time, k->quick, k->n, HEART_HZ_LEAST, HEART_HZ_MOST, HEART_FUNDAMENTAL, arena, &s->heart, k->periodic))
        return false;
    s->pulse = s->heart.swing;
    return true;
}

/* How much of the heart's rhythm each window shares: the mean over windows of the regression of its quick path on the
 * common one, 1 when all move together. */
static double pulse_coherence(const sl_movement *movement, work *k)
{
    double sum = 0, weights = 0, power = 0;
    for (int t = 0; t < k->n; t++)
        power += k->periodic[t] * k->periodic[t];
    if (!(power > 0))
        return 0;
    for (int w = 0; w < movement->windows; w++) {
        quick_of(movement->window[w].x, k, k->scratch);
        double with = 0, own = 0;
        for (int t = 0; t < k->n; t++) {
            with += k->scratch[t] * k->periodic[t];
            own += k->scratch[t] * k->scratch[t];
        }
        double weight = sl_motion_weight(movement->window[w].misfit);
        sum += weight * (own > 0 ? with / sqrt(own * power) : 0);
        weights += weight;
    }
    return weights > 0 ? sum / weights : 0;
}

/* How surely a window's path (`quick`) is the lung's: the lung goes as one, so that a path that the others do not share was lost on the way
 * and may end anywhere. */
static double shared(const work *k)
{
    sl_path_products p = sl_motion_products(k->quick, k->mean, k->n);
    double like = p.xy > 0 ? p.xy / sqrt(p.xx * p.yy) : 0;
    return SLIDE_SHARED_LEAST + like * like * like * like;
}

/* Each window's range, the heart's part taken out where there is one. */
static void measure_windows(const sl_movement *movement, bool heart, work *k, sl_sliding *s)
{
    sl_weighed amplitude[WINDOWS_MOST], index[WINDOWS_MOST];
    double later = 0, match = 0, lost = 0, edge = 0, weights = 0;
    int frames = (int)(SLIDE_SMOOTH_S / (sl_known(s->frame_s) ? s->frame_s : MOTION_FRAME_S));
    double step_s = sl_known(s->frame_s) ? s->frame_s : MOTION_FRAME_S;
    bool breath = s->breath.explained > BREATH_EXPLAINED;
    int length = (int)((breath ? 1.05 / s->breath.hz : SLIDE_STRETCH_S) / step_s);
    double scale = sl_known(s->beam_mm) ? s->beam_mm : SLIDE_BEAM_MM;
    for (int w = 0; w < movement->windows; w++) {
        const sl_window_motion *m = &movement->window[w];
        for (int t = 0; t < k->n; t++)
            k->even[t] = m->x[t] - (heart ? k->periodic[t] : 0);
        smooth(k->even, k->n, frames, k->quick);
        double range = swing_of(k->quick, k->n, length, k->scratch);
        double persistence = m->persistence, weight = sl_motion_weight(m->misfit);
        amplitude[w] = (sl_weighed){range, weight * shared(k)};
        s->window[w] = (sl_sliding_part){(double)m->beams.first / SL_BEAMS, (double)(m->beams.last + 1) / SL_BEAMS, range,
                                         slide_index(range * scale, persistence)};
        index[w] = (sl_weighed){s->window[w].index, weight};
        later += weight * persistence;
        match += weight * m->peak_next;
        lost += weight * m->lost_share;
        edge += weight * m->edge_share;
        weights += weight;
    }
    s->windows = movement->windows;
    if (!(weights > 0))
        return;
    s->persistence = later / weights;
    s->match = match / weights;
    s->lost = lost / weights;
    s->edge = edge / weights;
    s->index = sl_weighted_quantile(index, movement->windows, SLIDE_WINDOW_QUANTILE);
    s->index_any = sl_weighted_quantile(index, movement->windows, SLIDE_ANY_QUANTILE);
    s->amplitude = sl_weighted_quantile(amplitude, movement->windows, SLIDE_AMPLITUDE_QUANTILE);
    double low = sl_weighted_quantile(amplitude, movement->windows, 0.3), high = sl_weighted_quantile(amplitude, movement->windows, 0.8);
    s->spread = 0.5 * (high - low) / sqrt(fmax(movement->windows / 3.0, 1));
    for (int i = 0; i < movement->spaces; i++) {
        sl_weighed own[WINDOWS_MOST];
        double sum = 0;
        int n = 0;
        for (int w = 0; w < movement->windows; w++)
            if (movement->window[w].space == i) {
                own[n++] = (sl_weighed){s->window[w].amplitude, sl_motion_weight(movement->window[w].misfit)};
                sum += s->window[w].index;
            }
        if (n)
            s->space[s->spaces++] = (sl_sliding_part){(double)movement->space[i].beams.first / SL_BEAMS,
                                                      (double)(movement->space[i].beams.last + 1) / SL_BEAMS,
                                                      sl_weighted_quantile(own, n, SLIDE_AMPLITUDE_QUANTILE), sum / n};
    }
}

/* `r` is of `path`. The lung's own path is held against it where it has the same rhythm. */
static void count_chest(const work *k, const double *path, const sl_repeat *r, double like_least, double swing_least, sl_breath_reference what, sl_sliding *s)
{
    if (!(r->likeness > like_least && r->swing > swing_least))
        return;
    s->chest_moves = true;
    s->chest_cycles = fmax(s->chest_cycles, r->cycles);
    if (!sl_known(s->breath.hz))
        return;
    sl_phase phase = sl_rhythm_phase(k->time, k->mean, path, k->n, s->breath.hz);
    if (phase.other_explained > PHASE_EXPLAINED) {
        s->phase = phase;
        s->reference = what;
    }
}

/* Whether the chest breathes though the lung may not slide: its wall glides under the probe, or the pleura rises and falls, and does so
 * again a breath later. A hand sways too, but seldom twice alike. The line's depth comes last: as reference it is the better one, since a
 * hand changes it less. */
static void find_chest(const sl_movement *movement, work *k, sl_sliding *s)
{
    sl_repeat r = sl_rhythm_repeats(k->time, movement->wall, k->n, BREATH_HZ_MOST, k->scratch);
    count_chest(k, movement->wall, &r, CHEST_REPEATS_WALL, CHEST_SWING_BEAMS, SL_BREATH_BY_WALL, s);
    for (int t = 0; t < k->n; t++)
        k->even[t] = (double)movement->rise[t];
    r = sl_rhythm_repeats(k->time, k->even, k->n, BREATH_HZ_MOST, k->scratch);
    count_chest(k, k->even, &r, CHEST_REPEATS_RISE, CHEST_SWING_ROWS, SL_BREATH_BY_RISE, s);
}

/* Whether the lung's path is what taking the wall's from it leaves: part of what is seen at the line does not go with the wall under a hand
 * that sways (echoes fixed to the probe lie over it), so that a share of the wall's path stays, upside down. */
static bool left_of_wall(const sl_movement *movement, const work *k)
{
    sl_path_products p = sl_motion_products(k->mean, movement->wall, k->n);
    return p.xx > 0 && p.yy > 0 && p.xy < -SLIDE_LEFT_LIKE * sqrt(p.xx * p.yy) &&
           range_of(k->mean, k->n, SLIDE_RANGE_OUT, k->scratch) < SLIDE_LEFT_SHARE * range_of(movement->wall, k->n, SLIDE_RANGE_OUT, k->scratch);
}

static void measure_speed(bool times_known, work *k, sl_sliding *s)
{
    s->speed = SL_UNKNOWN;
    if (!times_known)
        return;
    s->speed = 0;
    for (int t = 0, later = 0; t < k->n; t++) {
        while (later < k->n && k->time[later] < k->time[t] + SLIDE_SPEED_S)
            later++;
        if (later < k->n)
            s->speed = fmax(s->speed, fabs(k->mean[later] - k->mean[t]) / (k->time[later] - k->time[t]));
    }
}

sl_status sl_sliding_measure(const sl_stack *stack, const sl_movement *movement, sl_arena *arena, sl_sliding *s, sl_error *error)
{
    memset(s, 0, sizeof *s);
    s->reason = movement->reason;
    s->index = SL_UNKNOWN;
    s->seconds = s->speed = s->beam_mm = s->row_mm = SL_UNKNOWN;
    s->breath.hz = s->heart.hz = SL_UNKNOWN;
    s->times_known = stack->times_known;
    s->frame_s = stack->frame_s;
    if (!movement->windows)
        return SL_OK;
    work k;
    if (!make_room(movement->frames, arena, &k))
        return sl_fail(error, SL_MEMORY, "Memory ran out while movement was measured.");
    s->frames = movement->frames;
    s->first_source = stack->source[0];
    s->last_source = stack->source[stack->frames - 1];
    s->first_time_s = stack->time_s[0];
    s->last_time_s = stack->time_s[stack->frames - 1];
    if (stack->times_known)
        s->seconds = s->last_time_s - s->first_time_s;
    s->depth = movement->lung_depth;
    s->beam_px = sl_view_beam_step_px(stack->view, SL_BEAMS, movement->lung_depth);
    s->beam_mm = s->beam_px * stack->view->mm_per_px;
    s->row_mm = sl_view_depth_mm(stack->view) / SL_DEPTHS;
    if (!find_rhythms(movement, stack->times_known, arena, &k, s))
        return sl_fail(error, SL_MEMORY, "Memory ran out while movement was measured.");
    find_chest(movement, &k, s);
    s->left_of_wall = left_of_wall(movement, &k);
    s->pulse_coherence = pulse_coherence(movement, &k);
    bool heart = s->heart.explained > HEART_EXPLAINED && s->pulse_coherence > HEART_COHERENCE;
    measure_windows(movement, heart, &k, s);
    measure_speed(stack->times_known, &k, s);
    double wall = 0, beams = 0;
    for (int i = 0; i < movement->spaces; i++) {
        double wide = movement->space[i].beams.last - movement->space[i].beams.first + 1;
        s->sway += wide * range_of(movement->space[i].wall, k.n, SLIDE_RANGE_OUT, k.scratch);
        wall += wide * movement->space[i].wall_persistence;
        beams += wide;
    }
    s->sway /= beams;
    s->wall_persistence = wall / beams;
    return SL_OK;
}
