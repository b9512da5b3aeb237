#include "reading/borders.h"

#include "core/units.h"
#include "reading/diaphragm.h"
#include "reading/motion_table.h"
#include "reading/muscle.h"

#include <stdlib.h>
#include <string.h>

static const char *const keys[] = {[SL_BORDER_DOME] = "dome", [SL_BORDER_MUSCLE] = "muscle"};
static const char no_room[] = "Memory ran out while the borders were measured.";

const char *sl_border_key(sl_border_kind kind)
{
    return keys[kind];
}

bool sl_border_by_key(const char *key, sl_border_kind *kind)
{
    for (int i = 0; key && i < SL_BORDER_KINDS; i++)
        if (!strcmp(key, keys[i])) {
            *kind = (sl_border_kind)i;
            return true;
        }
    return false;
}

int sl_border_lines(sl_border_kind kind)
{
    return kind == SL_BORDER_MUSCLE ? 2 : 1;
}

const sl_code *sl_border_codes(sl_border_kind kind, int *count)
{
    static const sl_code dome[] = {SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED};
    static const sl_code muscle[] = {SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING};
    *count = kind == SL_BORDER_MUSCLE ? 3 : 2;
    return kind == SL_BORDER_MUSCLE ? muscle : dome;
}

/* ---- the cubic ---- */

/* Slopes at the knots; 0 at the ends, so that what holds beyond them goes on without a bend. */
static void slopes_of(const double *x, const double *y, int n, double *slope)
{
    for (int i = 0; i < n; i++) {
        slope[i] = 0;
        if (i == 0 || i == n - 1)
            continue;
        double h0 = x[i] - x[i - 1], h1 = x[i + 1] - x[i], d0 = (y[i] - y[i - 1]) / h0, d1 = (y[i + 1] - y[i]) / h1;
        if (d0 * d1 > 0)
            slope[i] = 3 * (h0 + h1) / ((2 * h1 + h0) / d0 + (h1 + 2 * h0) / d1);
    }
}

static double cubic(const double *x, const double *y, const double *slope, int n, double at)
{
    if (at <= x[0])
        return y[0];
    if (at >= x[n - 1])
        return y[n - 1];
    int i = 0;
    while (at > x[i + 1])
        i++;
    double h = x[i + 1] - x[i], u = (at - x[i]) / h, v = 1 - u;
    return v * v * (1 + 2 * u) * y[i] + u * v * v * h * slope[i] + u * u * (3 - 2 * u) * y[i + 1] - u * u * v * h * slope[i + 1];
}

/* ---- the hand's points on the clip's frames ---- */

/* Index of the frame that was read nearest to a frame of the file; -1 outside the clip. */
static int nearest(const sl_border_path *path, int frame)
{
    int best = -1;
    if (path->frames < 1 || frame < path->source[0] || frame > path->source[path->frames - 1])
        return -1;
    for (int t = 0; t < path->frames; t++)
        if (best < 0 || abs(path->source[t] - frame) < abs(path->source[best] - frame))
            best = t;
    return best;
}

/* Where everything is: times as they are or at even steps, the points' and turns' indices. */
typedef struct set {
    int frames, lines;
    double *time_s;
    bool timed;
    const double *found[SL_BORDER_LINES]; /* NULL: set anew */
    int at[SL_BORDER_POINTS_MOST], turn[SL_BORDER_TURNS_MOST];
} set;

static sl_status place(const sl_border_path *found, const sl_border_hand *hand, set *s, sl_error *error)
{
    int last[SL_BORDER_LINES] = {-1, -1};
    for (int i = 0; i < hand->points; i++) {
        const sl_border_point *p = &hand->point[i];
        int t = nearest(found, p->frame);
        if (t < 0)
            return sl_fail(error, SL_USAGE, "A border's point lies outside the frames that were read (%d to %d). Place it again.",
                           found->source[0], found->source[found->frames - 1]);
        if (t <= last[p->line])
            return sl_fail(error, SL_USAGE, "The points of a border come in the order of their frames, one a frame. Place them again.");
        s->at[i] = last[p->line] = t;
    }
    for (int i = 0; i < hand->turns; i++) {
        s->turn[i] = nearest(found, hand->turn[i].frame);
        if (s->turn[i] < 0)
            return sl_fail(error, SL_USAGE, "A turning point lies outside the frames that were read (%d to %d). Mark it again.", found->source[0],
                           found->source[found->frames - 1]);
        if (i && (s->turn[i] <= s->turn[i - 1] || hand->turn[i].inspired == hand->turn[i - 1].inspired))
            return sl_fail(error, SL_USAGE, "Turning points come in the order of their frames, ends of expiration and of inspiration by turns. Mark them again.");
    }
    return SL_OK;
}

