#include "reading/a_lines.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/filters.h"
#include "reading/rules_table.h"

#include <math.h>
#include <string.h>

enum {
    ABOVE = 32, /* rows of the flattened picture above the line: enough for the filters' reach */
    ROWS = ABOVE + A_BELOW_ROWS + 32
};

typedef struct flat {
    float grey[ROWS * SL_BEAMS]; /* mean over time, row ABOVE is the pleural line */
    float use[ROWS * SL_BEAMS];  /* 1 where it lies in the picture */
} flat;

/* Adds a block, each beam shifted so that the line lies in row ABOVE. */
static void add_flat(const float *mean, const uint8_t *mask, const float *line, float weight, float *restrict grey,
                     float *restrict cover)
{
    for (int j = 0; j < SL_BEAMS; j++) {
        if (!isfinite(line[j]))
            continue;
        int whole = (int)floorf(line[j]);
        float part = line[j] - (float)whole;
        for (int i = 0; i < ROWS; i++) {
            int row = whole + i - ABOVE;
            if (row < 0 || row >= SL_DEPTHS - 1 || !mask[row * SL_BEAMS + j] || !mask[(row + 1) * SL_BEAMS + j])
                continue;
            const float *at = mean + row * SL_BEAMS + j;
            grey[i * SL_BEAMS + j] += weight * (at[0] + part * (at[SL_BEAMS] - at[0]));
            cover[i * SL_BEAMS + j] += weight;
        }
    }
}

static void flatten(const sl_stack *stack, const sl_pleura *pleura, float *mean, flat *out)
{
    memset(out, 0, sizeof *out);
    for (int b = 0; b < pleura->blocks; b++) {
        int first = b * pleura->block_frames, last = first + pleura->block_frames;
        last = last < stack->frames ? last : stack->frames;
        if (last <= first)
            break;
        last = last - first > 256 ? first + 256 : last; /* sums of 256 grey levels fit 16 bit */
        sl_stack_mean(stack, first, last, mean);
        add_flat(mean, stack->mask, pleura->row + (size_t)b * SL_BEAMS, (float)(last - first), out->grey,
                 out->use);
    }
    for (int i = 0; i < ROWS * SL_BEAMS; i++) {
        out->grey[i] /= out->use[i] > 0 ? out->use[i] : 1;
        out->use[i] = out->use[i] > 0;
    }
}

typedef struct work {
    float mean[SL_CELLS];
    flat flat;
    float smooth[ROWS * SL_BEAMS], cover[ROWS * SL_BEAMS]; /* along the beams */
    float ridge[ROWS * SL_BEAMS];    /* vertical band-pass of smooth; 0 where not used */
    float level[ROWS], softer[ROWS]; /* mean grey over the beams, and smoothed */
} work;

/* Smooths along the beams over used cells only, then band-passes along the depth. */
static void find_ridges(work *w)
{
    sl_filter lateral, vertical;
    sl_filter_gauss(A_LATERAL, &lateral);
    sl_filter_band(A_NARROW, A_WIDE, &vertical);
    for (int i = 0; i < ROWS * SL_BEAMS; i++)
        w->ridge[i] = w->flat.grey[i] * w->flat.use[i];
    sl_filter_beams(&lateral, w->ridge, ROWS, w->smooth);
    sl_filter_beams(&lateral, w->flat.use, ROWS, w->cover);
    for (int i = 0; i < ROWS * SL_BEAMS; i++)
        w->smooth[i] /= w->cover[i] > 0.05f ? w->cover[i] : 0.05f;
    sl_filter_rows(&vertical, w->smooth, ROWS, w->ridge);
    for (int row = 0; row < ROWS; row++) {
        float sum = 0, count = 0;
        for (int j = 0; j < SL_BEAMS; j++) {
            float use = w->flat.use[row * SL_BEAMS + j];
            w->ridge[row * SL_BEAMS + j] *= use;
            sum += w->smooth[row * SL_BEAMS + j] * use;
            count += use;
        }
        w->level[row] = sum / (count > 1 ? count : 1);
    }
    sl_filter soft;
    sl_filter_gauss(A_LEVEL_SMOOTH, &soft);
    sl_filter_line(&soft, w->level, ROWS, w->softer);
}

