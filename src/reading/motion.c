#include "reading/motion.h"

#include "core/units.h"
#include "reading/track.h"

#include <math.h>
#include <string.h>

typedef struct lags {
    int count, lag[TRACK_LAGS_MOST], later; /* `later`: index of the one MOTION_LATER_S apart */
} lags;

static void add_lag(lags *l, int lag)
{
    for (int i = 0; i < l->count; i++)
        if (l->lag[i] == lag)
            return;
    if (l->count < TRACK_LAGS_MOST)
        l->lag[l->count++] = lag;
}

/* 1, 2, 4 ... frames apart up to MOTION_LAG_MOST_S: short ones do not lose a fast lung, long ones do not add up a slow
 * one's errors. */
static lags choose_lags(const sl_stack *stack)
{
    lags l = {0};
    double frame_s = stack->times_known && stack->frame_s > 0 ? stack->frame_s : MOTION_FRAME_S;
    int most = (int)(MOTION_LAG_MOST_S / frame_s);
    most = most > SL_STEP_REACH ? SL_STEP_REACH : most;
    most = most > stack->frames - 1 ? stack->frames - 1 : most;
    int later = (int)(MOTION_LATER_S / frame_s + 0.5);
    later = later < 1 ? 1 : later > most ? most > 1 ? most : 1 : later;
    for (int lag = 1; lag == 1 || lag <= most; lag *= 2)
        add_lag(&l, lag);
    add_lag(&l, later);
    for (int i = 0; i < l.count; i++)
        if (l.lag[i] == later)
            l.later = i;
    return l;
}

/* Windows across each run of beams that may be looked at, evenly, the first and last at its ends. */
static void place_windows(const float *use, sl_movement *motion)
{
    for (int first = 0, last; first < SL_BEAMS && motion->spaces < SL_SPACES_MOST; first = last + 1) {
        last = first;
        if (!(use[first] > 0))
            continue;
        while (last + 1 < SL_BEAMS && use[last + 1] > 0)
            last++;
        int wide = last - first + 1;
        if (wide < WINDOW_LEAST)
            continue;
        int size = wide < WINDOW_BEAMS ? wide : WINDOW_BEAMS;
        int count = 1 + (wide - size + WINDOW_STEP / 2) / WINDOW_STEP;
        for (int k = 0; k < count && motion->windows < WINDOWS_MOST; k++) {
            int at = first + (count > 1 ? (wide - size) * k / (count - 1) : 0);
            motion->window[motion->windows++] = (sl_window_motion){.beams = {at, at + size - 1}, .space = motion->spaces};
        }
        motion->space[motion->spaces++] = (sl_space_motion){.beams = {first, last}};
    }
}

/* How much a step counts: what correlates well. */
static float weight_of(const sl_match *m)
{
    if (m->edge || !(m->peak > MOTION_PEAK_LEAST) || !isfinite(m->shift))
        return 0;
    float p = m->peak < 0.98f ? m->peak : 0.98f;
    return p * p / (1 - p * p);
}

/* Sums over the pairs of one lag. */
typedef struct sums {
    double peak, still, lost, edge, pairs;
} sums;

static void add_match(sums *s, const sl_match *m)
{
    s->peak += (double)m->peak;
    s->still += (double)m->still;
    s->lost += !(m->peak > MOTION_PEAK_LEAST);
    s->edge += m->edge;
    s->pairs++;
}

/* Against what neighbouring frames keep, so that noise, which makes all frames differ, does not count as movement; where
 * frames are so far apart that the next one is "later" already, against what the best match keeps. */
static double persistence_of(const sums *next, const sums *later, bool same)
{
    double kept = same ? next->peak : next->still;
    return kept > 0.05 * next->pairs && later->pairs > 0 ? fmin(fmax(later->still / later->pairs * next->pairs / kept, 0), 1) : 1;
}

static double mean(double sum, double n)
{
    return n > 0 ? sum / n : SL_UNKNOWN;
}

typedef struct follower {
    sl_step *step[WINDOWS_MOST + SL_SPACES_MOST]; /* windows first, then the walls */
    int steps;
    bool same; /* "later" is the next frame */
    sums next[WINDOWS_MOST + SL_SPACES_MOST], later[WINDOWS_MOST + SL_SPACES_MOST];
} follower;

