#include "reading/lung_point.h"

#include "core/order.h"
#include "core/straight.h"
#include "core/units.h"
#include "reading/answer.h"
#include "reading/filters.h"
#include "reading/lung_sides.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Every strip's power, place by place and over its neighbours, so that a bright border does not outweigh the speckle. */
static void find_scale(const sl_movement *movement, float *scale)
{
    float power[STRIP_LUNG_ROWS * SL_BEAMS] = {0}, near[STRIP_LUNG_ROWS * SL_BEAMS], lit[SL_BEAMS];
    const float *taken = movement->strips.still;
    sl_filter filter;
    sl_filter_gauss(LUNG_POINT_POWER_BEAMS, &filter);
    for (int t = 0; t < movement->frames; t++) {
        const float *strip = sl_strip_lung(&movement->strips, t);
        for (int i = 0; i < STRIP_LUNG_ROWS * SL_BEAMS; i++)
            power[i] += (strip[i] + taken[i]) * (strip[i] + taken[i]) / (float)movement->frames;
    }
    sl_filter_beams(&filter, power, STRIP_LUNG_ROWS, near);
    sl_filter_beams(&filter, movement->strips.lit, 1, lit);
    for (int i = 0; i < STRIP_LUNG_ROWS * SL_BEAMS; i++)
        scale[i] = 1 / sqrtf(near[i] / fmaxf(lit[i % SL_BEAMS], 0.05f) + LUNG_POINT_POWER_FLOOR);
}

typedef struct frames_at {
    double frames, x;
} frames_at;

static int by_frames(const void *a, const void *b)
{
    double x = ((const frames_at *)a)->frames, y = ((const frames_at *)b)->frames;
    return (x > y) - (x < y);
}

static double range_between(const double *x, int n, double *scratch, double *low)
{
    memcpy(scratch, x, (size_t)n * sizeof *x);
    qsort(scratch, (size_t)n, sizeof *scratch, sl_by_double);
    int skip = (int)(LUNG_POINT_RANGE_OUT * n);
    *low = scratch[skip];
    return scratch[n - 1 - skip] - scratch[skip];
}

/* Mean strips along the lung's way, the wall's own movement undone; no position counts more than twice the usual one, since
 * the lung rests at one end of its way. */
static bool gather(const sl_movement *movement, const float *scale, const double *x, double *scratch, sl_positions *to)
{
    frames_at at[MEETING_BINS] = {{0, 0}}, sorted[MEETING_BINS];
    double low, range = range_between(x, movement->frames, scratch, &low);
    memset(to, 0, sizeof *to);
    if (!(range > MEETING_APART_LEAST))
        return false;
    int bins = (int)ceil(range);
    bins = bins < LUNG_POINT_BINS_LEAST ? LUNG_POINT_BINS_LEAST : bins > MEETING_BINS ? MEETING_BINS : bins;
    const float *taken = movement->strips.still;
    for (int t = 0; t < movement->frames; t++) {
        int q = (int)floor((x[t] - low) / range * bins);
        q = q < 0 ? 0 : q >= bins ? bins - 1 : q;
        float shift = (float)(movement->wall_to_lung * movement->wall[t]), part = shift - floorf(shift);
        int whole = (int)floorf(shift);
        const float *strip = sl_strip_lung(&movement->strips, t);
        for (int i = 0; i < STRIP_LUNG_ROWS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                int from = j + whole, row = i * SL_BEAMS;
                if (from < 0 || from + 1 >= SL_BEAMS)
                    continue;
                float a = (strip[row + from] + taken[row + from]) * scale[row + from],
                      b = (strip[row + from + 1] + taken[row + from + 1]) * scale[row + from + 1];
                to->mean[q][row + j] += a + part * (b - a);
            }
        at[q].frames++;
        at[q].x += x[t];
    }
    double all = 0;
    for (int q = 0; q < bins; q++) {
        if (at[q].frames < LUNG_POINT_FRAMES_LEAST)
            continue;
        int k = to->count++;
        to->x[k] = at[q].x / at[q].frames - low - 0.5 * range;
        to->weight[k] = sorted[k].frames = at[q].frames;
        for (int i = 0; i < STRIP_LUNG_ROWS * SL_BEAMS; i++)
            to->mean[k][i] = to->mean[q][i] / (float)at[q].frames;
    }
    if (to->count < LUNG_POINT_POSITIONS_LEAST)
        return false;
    qsort(sorted, (size_t)to->count, sizeof *sorted, by_frames);
    for (int k = 0; k < to->count; k++)
        all += to->weight[k] = fmin(to->weight[k], 2 * sorted[to->count / 2].frames);
    for (int k = 0; k < to->count; k++)
        to->weight[k] /= all;
    return true;
}

