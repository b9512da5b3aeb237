#include "reading/pleura_shape.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/filters.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STRIP = SHAPE_ABOVE + SHAPE_BELOW };

typedef struct work {
    float strip[STRIP * SL_BEAMS]; /* mean over frames, the line in row SHAPE_ABOVE */
    float peak[SL_BEAMS], level[SL_BEAMS];
    float residual[SL_BEAMS];      /* of one frame; NAN outside the spaces */
    bool in[SL_BEAMS];             /* in a space wide enough */
} work;

static void choose_beams(const sl_pleura *pleura, work *w)
{
    for (int first = 0, last; first < SL_BEAMS; first = last + 1) {
        for (last = first; last < SL_BEAMS && pleura->beams.kind[last] == SL_BEAM_SPACE && isfinite(pleura->line[last]); last++)
            ;
        for (int j = first; j < last; j++)
            w->in[j] = last - first >= SHAPE_RUN_LEAST;
    }
}

/* ---- the strip along the line ---- */

static void flatten(const sl_stack *stack, const sl_pleura *pleura, work *w)
{
    int step = (stack->frames + SHAPE_FRAMES_MOST - 1) / SHAPE_FRAMES_MOST, taken = 0;
    for (int t = 0; t < stack->frames; t += step, taken++) {
        int block = t / pleura->block_frames;
        const float *row = pleura->row + (size_t)(block < pleura->blocks ? block : pleura->blocks - 1) * SL_BEAMS;
        const uint8_t *cell = sl_stack_frame(stack, t);
        for (int j = 0; j < SL_BEAMS; j++) {
            if (!w->in[j] || !isfinite(row[j]))
                continue;
            int whole = (int)floorf(row[j]);
            float part = row[j] - (float)whole;
            for (int i = 0; i < STRIP; i++) {
                int r = whole + i - SHAPE_ABOVE;
                r = r < 0 ? 0 : r > SL_DEPTHS - 2 ? SL_DEPTHS - 2 : r;
                float a = cell[r * SL_BEAMS + j], b = cell[(r + 1) * SL_BEAMS + j];
                w->strip[i * SL_BEAMS + j] += a + part * (b - a);
            }
        }
    }
    for (int i = 0; i < STRIP * SL_BEAMS; i++)
        w->strip[i] /= (float)(taken > 0 ? taken : 1);
}

/* The line's brightness at each beam, and what it usually is thereabouts. */
static void find_level(work *w)
{
    for (int j = 0; j < SL_BEAMS; j++)
        for (int i = SHAPE_ABOVE - 2; i <= SHAPE_ABOVE + 2; i++)
            w->peak[j] = fmaxf(w->peak[j], w->in[j] ? w->strip[i * SL_BEAMS + j] : 0);
    for (int j = 0; j < SL_BEAMS; j++) {
        double near[2 * SHAPE_LEVEL_REACH + 1];
        int count = 0;
        for (int k = j - SHAPE_LEVEL_REACH; k <= j + SHAPE_LEVEL_REACH; k++)
            if (k >= 0 && k < SL_BEAMS && w->in[k])
                near[count++] = (double)w->peak[k];
        w->level[j] = count ? (float)sl_quantile(near, count, 0.5) : 0;
    }
}

/* Where a side of the line falls to half its height over the darkest row within reach, in rows from the peak. */
static double half_width(const work *w, int beam, int from, int way, float half)
{
    for (int i = from; i + way >= 0 && i + way < STRIP && abs(i - from) < SHAPE_ABOVE; i += way) {
        float here = w->strip[i * SL_BEAMS + beam], next = w->strip[(i + way) * SL_BEAMS + beam];
        if (next <= half)
            return abs(i - from) + (double)((here - half) / fmaxf(here - next, 1e-3f));
    }
    return SHAPE_ABOVE;
}

static void find_thickness(work *w, sl_pleura_shape *shape)
{
    double width[SL_BEAMS];
    int count = 0;
    for (int j = 0; j < SL_BEAMS; j++) {
        if (!w->in[j] || w->peak[j] < w->level[j] * (float)SHAPE_GAP_SHARE)
            continue;
        int at = SHAPE_ABOVE - 2;
        float above = 255, below = 255;
        for (int i = SHAPE_ABOVE - 2; i <= SHAPE_ABOVE + 2; i++)
            at = w->strip[i * SL_BEAMS + j] > w->strip[at * SL_BEAMS + j] ? i : at;
        for (int i = 1; i < SHAPE_ABOVE; i++) {
            above = at - i >= 0 ? fminf(above, w->strip[(at - i) * SL_BEAMS + j]) : above;
            below = fminf(below, w->strip[(at + i) * SL_BEAMS + j]);
        }
        float peak = w->strip[at * SL_BEAMS + j];
        width[count++] = half_width(w, j, at, -1, 0.5f * (peak + above)) + half_width(w, j, at, 1, 0.5f * (peak + below));
    }
    if (count < SHAPE_RUN_LEAST)
        return;
    shape->thick = sl_quantile(width, count, 0.5);
    shape->thick_low = sl_quantile(width, count, 0.25);
    shape->thick_high = sl_quantile(width, count, 0.75);
}

