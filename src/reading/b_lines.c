#include "reading/b_lines.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/columns.h"
#include "reading/lines_table.h"
#include "reading/rules_table.h"

#include <string.h>

/* Ends of the line that begins at the lit beam `first`: where the light ends, or in the valley before the next peak. */
static int line_end(const float *lit, int first)
{
    int peak = first, valley = first;
    for (int j = first + 1; j < SL_BEAMS && lit[j] > 0; j++) {
        if (lit[j] < lit[valley] || valley < peak)
            valley = j;
        if (lit[j] > lit[peak] && lit[valley] >= B_VALLEY * lit[peak])
            peak = valley = j;
        else if (lit[valley] < B_VALLEY * lit[peak] && lit[valley] < B_VALLEY * lit[j])
            return valley;
    }
    int end = first;
    while (end < SL_BEAMS && lit[end] > 0)
        end++;
    return end;
}

/* The beams of a line that hold at least half its largest contrast: smoothing and glare widen a bright one. */
static sl_beam_range half_width(const float *lit, int first, int end)
{
    float most = 0;
    for (int j = first; j < end; j++)
        most = lit[j] > most ? lit[j] : most;
    sl_beam_range range = {first, end - 1};
    while (lit[range.first] < 0.5f * most)
        range.first++;
    while (lit[range.last] < 0.5f * most)
        range.last--;
    return range;
}

/* Beams first..last as one more line. */
static void hold(sl_beam_range range, bool *held, sl_beam_range *line, int most, int *lines)
{
    for (int j = range.first; j <= range.last; j++)
        held[j] = true;
    if (*lines < most)
        line[(*lines)++] = range;
}

/* Bundles: runs of bright beams, each of which is a line of its own where none stands out in it. */
static void find_bundles(const bool *bright, bool *held, sl_beam_range *line, int most, int *lines)
{
    for (int j = 0; j < SL_BEAMS;) {
        int end = j;
        bool counted = false;
        for (; end < SL_BEAMS && bright[end]; end++)
            counted = counted || held[end];
        if (end - j >= B_BUNDLE_LEAST && !counted)
            hold((sl_beam_range){j, end - 1}, held, line, most, lines);
        else if (end - j >= B_BUNDLE_LEAST)
            for (int i = j; i < end; i++)
                held[i] = true;
        j = end + 1;
    }
}

/* Lines that stand out and bright bundles; returns their number, `covered` the beams they hold, `widest` the longest
 * unbroken run. */
static int find_lines(const float *lit, const bool *bright, sl_beam_range *line, int most, int *covered, int *widest)
{
    bool held[SL_BEAMS] = {false};
    int lines = 0, run = 0;
    for (int j = 0; j < SL_BEAMS;) {
        if (!(lit[j] > 0)) {
            j++;
            continue;
        }
        int end = line_end(lit, j);
        if (end - j >= B_WIDTH_LEAST)
            hold(half_width(lit, j, end), held, line, most, &lines);
        j = end;
    }
    find_bundles(bright, held, line, most, &lines);
    *covered = *widest = 0;
    for (int j = 0; j < SL_BEAMS; j++) {
        run = held[j] ? run + 1 : 0;
        *covered += held[j];
        *widest = run > *widest ? run : *widest;
    }
    return lines;
}

static void keep_best(const sl_stack *stack, const sl_pleura *pleura, int frame, const sl_beam_range *run, int runs,
                      sl_b_measure *measure)
{
    measure->best_source = stack->source[frame];
    measure->best_time_s = stack->time_s[frame];
    measure->boxes = runs;
    for (int i = 0; i < runs; i++) {
        int middle = (run[i].first + run[i].last) / 2;
        double row = sl_pleura_row_at(pleura, frame, middle);
        measure->box[i].first_beam = (double)run[i].first / SL_BEAMS;
        measure->box[i].last_beam = (double)(run[i].last + 1) / SL_BEAMS;
        measure->box[i].first_depth = sl_known(row) ? (row + 0.5) / SL_DEPTHS : (double)FLICKER_FIRST_ROW / SL_DEPTHS;
        measure->box[i].last_depth = (double)COLUMN_LAST_ROW / SL_DEPTHS;
    }
}