/* How surely the windows slide that lie wholly on the air's side: free air has no lung behind it up to the picture's edge. 0 without any. */
static double slides_beyond(const sl_movement *movement, const sl_sliding *sliding, const sl_meeting *m)
{
    double sum = 0, windows = 0;
    for (int w = 0; w < movement->windows; w++) {
        double middle = 0.5 * (movement->window[w].beams.first + movement->window[w].beams.last), beyond = middle - m->edge;
        if ((m->lung_left ? beyond : -beyond) > 0.5 * m->travel) {
            sum += sliding->window[w].index;
            windows++;
        }
    }
    return windows > 0 ? sum / windows : 0;
}

static double index_of(const sl_movement *movement, const sl_sliding *sliding, const sl_meeting *m)
{
    if (!m->found)
        return 0;
    double z = LUNG_POINT_INTERCEPT + LUNG_POINT_W_GAIN * m->gain + LUNG_POINT_W_AIR * (m->air_still - m->air_moves) +
               LUNG_POINT_W_BEYOND * slides_beyond(movement, sliding, m);
    return 1 / (1 + exp(-z));
}

/* How far the pleural line about the place lies off a straight one, rows: it goes on straight where air lies behind it, but
 * not where a rib, an organ or the heart begins. */
static double bend_of(const float *line, int first, int last)
{
    sl_straight straight = {0};
    double sum = 0;
    for (int j = first; j <= last; j++)
        sl_straight_add(&straight, j, (double)line[j]);
    double slope = straight.n > 1 ? sl_straight_slope(&straight, 0) : 0;
    for (int j = first; j <= last; j++) {
        double off = (double)line[j] - sl_straight_at(&straight, slope, j);
        sum += off * off;
    }
    return sqrt(sum / fmax(straight.n, 1));
}

typedef struct lit_run {
    int first, last;
} lit_run;

/* The runs of beams that show the line, less their rims: a rib in between hides the place, and so do its borders. Over a gap too narrow for
 * a rib the run goes on, unless the line lies elsewhere behind it. */
static int find_runs(const float *lit, const float *line, float step_most, float *open, lit_run *runs)
{
    int count = 0, end = -SL_BEAMS;
    memset(open, 0, SL_BEAMS * sizeof *open);
    for (int j = 0; j < SL_BEAMS; j++) {
        if (!(lit[j] > 0))
            continue;
        int a = j;
        while (j + 1 < SL_BEAMS && lit[j + 1] > 0)
            j++;
        bool gap = a - end - 1 <= LUNG_POINT_GAP && fabsf(line[a] - line[end]) < step_most;
        int first = gap ? a + LUNG_POINT_GAP_RIM : a + LUNG_POINT_RIM;
        for (int k = end - LUNG_POINT_RIM; gap && k <= end - LUNG_POINT_GAP_RIM; k++)
            if (k >= runs[count - 1].first)
                open[k] = 1;
        if (!gap)
            runs[count++].first = first;
        runs[count - 1].last = j - LUNG_POINT_RIM;
        for (int k = first; k <= j - LUNG_POINT_RIM; k++)
            open[k] = 1;
        end = j;
    }
    return count;
}