static double row_at(const sl_pleura *pleura, int beam)
{
    return (double)pleura->line[beam];
}

static void find_gaps(const work *w, const sl_pleura *pleura, sl_pleura_shape *shape)
{
    for (int first = 0, last; first < SL_BEAMS; first = last + 1) {
        for (last = first; last < SL_BEAMS && w->in[last] && w->peak[last] < w->level[last] * (float)SHAPE_GAP_SHARE; last++)
            ;
        if (last - first < SHAPE_GAP_LEAST)
            continue;
        if (shape->gaps < SHAPE_GAPS_MOST)
            shape->gap[shape->gaps++] = (sl_shape_place){first, last - 1, row_at(pleura, first) - 2, row_at(pleura, first) + 2};
    }
}

/* ---- what lies right below ---- */

static float row_level(const work *w, int i)
{
    float sum = 0;
    int count = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (w->in[j]) {
            sum += w->strip[i * SL_BEAMS + j];
            count++;
        }
    return sum / (float)(count ? count : 1);
}

/* Small echo-poor spots: dark against their row, right below the line, with lung again below them. */
static void find_spots(const work *w, const sl_pleura *pleura, sl_pleura_shape *shape)
{
    float level[STRIP];
    int depth[SL_BEAMS] = {0}; /* rows of the spot in each beam */
    for (int i = 0; i < STRIP; i++)
        level[i] = row_level(w, i);
    for (int j = 0; j < SL_BEAMS; j++) {
        int i = SHAPE_ABOVE + SHAPE_SPOT_FIRST, rows = 0, end;
        for (; i < SHAPE_ABOVE + SHAPE_SPOT_LAST && w->in[j]; i++)
            if (w->strip[i * SL_BEAMS + j] < (float)SHAPE_SPOT_SHARE * level[i])
                break;
        for (end = i; end < STRIP && w->in[j] && w->strip[end * SL_BEAMS + j] < (float)SHAPE_SPOT_SHARE * level[end]; end++)
            rows++;
        bool closed = end < STRIP - 2 && w->strip[(end + 2) * SL_BEAMS + j] > (float)SHAPE_SPOT_CLOSED * level[end + 2];
        depth[j] = rows >= SHAPE_SPOT_ROWS && closed ? rows : 0;
    }
    for (int first = 0, last; first < SL_BEAMS; first = last + 1) {
        int most = 0;
        for (last = first; last < SL_BEAMS && depth[last]; last++)
            most = depth[last] > most ? depth[last] : most;
        if (last - first < SHAPE_SPOT_BEAMS || shape->spots == SHAPE_SPOTS_MOST)
            continue;
        double row = row_at(pleura, first) + SHAPE_SPOT_FIRST;
        shape->spot[shape->spots++] = (sl_shape_place){first, last - 1, row, row + SHAPE_SPOT_LAST - SHAPE_SPOT_FIRST + most};
    }
}

/* ---- roughness ---- */

/* The line of a block less its smooth course, within each space by itself. */
static void residual_of(const work *w, const float *row, float *out)
{
    sl_filter course;
    sl_filter_gauss(SHAPE_COURSE, &course);
    for (int first = 0, last; first < SL_BEAMS; first = last + 1) {
        float line[SL_BEAMS], smooth[SL_BEAMS];
        out[first] = NAN;
        for (last = first; last < SL_BEAMS && w->in[last] && isfinite(row[last]); last++)
            line[last - first] = row[last];
        int count = last - first;
        if (count < SHAPE_RUN_LEAST) {
            for (int j = first; j < last; j++)
                out[j] = NAN;
            if (last < SL_BEAMS)
                out[last] = NAN;
            continue;
        }
        /* The slope is taken off first, so that the mirrored ends do not bend the course. */
        float slope = (line[count - 1] - line[0]) / (float)(count - 1);
        for (int k = 0; k < count; k++)
            line[k] -= slope * (float)k;
        sl_filter_line(&course, line, count, smooth);
        for (int k = 0; k < count; k++)
            out[first + k] = line[k] - smooth[k];
        if (last < SL_BEAMS)
            out[last] = NAN;
    }
}