/* Agreement of beams A_NEIGHBOUR_BEAMS apart within first .. first + A_WINDOW - 1, over the rows where repeats are
 * looked for; NAN where too little lies in the picture. */
static double window_coherence(const work *w, int first)
{
    double product = 0, energy = 0, cells = 0;
    for (int row = ABOVE + A_COHERENCE_FIRST; row < ABOVE + A_COHERENCE_LAST; row++) {
        const float *x = w->ridge + row * SL_BEAMS + first, *use = w->flat.use + row * SL_BEAMS + first;
        float p = 0, e = 0, n = 0;
        for (int j = 0; j + A_NEIGHBOUR_BEAMS < A_WINDOW; j++) {
            float both = use[j] * use[j + A_NEIGHBOUR_BEAMS], a = x[j], b = x[j + A_NEIGHBOUR_BEAMS];
            p += a * b * both;
            e += 0.5f * (a * a + b * b) * both;
            n += both;
        }
        product += (double)p;
        energy += (double)e;
        cells += (double)n;
    }
    return cells >= A_CELLS_LEAST ? product / (energy + A_ENERGY_FLOOR * cells) : SL_UNKNOWN;
}

/* Mean of the best windows: repeats are seen where the pleura lies square to the beam, seldom over the whole width. */
static double coherence(const work *w)
{
    double best[A_BEST_WINDOWS], sum = 0; /* descending */
    int windows = 0;
    for (int first = 0; first + A_WINDOW <= SL_BEAMS; first += A_WINDOW_STEP) {
        double here = window_coherence(w, first);
        if (!sl_known(here) || (windows == A_BEST_WINDOWS && here <= best[windows - 1]))
            continue;
        int k = windows < A_BEST_WINDOWS ? windows++ : windows - 1;
        for (; k > 0 && best[k - 1] < here; k--)
            best[k] = best[k - 1];
        best[k] = here;
    }
    for (int k = 0; k < windows; k++)
        sum += best[k];
    return windows ? sum / windows : SL_UNKNOWN;
}

/* Ridge of the beams' mean at `below` rows under the line, over the darker of the rows between repeats. */
static double stands_out(const float *profile, int below, int slack, int *at)
{
    int row = ABOVE + below;
    double best = -1;
    for (int i = row - slack; i <= row + slack; i++)
        if (i > 0 && i < ROWS && (double)profile[i] > best) {
            best = (double)profile[i];
            *at = i - ABOVE;
        }
    return best;
}

/* Counts repeats at multiples of the spacing. */
static void count_repeats(const work *w, const sl_beams *beams, double spacing, sl_a_measure *measure)
{
    float profile[ROWS];
    for (int row = 0; row < ROWS; row++) {
        float sum = 0, count = 0;
        for (int j = 0; j < SL_BEAMS; j++)
            if (beams->kind[j] == SL_BEAM_SPACE) {
                sum += w->ridge[row * SL_BEAMS + j];
                count += w->flat.use[row * SL_BEAMS + j];
            }
        profile[row] = count >= 8 ? sum / count / (w->softer[row] + A_LEVEL_FLOOR) : 0;
    }
    measure->count = 0;
    for (int k = 1; k <= A_COUNT_MOST; k++) {
        int at = 0, below = (int)(k * spacing + 0.5), slack = (int)(A_SPACING_SLACK * k * spacing + 1.5);
        if (below > A_BELOW_ROWS)
            break;
        double ridge = stands_out(profile, below, slack, &at);
        if (ridge < A_RIDGE_LEAST)
            continue;
        measure->ridge[measure->count] = ridge;
        measure->below[measure->count++] = at;
    }
}

enum { STRIP = A_ABOVE_ROWS + A_BELOW_ROWS };