static void look(const sl_movement *movement, const sl_sliding *sliding, const sl_positions *positions, sl_meeting_work *work, sl_lung_point *point)
{
    float open[SL_BEAMS];
    lit_run run[SL_BEAMS];
    double bend_most = sl_known(sliding->row_mm) ? fmax(LUNG_POINT_BEND, LUNG_POINT_BEND_MM / sliding->row_mm) : LUNG_POINT_BEND;
    int runs = find_runs(movement->strips.lit, movement->strips.line, (float)(LUNG_POINT_STEP * bend_most), open, run);
    sl_meeting_prepare(positions, open, work);
    for (int r = 0; r < runs; r++) {
        sl_meeting m;
        sl_meeting_find(positions, work, run[r].first, run[r].last, &m);
        double index = index_of(movement, sliding, &m), middle = m.edge / SL_BEAMS, half = 0.5 * m.travel / SL_BEAMS;
        int from = (int)fmax(m.edge - MEETING_REACH, run[r].first), to = (int)fmin(m.edge + MEETING_REACH, run[r].last);
        if (index > point->index && bend_of(movement->strips.line, from, to) < bend_most)
            *point = (sl_lung_point){.looked = true, .index = index, .meeting = m, .place = middle, .first = fmax(middle - half, 0),
                                     .last = fmin(middle + half, 1)};
    }
}

/* The windows whose paths are tried: the furthest first, none that goes like one before it. Under a lung point windows on
 * either side of it and across it go differently, and the one that explains most is the lung's. */
static int choose_paths(const sl_movement *movement, const sl_sliding *sliding, const double **path)
{
    bool tried[WINDOWS_MOST] = {false};
    int paths = 0;
    while (paths < LUNG_POINT_PATHS) {
        int best = -1;
        for (int w = 0; w < movement->windows; w++)
            if (!tried[w] && sliding->window[w].index > LUNG_POINT_SLIDES &&
                (best < 0 || sliding->window[w].amplitude > sliding->window[best].amplitude))
                best = w;
        if (best < 0)
            return paths;
        tried[best] = true;
        const double *x = movement->window[best].x;
        bool like = false;
        for (int k = 0; k < paths && !like; k++) {
            sl_path_products p = sl_motion_products(x, path[k], movement->frames);
            like = p.xy > LUNG_POINT_LIKE * sqrt(p.xx * p.yy) && p.xx > LUNG_POINT_LIKE_SIZE * p.yy;
        }
        if (!like)
            path[paths++] = x;
    }
    return paths;
}

/* The rhythm of breathing in the lung's own path: the other windows, which cross the place or stand still, have none to share. */
static bool find_breath(const sl_movement *movement, const double *lung, bool times_known, sl_arena *arena, double *scratch, sl_rhythm *breath)
{
    double *time = SL_NEW(arena, movement->frames, double);
    if (!time)
        return false;
    sl_motion_seconds(movement, times_known, time);
    return sl_rhythm_find(time, lung, movement->frames, BREATH_HZ_LEAST, BREATH_HZ_MOST, BREATH_FUNDAMENTAL, arena, breath, scratch);
}

sl_status sl_lung_point_measure(const sl_movement *movement, const sl_sliding *sliding, sl_arena *arena, sl_lung_point *point,
                                sl_error *error)
{
    memset(point, 0, sizeof *point);
    point->place = point->first = point->last = SL_UNKNOWN;
    if (!movement->windows)
        return SL_OK;
    const double *path[LUNG_POINT_PATHS];
    int paths = choose_paths(movement, sliding, path);
    if (!paths)
        return SL_OK;
    double *scratch = SL_NEW(arena, movement->frames, double);
    float *scale = SL_NEW(arena, STRIP_LUNG_ROWS * SL_BEAMS, float);
    sl_positions *positions = SL_NEW(arena, 1, sl_positions);
    sl_meeting_work *work = sl_arena_alloc(arena, 1, sl_meeting_work_size());
    if (!scratch || !scale || !positions || !work)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the lung point was looked for.");
    find_scale(movement, scale);
    const double *lung = NULL;
    for (int k = 0; k < paths; k++)
        if (gather(movement, scale, path[k], scratch, positions)) {
            double before = point->index;
            point->looked = true;
            look(movement, sliding, positions, work, point);
            lung = point->index > before ? path[k] : lung;
        }
    sl_lung_sides sides;
    sl_lung_sides_find(movement, sliding, &sides);
    /* Not enough to claim a lung point: what is no lung and not seen as such stands still too (on 114 real clips two would be called so). */
    double hint = LUNG_POINT_PRESENT * sides.index;
    if (sides.found && hint > point->index) {
        *point = (sl_lung_point){.looked = true, .index = hint, .meeting = {.lung_left = sides.lung_left},
                                 .place = 0.5 * (sides.first + sides.last), .first = sides.first, .last = sides.last};
        lung = movement->window[sides.window].x;
    }
    if (lung && !find_breath(movement, lung, sliding->times_known, arena, scratch, &point->breath))
        return sl_fail(error, SL_MEMORY, "Memory ran out while the lung point was looked for.");
    return SL_OK;
}