static void match_pair(const sl_strips *strips, const sl_movement *motion, double wall_to_lung, int from, int to, follower *f,
                       bool next, bool later)
{
    sl_match wall[SL_SPACES_MOST], lung[WINDOWS_MOST];
    sl_beam_range space[SL_SPACES_MOST], window[WINDOWS_MOST];
    for (int s = 0; s < motion->spaces; s++)
        space[s] = motion->space[s].beams;
    for (int w = 0; w < motion->windows; w++)
        window[w] = motion->window[w].beams;
    sl_track_windows(sl_strip_wall(strips, from), sl_strip_wall(strips, to), STRIP_WALL_ROWS, strips->use, TRACK_WALL_MOST, 0,
                     space, motion->spaces, wall);
    double expect = 0, weights = 0;
    for (int s = 0; s < motion->spaces; s++) {
        double w = (double)weight_of(&wall[s]) * (space[s].last - space[s].first + 1);
        if (w > 0) {
            expect += w * (double)wall[s].shift;
            weights += w;
        }
    }
    expect = weights > 0 ? expect / weights * wall_to_lung : 0;
    sl_track_windows(sl_strip_lung(strips, from), sl_strip_lung(strips, to), STRIP_LUNG_ROWS, strips->use, TRACK_SHIFT_MOST,
                     (float)expect, window, motion->windows, lung);
    for (int w = 0; w < motion->windows + motion->spaces; w++) {
        const sl_match *m = w < motion->windows ? &lung[w] : &wall[w - motion->windows];
        f->step[w][f->steps] = (sl_step){from, to, m->shift, weight_of(m)};
        if (next)
            add_match(&f->next[w], m);
        if (later)
            add_match(&f->later[w], m);
    }
    f->steps++;
}

/* The wall's path: it moves as one, and where something fixed to the probe lies over it, it seems to move less. */
static bool join_walls(int frames, sl_arena *arena, sl_movement *motion)
{
    double *wall = SL_NEW(arena, frames + 1, double), weights = 0;
    if (!wall)
        return false;
    for (int s = 0; s < motion->spaces; s++) {
        const sl_space_motion *space = &motion->space[s];
        double trust = sl_motion_weight(space->wall_misfit), moves = 1 + MOTION_WALL_STILL - space->wall_persistence;
        if (!(trust > 0))
            continue;
        double weight = (space->beams.last - space->beams.first + 1) * moves * moves * trust;
        for (int t = 0; t < frames; t++)
            wall[t] += weight * space->wall[t];
        weights += weight;
    }
    for (int t = 0; t < frames && weights > 0; t++)
        wall[t] /= weights;
    motion->wall = wall;
    return true;
}

static bool make_paths(const sl_stack *stack, const follower *f, double wall_to_lung, sl_arena *arena, sl_movement *motion)
{
    for (int s = 0; s < motion->spaces; s++) {
        sl_space_motion *space = &motion->space[s];
        int at = motion->windows + s;
        space->wall = SL_NEW(arena, stack->frames + 1, double);
        if (!space->wall || !sl_track_path(f->step[at], f->steps, stack->frames, arena, space->wall, &space->wall_misfit))
            return false;
        space->wall_peak_next = mean(f->next[at].peak, f->next[at].pairs);
        space->wall_persistence = persistence_of(&f->next[at], &f->later[at], f->same);
    }
    if (!join_walls(stack->frames, arena, motion))
        return false;
    for (int w = 0; w < motion->windows; w++) {
        sl_window_motion *window = &motion->window[w];
        window->x = SL_NEW(arena, stack->frames + 1, double);
        if (!window->x || !sl_track_path(f->step[w], f->steps, stack->frames, arena, window->x, &window->misfit))
            return false;
        for (int t = 0; t < stack->frames; t++)
            window->x[t] -= wall_to_lung * motion->wall[t];
        window->peak_next = mean(f->next[w].peak, f->next[w].pairs);
        window->still_next = mean(f->next[w].still, f->next[w].pairs);
        window->lost_share = mean(f->next[w].lost, f->next[w].pairs);
        window->edge_share = mean(f->next[w].edge, f->next[w].pairs);
        window->persistence = persistence_of(&f->next[w], &f->later[w], f->same);
        window->still_later = mean(f->later[w].still, f->later[w].pairs);
        window->peak_later = mean(f->later[w].peak, f->later[w].pairs);
    }
    return true;
}

/* Mean grey of the wall above the spaces' line in a frame. */
static double wall_grey(const sl_stack *stack, const sl_pleura *pleura, int frame)
{
    const uint8_t *cell = sl_stack_frame(stack, frame);
    double sum = 0, n = 0;
    for (int j = 0; j < SL_BEAMS; j++) {
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || !isfinite(pleura->line[j]))
            continue;
        int last = (int)pleura->line[j] - STRIP_WALL_GAP, first = last - STRIP_WALL_ROWS;
        for (int i = first < 0 ? 0 : first; i < last && i < SL_DEPTHS; i++) {
            sum += stack->mask[i * SL_BEAMS + j] ? cell[i * SL_BEAMS + j] : 0;
            n += stack->mask[i * SL_BEAMS + j];
        }
    }
    return n > 0 ? sum / n : 0;
}