/* The border `line` with the hand's points, point `moved` deeper by `by`, into `depth`. */
static void run(const set *s, const sl_border_hand *hand, int line, int moved, double by, double *depth)
{
    double x[SL_BORDER_POINTS_MOST], y[SL_BORDER_POINTS_MOST], slope[SL_BORDER_POINTS_MOST];
    const double *found = s->found[line];
    int n = 0;
    for (int i = 0; i < hand->points; i++)
        if (hand->point[i].line == line) {
            x[n] = s->time_s[s->at[i]];
            y[n++] = hand->point[i].depth + (i == moved ? by : 0) - (found ? found[s->at[i]] : 0);
        }
    slopes_of(x, y, n, slope);
    for (int t = 0; t < s->frames; t++)
        if (found)
            depth[t] = found[t] + (n ? cubic(x, y, slope, n, s->time_s[t]) : 0);
        else
            depth[t] = n > 1 && s->time_s[t] >= x[0] && s->time_s[t] <= x[n - 1] ? cubic(x, y, slope, n, s->time_s[t]) : SL_UNKNOWN;
}

/* ---- figures ---- */

/* First and last frame in which all lines are. */
static bool extent(const set *s, double *const depth[], int *first, int *count)
{
    int last = -1;
    *first = -1;
    for (int t = 0; t < s->frames; t++) {
        bool all = true;
        for (int k = 0; k < s->lines; k++)
            all = all && sl_known(depth[k][t]);
        if (all) {
            *first = *first < 0 ? t : *first;
            last = t;
        }
    }
    *count = last - *first + 1;
    return *first >= 0 && *count >= MOTION_FRAMES_LEAST;
}

/* What breaths are found in: way towards the probe or thickness, rows. */
static void values_of(sl_border_kind kind, double *const depth[], int first, int count, double *value)
{
    for (int t = 0; t < count; t++)
        value[t] = SL_DEPTHS * (kind == SL_BORDER_MUSCLE ? depth[1][first + t] - depth[0][first + t] : -depth[0][first + t]);
}

enum { NUMBERS = 3 };
/* Way and speed; or thin, thick and thickening in percent. */
static void numbers_of(sl_border_kind kind, const sl_breaths *breaths, double out[NUMBERS])
{
    if (kind == SL_BORDER_DOME) {
        sl_dome_medians m = sl_dome_medians_of(breaths);
        out[0] = m.way;
        out[1] = m.speed;
        out[2] = 0;
    } else {
        sl_muscle m = {.breaths = *breaths};
        sl_muscle_medians(&m);
        out[0] = m.thin;
        out[1] = m.thick;
        out[2] = sl_thickening(m.thin, m.thick);
    }
}

static double of_breath(sl_border_kind kind, const sl_breath *b)
{
    return kind == SL_BORDER_DOME ? b->high - b->low : sl_thickening(b->low, b->high);
}