/* The line as each frame shows it: where its brightest row lies about the line that was found, and whether it is there at all. */
static void find_surface(const sl_stack *stack, const sl_pleura *pleura, work *w, sl_pleura_shape *shape)
{
    int step = (stack->frames + SHAPE_FRAMES_MOST - 1) / SHAPE_FRAMES_MOST;
    double place = 0, count = 0, dim = 0, lines = 0;
    int shown = (stack->frames - 1) / step / 2 * step, bumps = 0;
    for (int t = 0; t < stack->frames; t += step) {
        int block = t / pleura->block_frames;
        const float *row = pleura->row + (size_t)(block < pleura->blocks ? block : pleura->blocks - 1) * SL_BEAMS;
        const uint8_t *cell = sl_stack_frame(stack, t);
        float at[SL_BEAMS], level[SL_BEAMS];
        int faint = 0, seen = 0;
        for (int j = 0; j < SL_BEAMS; j++) {
            at[j] = NAN;
            level[j] = 0;
            if (!w->in[j] || !isfinite(row[j]))
                continue;
            int middle = (int)lrintf(row[j]), best = -1;
            for (int i = middle - SHAPE_PEAK_REACH; i <= middle + SHAPE_PEAK_REACH; i++)
                if (i > 0 && i < SL_DEPTHS - 1 && (best < 0 || cell[i * SL_BEAMS + j] > cell[best * SL_BEAMS + j]))
                    best = i;
            if (best < 0)
                continue;
            float below = cell[(best + 1) * SL_BEAMS + j], peak = cell[best * SL_BEAMS + j], above = cell[(best - 1) * SL_BEAMS + j];
            float bend = above - 2 * peak + below;
            at[j] = (float)best + (bend < 0 ? 0.5f * (above - below) / bend : 0) - row[j];
            level[j] = peak;
        }
        for (int j = 0; j < SL_BEAMS; j++)
            if (w->level[j] > 0 && isfinite(at[j])) {
                faint += level[j] < (float)SHAPE_GAP_SHARE * w->level[j];
                seen++;
            }
        dim += seen ? (double)faint / seen : 0;
        lines += seen > 0;
        residual_of(w, at, w->residual);
        for (int j = 0; j < SL_BEAMS; j++)
            if (isfinite(w->residual[j])) {
                place += (double)w->residual[j] * (double)w->residual[j];
                count++;
                bumps += t == shown && fabsf(w->residual[j]) >= (float)SHAPE_BUMP_ROWS && j && j + 1 < SL_BEAMS &&
                         fabsf(w->residual[j]) >= fabsf(w->residual[j - 1]) && fabsf(w->residual[j]) > fabsf(w->residual[j + 1]);
            }
    }
    shape->broken = lines > 0 ? dim / lines : SL_UNKNOWN;
    shape->bumps = bumps;
    if (count >= SHAPE_RUN_LEAST)
        shape->rough = sqrt(place / count);
}

sl_status sl_pleura_shape_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_pleura_shape *shape,
                                  sl_error *error)
{
    memset(shape, 0, sizeof *shape);
    shape->rough = shape->thick = shape->thick_low = shape->thick_high = shape->broken = SL_UNKNOWN;
    if (!pleura->seen || stack->frames < 1)
        return SL_OK;
    work *w = SL_NEW(arena, 1, work);
    if (!w)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the pleural line was measured.");
    choose_beams(pleura, w);
    shape->first_beam = 1;
    shape->first_depth = 1;
    int beams = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (w->in[j]) {
            double depth = (row_at(pleura, j) + 0.5) / SL_DEPTHS;
            beams++;
            shape->first_beam = fmin(shape->first_beam, (double)j / SL_BEAMS);
            shape->last_beam = (j + 1.0) / SL_BEAMS;
            shape->first_depth = fmin(shape->first_depth, depth);
            shape->last_depth = fmax(shape->last_depth, depth);
        }
    if (!beams)
        return SL_OK;
    flatten(stack, pleura, w);
    find_level(w);
    find_thickness(w, shape);
    find_gaps(w, pleura, shape);
    find_spots(w, pleura, shape);
    find_surface(stack, pleura, w, shape);
    shape->frames = stack->frames;
    shape->first_source = stack->source[0];
    shape->last_source = stack->source[stack->frames - 1];
    shape->first_time_s = stack->times_known ? stack->time_s[0] : SL_UNKNOWN;
    shape->last_time_s = stack->times_known ? stack->time_s[stack->frames - 1] : SL_UNKNOWN;
    return SL_OK;
}