/* Which beams flicker as one over their length, summed over the pairs. */
static void keep_flickering(const sl_flicker *flicker, sl_b_measure *measure)
{
    for (int t = 0; t < flicker->pairs; t++)
        for (int j = 0; j < SL_BEAMS; j++)
            measure->flicker[j] += (double)flicker->coherent[(size_t)t * SL_BEAMS + j];
}

sl_status sl_b_lines_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_b_measure *measure,
                             double *coverage, sl_error *error)
{
    memset(measure, 0, sizeof *measure);
    measure->best_source = -1;
    measure->best_time_s = SL_UNKNOWN;
    sl_flicker flicker;
    sl_status status = sl_flicker_measure(stack, pleura->seen ? pleura->depth * SL_DEPTHS : SL_UNKNOWN,
                                          pleura->seen ? &pleura->beams : NULL, arena, &flicker, error);
    if (status != SL_OK)
        return status;
    measure->frames = stack->frames;
    measure->levels = flicker.levels;
    measure->sway_sum = flicker.sway_sum;
    measure->pairs = flicker.pairs;
    if (stack->frames) {
        measure->first_source = stack->source[0];
        measure->last_source = stack->source[stack->frames - 1];
        measure->first_time_s = stack->time_s[0];
        measure->last_time_s = stack->time_s[stack->frames - 1];
    }
    keep_flickering(&flicker, measure);
    sl_columns columns;
    sl_columns_prepare(stack, pleura, &columns);
    float lit[SL_BEAMS];
    bool bright[SL_BEAMS];
    for (int t = 0; t < stack->frames; t++) {
        sl_beam_range run[B_BOXES_MOST];
        int covered, widest;
        sl_columns_find(&columns, sl_stack_frame(stack, t), lit, bright);
        int runs = find_lines(lit, bright, run, B_BOXES_MOST, &covered, &widest);
        coverage[t] = columns.beams ? (double)covered / columns.beams : 0;
        measure->counts[runs < B_COUNT_MOST ? runs : B_COUNT_MOST]++;
        measure->shares[(int)(coverage[t] * B_SHARES)]++;
        if (coverage[t] > measure->best_coverage) {
            measure->best_coverage = coverage[t];
            measure->coalescent = widest >= B_MERGED_WIDTH;
            keep_best(stack, pleura, t, run, runs, measure);
        }
    }
    return SL_OK;
}

void sl_b_lines_merge(sl_b_measure *into, const sl_b_measure *more)
{
    sl_b_measure kept = more->best_coverage > into->best_coverage ? *more : *into;
    for (int i = 0; i <= B_COUNT_MOST; i++)
        kept.counts[i] = into->counts[i] + more->counts[i];
    for (int i = 0; i <= B_SHARES; i++)
        kept.shares[i] = into->shares[i] + more->shares[i];
    for (int j = 0; j < SL_BEAMS; j++)
        kept.flicker[j] = into->flicker[j] + more->flicker[j];
    kept.frames = into->frames + more->frames;
    for (int i = 0; i < FLICKER_LEVELS; i++)
        kept.levels.count[i] = into->levels.count[i] + more->levels.count[i];
    kept.sway_sum = into->sway_sum + more->sway_sum;
    kept.first_source = into->first_source;
    kept.first_time_s = into->first_time_s;
    kept.last_source = more->last_source;
    kept.last_time_s = more->last_time_s;
    kept.pairs = into->pairs + more->pairs;
    *into = kept;
}

/* The largest bin that at least B_HELD of the frames reach. */
static int held_of(const int *bin, int last, double frames)
{
    double reached = 0;
    for (int i = last; i > 0; i--)
        if ((reached += bin[i]) >= B_HELD * frames)
            return i;
    return 0;
}