sl_stack sl_motion_in_contact(const sl_stack *stack, const sl_pleura *pleura)
{
    sl_stack held = *stack;
    double most = 0;
    for (int t = 0; t < stack->frames && pleura->seen; t++)
        most = fmax(most, wall_grey(stack, pleura, t));
    int first = 0, best = 0, best_first = 0;
    for (int t = 0; t <= stack->frames && most > 0; t++) {
        bool touches = t < stack->frames && wall_grey(stack, pleura, t) > MOTION_CONTACT_GREY * most;
        if (touches)
            continue;
        if (t - first > best) {
            best = t - first;
            best_first = first;
        }
        first = t + 1;
    }
    if (best < 1 || best == stack->frames)
        return held;
    held.frames = best;
    held.cell += (size_t)best_first * SL_CELLS;
    held.time_s += best_first;
    held.source += best_first;
    held.level += best_first;
    held.change += best_first;
    return held;
}

sl_status sl_motion_follow(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_movement *motion, sl_error *error)
{
    memset(motion, 0, sizeof *motion);
    motion->frames = stack->frames;
    motion->time_s = stack->time_s;
    motion->later_s = SL_UNKNOWN;
    motion->reason = stack->frames < MOTION_FRAMES_LEAST ? "too few frames to see anything move"
                     : !pleura->seen                       ? "no pleural line was found"
                                                           : "";
    if (motion->reason[0])
        return SL_OK;
    sl_status status = sl_strips_cut(stack, pleura, arena, &motion->strips, error);
    if (status != SL_OK)
        return status;
    const sl_strips *strips = &motion->strips;
    place_windows(strips->use, motion);
    motion->rise = strips->rise;
    motion->lung_depth = strips->lung_depth;
    motion->wall_depth = strips->wall_depth;
    if (!motion->windows) {
        motion->reason = "no space between the ribs is wide enough to follow the pleural line in";
        return SL_OK;
    }
    lags l = choose_lags(stack);
    if (stack->times_known)
        motion->later_s = l.lag[l.later] * stack->frame_s;
    /* The same distance is fewer beams further down a fan. */
    motion->later = l.lag[l.later];
    double wall_to_lung = motion->wall_to_lung = sl_view_beam_step_px(stack->view, SL_BEAMS, strips->wall_depth) /
                          sl_view_beam_step_px(stack->view, SL_BEAMS, strips->lung_depth);
    follower *f = SL_NEW(arena, 1, follower);
    bool room = f != NULL;
    if (room)
        f->same = l.lag[l.later] == 1;
    for (int w = 0; room && w < motion->windows + motion->spaces; w++)
        room = (f->step[w] = SL_NEW(arena, (size_t)stack->frames * (size_t)l.count + 1, sl_step)) != NULL;
    for (int i = 0; room && i < l.count; i++)
        for (int t = 0; t + l.lag[i] < stack->frames; t++)
            match_pair(strips, motion, wall_to_lung, t, t + l.lag[i], f, l.lag[i] == 1, i == l.later);
    if (!room || !make_paths(stack, f, wall_to_lung, arena, motion))
        return sl_fail(error, SL_MEMORY, "Memory ran out while movement was followed.");
    return SL_OK;
}

void sl_motion_seconds(const sl_movement *movement, bool times_known, double *time)
{
    for (int t = 0; t < movement->frames; t++)
        time[t] = times_known ? movement->time_s[t] - movement->time_s[0] : t * MOTION_FRAME_S;
}

double sl_motion_weight(double misfit)
{
    return sl_known(misfit) ? 1 / (misfit * misfit + SLIDE_MISFIT_FLOOR * SLIDE_MISFIT_FLOOR) : 0;
}

sl_path_products sl_motion_products(const double *x, const double *y, int n)
{
    sl_path_products sum = {0};
    double mx = 0, my = 0;
    for (int t = 0; t < n; t++) {
        mx += x[t] / n;
        my += y[t] / n;
    }
    for (int t = 0; t < n; t++) {
        sum.xx += (x[t] - mx) * (x[t] - mx);
        sum.yy += (y[t] - my) * (y[t] - my);
        sum.xy += (x[t] - mx) * (y[t] - my);
    }
    return sum;
}