/* What placing adds: every point moved, the turning points held. */
static bool carry(sl_border_kind kind, const set *s, const sl_border_hand *hand, double sd, double *const as[], int first, int count, sl_arena *arena,
                  sl_border_figures *f, double numbers[NUMBERS])
{
    const sl_breaths *b = &f->breaths;
    double *moved = SL_NEW(arena, s->frames + 1, double), *value = SL_NEW(arena, count + 1, double);
    double here[NUMBERS], there[NUMBERS];
    int low[BREATHS_MOST], high[BREATHS_MOST];
    sl_breaths *still = SL_NEW(arena, 1, sl_breaths), *other = SL_NEW(arena, 1, sl_breaths);
    memset(numbers, 0, NUMBERS * sizeof *numbers);
    if (!moved || !value || !still || !other)
        return false;
    for (int i = 0; i < b->count; i++) {
        low[i] = b->breath[i].from;
        high[i] = b->breath[i].to;
    }
    for (int i = -1; i < hand->points && sd > 0; i++) {
        double *depth[SL_BORDER_LINES] = {as[0], as[1]};
        if (i >= 0) {
            run(s, hand, hand->point[i].line, i, sd, moved);
            depth[hand->point[i].line] = moved;
        }
        values_of(kind, depth, first, count, value);
        sl_breaths *to = i < 0 ? still : other;
        sl_arena scratch = {0};
        bool made = sl_breaths_between(s->time_s + first, value, count, low, high, b->count, &scratch, to);
        sl_arena_free(&scratch);
        if (!made)
            return false;
        for (int k = 0; k < b->count; k++)
            to->breath[k].whole = b->breath[k].whole;
        numbers_of(kind, to, i < 0 ? here : there);
        for (int k = 0; i >= 0 && k < NUMBERS; k++)
            numbers[k] += sl_known(there[k] - here[k]) ? (there[k] - here[k]) * (there[k] - here[k]) : 0;
        for (int k = 0; i >= 0 && k < b->count; k++) {
            double off = of_breath(kind, &to->breath[k]) - of_breath(kind, &still->breath[k]);
            f->hand_sd[k] += sl_known(off) ? off * off : 0;
        }
    }
    for (int k = 0; k < NUMBERS; k++)
        numbers[k] = 1.96 * sqrt(numbers[k]);
    for (int k = 0; k < b->count; k++)
        f->hand_sd[k] = sqrt(f->hand_sd[k]);
    return true;
}

static void state(sl_border_kind kind, const set *s, double *const depth[], int first, int count, const double numbers[NUMBERS], sl_arena *arena,
                  sl_border_figures *f)
{
    const sl_border_path *p = &f->path;
    if (kind == SL_BORDER_DOME) {
        int near = first, far = first;
        for (int t = first; t < first + count; t++) {
            near = depth[0][t] < depth[0][near] ? t : near;
            far = depth[0][t] > depth[0][far] ? t : far;
        }
        sl_dome d = {.frames = count, .reason = "", .index = p->index, .breaths = f->breaths, .row_mm = f->row_mm, .times_known = s->timed,
                     .beam = p->beam, .near_depth = depth[0][near], .far_depth = depth[0][far], .near_source = p->source[near],
                     .far_source = p->source[far], .hand_way = numbers[0], .hand_speed = numbers[1], .placed = true};
        sl_dome_amounts(&d, "", arena, f->reading);
    } else {
        double row = 0;
        for (int t = first; t < first + count; t++)
            row += depth[0][t] / count;
        sl_muscle m = {.frames = count, .reason = "", .index = p->index, .edges = SL_UNKNOWN, .breaths = f->breaths, .row_mm = f->row_mm,
                       .times_known = s->timed, .first_beam = p->beam, .last_beam = p->beam, .depth = row, .first_source = p->source[first],
                       .last_source = p->source[first + count - 1], .first_time_s = s->time_s[first], .last_time_s = s->time_s[first + count - 1],
                       .hand_thin = numbers[0], .hand_thick = numbers[1], .hand_share = numbers[2]};
        sl_muscle_medians(&m);
        sl_muscle_amounts(&m, arena, f->reading);
    }
}

static void left_open(sl_border_kind kind, const char *why, sl_reading *reading)
{
    int count;
    const sl_code *code = sl_border_codes(kind, &count);
    for (int i = 0; i < count; i++)
        sl_reading_put(reading, code[i])->reason = why;
}

static bool find(sl_border_kind kind, const set *s, const sl_border_hand *hand, double *const depth[], int first, int count, sl_arena *arena,
                 sl_border_figures *f)
{
    const double *time_s = s->time_s + first;
    bool made;
    if (hand->turns) {
        double *value = SL_NEW(arena, count + 1, double);
        int low[BREATHS_MOST], high[BREATHS_MOST], n = 0;
        for (int i = 1; i < hand->turns && n < BREATHS_MOST; i++)
            if (hand->turn[i].inspired && s->turn[i - 1] >= first && s->turn[i] < first + count) {
                low[n] = s->turn[i - 1] - first;
                high[n++] = s->turn[i] - first;
            }
        if (value)
            values_of(kind, depth, first, count, value);
        made = value && sl_breaths_between(time_s, value, count, low, high, n, arena, &f->breaths);
    } else
        made = kind == SL_BORDER_DOME ? sl_dome_breaths(time_s, depth[0] + first, count, f->row_mm, arena, &f->breaths)
                                      : sl_muscle_breaths(time_s, depth[0] + first, depth[1] + first, count, f->row_mm, arena, &f->breaths);
    for (int b = 0; made && b < f->breaths.count; b++) {
        f->breaths.breath[b].from_source = f->path.source[first + f->breaths.breath[b].from];
        f->breaths.breath[b].to_source = f->path.source[first + f->breaths.breath[b].to];
        if (!s->timed)
            f->breaths.breath[b].from_s = f->breaths.breath[b].to_s = f->breaths.breath[b].speed = SL_UNKNOWN;
    }
    return made;
}