void sl_pleura_shape_merge(sl_pleura_shape *into, const sl_pleura_shape *more)
{
    if (!(more->frames > 0))
        return;
    if (!(into->frames > 0)) {
        *into = *more;
        return;
    }
    /* Places are those of the segment with more of them; amounts are means by frames. */
    sl_pleura_shape kept = more->gaps + more->spots > into->gaps + into->spots ? *more : *into;
    kept.rough = sl_pooled(into->rough, into->frames, more->rough, more->frames);
    kept.thick = sl_pooled(into->thick, into->frames, more->thick, more->frames);
    kept.thick_low = fmin(into->thick_low, more->thick_low);
    kept.thick_high = fmax(into->thick_high, more->thick_high);
    kept.broken = sl_pooled(into->broken, into->frames, more->broken, more->frames);
    kept.frames = into->frames + more->frames;
    *into = kept;
}
/* ---- stating ---- */

static sl_evidence evidence_of(const sl_pleura_shape *shape, const sl_shape_place *place, const char *label)
{
    sl_evidence e = {.first_frame = shape->first_source, .last_frame = shape->last_source, .first_time_s = shape->first_time_s,
                     .last_time_s = shape->last_time_s, .first_beam = shape->first_beam, .last_beam = shape->last_beam,
                     .first_depth = shape->first_depth, .last_depth = shape->last_depth, .label = label};
    if (place) {
        e.first_beam = (double)place->first_beam / SL_BEAMS;
        e.last_beam = (place->last_beam + 1.0) / SL_BEAMS;
        e.first_depth = fmax(0, (place->first_row + 0.5) / SL_DEPTHS);
        e.last_depth = fmin(1, (place->last_row + 0.5) / SL_DEPTHS);
    }
    return e;
}

static sl_evidence *places(const sl_pleura_shape *shape, const sl_shape_place *place, int count, const char *label, sl_arena *arena)
{
    sl_evidence *e = count ? SL_NEW(arena, count, sl_evidence) : NULL;
    for (int i = 0; e && i < count; i++)
        e[i] = evidence_of(shape, &place[i], label);
    return e;
}

static sl_finding *amount(sl_reading *reading, sl_code code, double value, double low, double high, const char *reason)
{
    sl_finding *f = sl_reading_put(reading, code);
    f->reason = reason;
    f->known = !*reason && sl_known(value);
    f->value = f->known ? value : SL_UNKNOWN;
    f->low = f->known ? low : SL_UNKNOWN;
    f->high = f->known ? high : SL_UNKNOWN;
    return f;
}

void sl_pleura_shape_state(const sl_pleura_shape *shape, const sl_view *view, const char *doubt, sl_arena *arena,
                           sl_reading *reading)
{
    static const char *const no_scale = "the picture's scale is not known", *const too_little = "no space is wide enough to follow the line";
    bool measured = shape->frames > 0 && shape->rough > 0 && shape->thick > 0;
    const double term[SL_RULE_TERMS] = {measured ? log(shape->rough) : 0, measured ? log(shape->thick) : 0, 0, 0};
    double mm = sl_view_depth_mm(view) / SL_DEPTHS; /* of a row; NAN without scale */
    sl_finding *answer = sl_reading_put(reading, SL_PLEURA_IRREGULAR);
    sl_rule_answer(&shape_rule, measured ? sl_rule_index(&shape_rule, term) : SL_UNKNOWN, measured || *doubt ? doubt : too_little, answer);
    const char *why = !measured ? too_little : *doubt ? doubt : !sl_known(mm) ? no_scale : "";
    sl_finding *thick = amount(reading, SL_PLEURA_THICKNESS, shape->thick * mm, shape->thick_low * mm, shape->thick_high * mm, why);
    if (thick->known)
        thick->reason = "as displayed: half height to half height, no thinner than the pulse is long";
    /* A tenth of a row is what the line is found to at best. */
    amount(reading, SL_PLEURA_ROUGHNESS, shape->rough * mm, fmax(0, shape->rough - 0.1) * mm, (shape->rough + 0.1) * mm, why);
    const char *unseen = !measured ? too_little : doubt;
    sl_finding *broken = amount(reading, SL_PLEURA_BROKEN, shape->broken, shape->broken, shape->broken, unseen);
    broken->evidence = places(shape, shape->gap, shape->gaps, "the line is faint here", arena);
    broken->evidences = broken->evidence ? shape->gaps : 0;
    sl_finding *spots = amount(reading, SL_SUBPLEURAL_SPOTS, shape->spots, shape->spots, shape->spots, unseen);
    spots->evidence = places(shape, shape->spot, shape->spots, "small echo-poor spot", arena);
    spots->evidences = spots->evidence ? shape->spots : 0;
    amount(reading, SL_PLEURA_BUMPS, shape->bumps, shape->bumps, shape->bumps, unseen);
    sl_evidence *line = measured ? SL_NEW(arena, 1, sl_evidence) : NULL;
    if (!line)
        return;
    *line = evidence_of(shape, NULL, "the line that was measured");
    answer->evidence = line;
    answer->evidences = 1;
    if (thick->known) {
        thick->evidence = line;
        thick->evidences = 1;
    }
}