/* Autocorrelation of one space's mean ridge profile, over its local level, added with the space's width as weight. */
static void add_autocorrelation(const work *w, int first, int last, double *sum)
{
    double profile[STRIP], mean = 0, energy = 1e-9;
    for (int i = 0; i < STRIP; i++) {
        int row = ABOVE - A_ABOVE_ROWS + i;
        float ridge = 0;
        for (int j = first; j <= last; j++)
            ridge += w->ridge[row * SL_BEAMS + j];
        profile[i] = (double)(ridge / (float)(last - first + 1) / (w->softer[row] + A_LEVEL_FLOOR));
        mean += profile[i] / STRIP;
    }
    for (int i = 0; i < STRIP; i++) {
        profile[i] -= mean;
        energy += profile[i] * profile[i];
    }
    for (int lag = 0; lag < A_LAG_LAST; lag++) {
        double product = 0;
        for (int i = 0; i + lag < STRIP; i++)
            product += profile[i] * profile[i + lag];
        sum[lag] += (last - first + 1) * product / energy;
    }
}

/* The spacing at which the profile comes again most. */
static void find_repetition(work *w, const sl_pleura *pleura, sl_a_measure *measure)
{
    const sl_beams *beams = &pleura->beams;
    double sum[A_LAG_LAST] = {0}, width = 0;
    for (int first = 0, last; first < SL_BEAMS; first = last + 1) {
        for (last = first; last < SL_BEAMS && beams->kind[last] == SL_BEAM_SPACE; last++)
            ;
        if (last - first < A_SPACE_LEAST)
            continue;
        add_autocorrelation(w, first, last - 1, sum);
        width += last - first;
    }
    if (!(width > 0))
        return;
    int at = A_LAG_FIRST, expected = -1;
    double rows = pleura->depth * SL_DEPTHS;
    for (int lag = A_LAG_FIRST; lag < A_LAG_LAST; lag++) {
        at = sum[lag] > sum[at] ? lag : at;
        /* Physics expects the pleura's own depth where the probe's face is in the picture. */
        if (sl_known(rows) && fabs(lag - rows) <= A_EXPECTED_SLACK * rows && (expected < 0 || sum[lag] > sum[expected]))
            expected = lag;
    }
    if (expected > 0 && sum[expected] >= A_EXPECTED_LEAST * sum[at])
        at = expected;
    measure->repetition = sum[at] / width;
    measure->spacing = at;
    count_repeats(w, beams, measure->spacing, measure);
}

sl_status sl_a_lines_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_a_measure *measure,
                             sl_error *error)
{
    memset(measure, 0, sizeof *measure);
    measure->spacing = measure->first_time_s = measure->last_time_s = SL_UNKNOWN;
    if (!stack->frames)
        return SL_OK;
    work *w = SL_NEW(arena, 1, work);
    if (!w)
        return sl_fail(error, SL_MEMORY, "Memory ran out while A-lines were looked for.");
    measure->frames = stack->frames;
    measure->first_frame = stack->source[0];
    measure->last_frame = stack->source[stack->frames - 1];
    measure->first_time_s = stack->time_s[0];
    measure->last_time_s = stack->time_s[stack->frames - 1];
    flatten(stack, pleura, w->mean, &w->flat);
    find_ridges(w);
    measure->coherence = coherence(w);
    find_repetition(w, pleura, measure);
    for (int j = 0; j < SL_BEAMS; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE && isfinite(pleura->line[j])) {
            measure->beam[measure->points] = (j + 0.5) / SL_BEAMS;
            measure->row[measure->points++] = (double)pleura->line[j];
        }
    return SL_OK;
}

void sl_a_lines_merge(sl_a_measure *into, const sl_a_measure *more)
{
    double frames = into->frames + more->frames;
    if (!(frames > 0))
        return;
    sl_a_measure kept = more->repetition > into->repetition ? *more : *into;
    if (!sl_known(into->coherence))
        kept.coherence = more->coherence;
    else if (!sl_known(more->coherence))
        kept.coherence = into->coherence;
    else
        kept.coherence = (into->coherence * into->frames + more->coherence * more->frames) / frames;
    kept.repetition = (into->repetition * into->frames + more->repetition * more->frames) / frames;
    kept.frames = frames;
    *into = kept;
}