sl_status sl_borders_measure(sl_border_kind kind, const sl_border_path *found, const sl_border_hand *by, const sl_view *view, sl_arena *arena,
                             sl_border_figures *f, sl_error *error)
{
    static const sl_border_hand none = {.beam = SL_UNKNOWN};
    const sl_border_hand *hand = by ? by : &none;
    *f = (sl_border_figures){.path = *found, .row_mm = SL_UNKNOWN};
    double depth_mm = sl_view_depth_mm(view), depth_px = sl_view_depth_px(view);
    if (sl_known(depth_mm))
        f->row_mm = depth_mm / SL_DEPTHS;
    f->reading = sl_reading_new(arena, SL_BY_PERSON, "", "");
    if (!f->reading)
        return sl_fail(error, SL_MEMORY, no_room);
    f->reading->method = "borders set by hand";
    if (found->frames < MOTION_FRAMES_LEAST) {
        left_open(kind, "too few frames to see anything move", f->reading);
        return SL_OK;
    }
    set s = {.frames = found->frames, .lines = sl_border_lines(kind), .timed = true};
    s.time_s = SL_NEW(arena, s.frames, double);
    double *depth[SL_BORDER_LINES] = {0};
    bool room = s.time_s != NULL, keep = found->found && !hand->anew;
    for (int k = 0; k < s.lines; k++) {
        depth[k] = SL_NEW(arena, s.frames, double);
        s.found[k] = keep ? found->depth[k] : NULL;
        room = room && depth[k];
    }
    if (!room)
        return sl_fail(error, SL_MEMORY, no_room);
    for (int t = 0; t < s.frames; t++) /* of a file without times, or with times that stand still: even steps by the frames' numbers */
        s.timed = s.timed && sl_known(found->time_s[t]) && (!t || found->time_s[t] > found->time_s[t - 1]);
    for (int t = 0; t < s.frames; t++)
        s.time_s[t] = s.timed ? found->time_s[t] : MOTION_FRAME_S * found->source[t];
    sl_status status = place(found, hand, &s, error);
    if (status != SL_OK)
        return status;
    for (int k = 0; k < s.lines; k++) {
        run(&s, hand, k, -1, 0, depth[k]);
        f->path.depth[k] = depth[k];
    }
    if (!keep) {
        f->path.found = false;
        f->path.index = SL_UNKNOWN;
        f->path.beam = sl_known(hand->beam) ? hand->beam : found->beam;
    }
    for (int t = 0; t < s.frames; t++)
        for (int k = 0; k < s.lines; k++) {
            if (sl_known(depth[k][t]) && (depth[k][t] < 0 || depth[k][t] > 1)) /* a shift that leads out of the picture: kept to it */
                depth[k][t] = depth[k][t] < 0 ? 0 : 1;
            if (k && hand->points && sl_known(depth[0][t]) && sl_known(depth[k][t]) && !(depth[k][t] > depth[0][t]))
                return sl_fail(error, SL_USAGE, "The lower border lies above the upper one in frame %d. Place it again.", found->source[t]);
        }
    int first, count;
    if (!extent(&s, depth, &first, &count)) {
        left_open(kind, hand->points ? "too few points of the border: two or more each, some frames apart" : "no border was found or placed", f->reading);
        return SL_OK;
    }
    double numbers[NUMBERS], sd = sl_known(depth_px) && depth_px > 0 ? BORDER_HAND_PX / depth_px : 0;
    if (!find(kind, &s, hand, depth, first, count, arena, f) ||
        !carry(kind, &s, hand, sd, depth, first, count, arena, f, numbers))
        return sl_fail(error, SL_MEMORY, no_room);
    state(kind, &s, depth, first, count, numbers, arena, f);
    return SL_OK;
}