void sl_lung_point_merge(sl_lung_point *into, const sl_lung_point *more)
{
    if (more->index > into->index || !into->looked)
        *into = *more;
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
    double index = point->index * sliding->index_any;
    const sl_finding *curtain = sl_reading_get(reading, SL_CURTAIN);
    /* Of all windows' common path or of the lung's own: what crosses the place draws the one off, what was lost on the way the other. */
    const sl_rhythm *rhythm = point->breath.explained > sliding->breath.explained ? &point->breath : &sliding->breath;
    bool breath = rhythm->explained > LUNG_POINT_BREATH, common = sliding->breath.explained > LUNG_POINT_BREATH;
    const sl_answer_rule rule = {.absent_below = LUNG_POINT_ABSENT, .present_above = LUNG_POINT_PRESENT};
    const char *why = sliding->lost > SLIDE_LOST_MOST ? "the picture could not be followed"
                      : !sliding->times_known         ? "frame times are not known"
                      : sliding->frame_s > SLIDE_SURE_FRAME_S
                          ? sl_arena_printf(arena, "%.1f frames a second are too few to see where sliding ends", 1 / sliding->frame_s)
                      : !sl_sliding_whole_breath(sliding, common ? sliding->breath.cycles : 0) /* one window's path fits some breath in a short clip */
                          ? "the clip may be shorter than a breath; both phases must be seen"
                      : index > LUNG_POINT_ABSENT && sl_sliding_with_hand(sliding)[0] ? sl_sliding_with_hand(sliding)
                      : index > LUNG_POINT_ABSENT && !point->meeting.found
                          ? "the lung slides on one side of the picture and nothing does on the other, but the place where they meet is not seen: "
                            "scan there, between the ribs"
                      : index > LUNG_POINT_ABSENT && !breath
                          ? "a part of the line slides and a part stands still, but not in the rhythm of breathing"
                      : index > LUNG_POINT_ABSENT && curtain && curtain->known && curtain->answer == SL_PRESENT
                          ? "lung comes over an organ there (curtain), which looks alike" : "";
    sl_rule_answer(&rule, index, why, finding);
    if (!(index > LUNG_POINT_ABSENT) || !sl_known(point->place))
        return;
    sl_evidence *evidence = SL_NEW(arena, 1, sl_evidence);
    if (evidence) {
        *evidence = (sl_evidence){
            .first_frame = sliding->first_source, .last_frame = sliding->last_source, .first_time_s = sliding->first_time_s,
            .last_time_s = sliding->last_time_s, .first_beam = point->first, .last_beam = point->last,
            .first_depth = fmax(sliding->depth - 0.03, 0), .last_depth = fmin(sliding->depth + 0.03, 1),
            .label = point->meeting.lung_left ? "lung point: lung to its left" : "lung point: lung to its right"};
        finding->evidence = travel->evidence = evidence;
        finding->evidences = travel->evidences = 1;
    }
    travel->reason = why[0] ? why : sl_known(sliding->beam_mm) ? "" : "the picture's scale is not known";
    if (travel->reason[0])
        return;
    travel->known = true;
    travel->value = point->meeting.travel * sliding->beam_mm;
    travel->low = fmax(travel->value - LUNG_POINT_SLACK_MM, 0);
    travel->high = travel->value + LUNG_POINT_SLACK_MM;
}