/* The pleural line moved down by `below` rows, as evidence. */
static bool repeat_evidence(const sl_a_measure *measure, int k, sl_arena *arena, sl_evidence *evidence)
{
    double *beam = SL_NEW(arena, measure->points + 1, double), *depth = SL_NEW(arena, measure->points + 1, double);
    char *label = sl_arena_printf(arena, "A-line %d", k + 1);
    if (!beam || !depth || !label)
        return false;
    int points = 0;
    double low = 1, high = 0;
    for (int i = 0; i < measure->points; i++) {
        double at = (measure->row[i] + measure->below[k] + 0.5) / SL_DEPTHS;
        if (at >= 1)
            continue;
        beam[points] = measure->beam[i];
        depth[points++] = at;
        low = at < low ? at : low;
        high = at > high ? at : high;
    }
    if (!points)
        return false;
    *evidence = (sl_evidence){.first_frame = measure->first_frame, .last_frame = measure->last_frame,
                              .first_time_s = measure->first_time_s, .last_time_s = measure->last_time_s,
                              .first_beam = beam[0], .last_beam = beam[points - 1], .first_depth = low,
                              .last_depth = high, .points = points, .beam = beam, .depth = depth, .label = label};
    return true;
}

void sl_a_lines_state(const sl_a_measure *measure, const sl_pleura *pleura, const sl_view *view, const sl_signs *signs,
                      const char *doubt, sl_arena *arena, sl_reading *reading)
{
    const double term[SL_RULE_TERMS] = {signs->coherence, sl_ln_decay(signs->decay), 0, 0};
    sl_finding *lines = sl_reading_put(reading, SL_A_LINES);
    sl_rule_answer(&a_line_rule, sl_rule_index(&a_line_rule, term), doubt, lines);
    sl_evidence *evidence = SL_NEW(arena, A_COUNT_MOST, sl_evidence);
    int evidences = 0;
    for (int k = 0; evidence && k < measure->count && lines->answer == SL_PRESENT; k++)
        evidences += repeat_evidence(measure, k, arena, &evidence[evidences]);
    lines->evidence = evidence;
    lines->evidences = evidences;

    sl_finding *count = sl_reading_put(reading, SL_A_LINE_COUNT);
    sl_finding *spacing = sl_reading_put(reading, SL_A_LINE_SPACING);
    if (lines->answer != SL_PRESENT) {
        count->known = lines->answer == SL_ABSENT;
        count->value = count->known ? 0 : SL_UNKNOWN;
        count->confidence = lines->confidence;
        count->reason = spacing->reason = count->known ? "no A-lines seen" : "A-lines uncertain";
        return;
    }
    count->confidence = lines->confidence;
    if (measure->count > 0) {
        count->known = true;
        count->value = measure->count;
        count->low = measure->count > 1 ? measure->count - 1 : 1; /* a repeat near the noise may be missed or made up */
        count->high = measure->count + 1;
    } else { /* "present, none" would be a contradiction */
        count->reason = lines->reason = "seen by how far neighbouring beams agree; no single repeat stands out to be counted";
    }
    count->evidence = evidence;
    count->evidences = evidences;
    if (!sl_known(measure->spacing) || measure->repetition < A_REPETITION_LEAST) {
        spacing->reason = "no spacing stands out";
        return;
    }
    double unit = view->face_visible && sl_known(pleura->depth) ? pleura->depth : 1;
    spacing->known = true;
    spacing->value = measure->spacing / SL_DEPTHS / unit;
    spacing->low = (measure->spacing - 1) / SL_DEPTHS / unit; /* found to a row */
    spacing->high = (measure->spacing + 1) / SL_DEPTHS / unit;
    spacing->confidence = lines->confidence;
    spacing->evidence = evidence;
    spacing->evidences = evidences;
}