/* The lines of the best frame; where none stands out there, the beams that flicker most. */
static int state_boxes(const sl_b_measure *measure, sl_evidence *evidence)
{
    for (int i = 0; i < measure->boxes; i++)
        evidence[i] = (sl_evidence){
            .first_frame = measure->best_source, .last_frame = measure->best_source,
            .first_time_s = measure->best_time_s, .last_time_s = measure->best_time_s,
            .first_beam = measure->box[i].first_beam, .last_beam = measure->box[i].last_beam,
            .first_depth = measure->box[i].first_depth, .last_depth = measure->box[i].last_depth,
            .label = measure->coalescent ? "B-lines, merged" : "B-line"};
    if (measure->boxes || !(measure->pairs > 0))
        return measure->boxes;
    int most = 0;
    for (int j = 1; j < SL_BEAMS; j++)
        most = measure->flicker[j] > measure->flicker[most] ? j : most;
    int first = most, last = most;
    while (first > 0 && measure->flicker[first - 1] > 0.5 * measure->flicker[most])
        first--;
    while (last < SL_BEAMS - 1 && measure->flicker[last + 1] > 0.5 * measure->flicker[most])
        last++;
    evidence[0] = (sl_evidence){
        .first_frame = measure->first_source, .last_frame = measure->last_source,
        .first_time_s = measure->first_time_s, .last_time_s = measure->last_time_s,
        .first_beam = (double)first / SL_BEAMS, .last_beam = (double)(last + 1) / SL_BEAMS,
        .first_depth = (double)FLICKER_FIRST_ROW / SL_DEPTHS, .last_depth = (double)FLICKER_LAST_ROW / SL_DEPTHS,
        .label = "flickers as one"};
    return 1;
}

void sl_b_lines_state(const sl_b_measure *measure, const sl_signs *signs, const char *doubt, sl_arena *arena,
                      sl_reading *reading)
{
    const double term[SL_RULE_TERMS] = {sl_ln_flicker(signs->flicker), 0, 0, 0};
    sl_finding *lines = sl_reading_put(reading, SL_B_LINES);
    sl_rule_answer(&b_line_rule, sl_rule_index(&b_line_rule, term), doubt, lines);
    sl_evidence *evidence = SL_NEW(arena, B_BOXES_MOST, sl_evidence);
    int evidences = evidence && lines->answer != SL_ABSENT ? state_boxes(measure, evidence) : 0;
    lines->evidence = evidence;
    lines->evidences = evidences;
    sl_finding *count = sl_reading_put(reading, SL_B_LINE_COUNT), *coverage = sl_reading_put(reading, SL_B_LINE_COVERAGE);
    count->known = coverage->known = measure->frames > 0 && !doubt[0];
    if (!count->known) {
        count->reason = coverage->reason = doubt;
        return;
    }
    double held = held_of(measure->counts, B_COUNT_MOST, measure->frames);
    double share = (double)held_of(measure->shares, B_SHARES, measure->frames) / B_SHARES;
    count->value = lines->answer == SL_ABSENT ? 0 : held;
    coverage->value = lines->answer == SL_ABSENT ? 0 : share;
    if (lines->answer == SL_PRESENT && held < 1) {
        count->value = 1;
        count->reason = "at least one by its flicker; none stands out in a single frame";
    }
    count->low = count->value > 1 && lines->answer == SL_PRESENT ? count->value - 1 : lines->answer == SL_PRESENT;
    count->high = count->value + 1;
    if (lines->answer == SL_UNCERTAIN && count->value > 0) {
        coverage->low = 0;
        coverage->high = coverage->value;
        count->reason = coverage->reason = "what stands out as lines do; whether these are B-lines is uncertain";
    }
    count->confidence = coverage->confidence = lines->confidence;
    count->evidence = coverage->evidence = evidence;
    count->evidences = coverage->evidences = evidences;
}
