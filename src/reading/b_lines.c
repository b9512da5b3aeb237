#include "reading/b_lines.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/lines_table.h"
#include "reading/rules_table.h"

#include <string.h>

enum { PROFILE = FLICKER_BANDS * SL_BEAMS };

/* Columns of one frame that stand out from their neighbours in (nearly) all bands. */
static void find_columns(const float *edge, const sl_beams *beams, const uint8_t *inside, uint8_t *lit)
{
    for (int j = 0; j < SL_BEAMS; j++) {
        float sum = 0, square = 0;
        int over = 0;
        for (int band = 0; band < FLICKER_BANDS; band++) {
            float e = edge[band * SL_BEAMS + j];
            sum += e;
            square += e * e;
            over += e > 0;
        }
        const float n = FLICKER_BANDS;
        float coherent = (sum * sum - square) / (n * (n - 1)), variance = square / n;
        lit[j] = inside[j] && beams->kind[j] == SL_BEAM_SPACE && sum > n * B_CONTRAST_LEAST && over >= B_BANDS_LEAST &&
                 coherent > B_COHERENT_LEAST * (variance + 0.1f);
    }
}

/* Runs of lit beams as boxes; returns their number, `covered` the lit beams. */
static int find_runs(const uint8_t *lit, sl_beam_range *run, int most, int *covered)
{
    int runs = 0;
    *covered = 0;
    for (int j = 0; j < SL_BEAMS;) {
        if (!lit[j]) {
            j++;
            continue;
        }
        int first = j;
        while (j < SL_BEAMS && lit[j])
            j++;
        if (j - first < B_WIDTH_LEAST)
            continue;
        *covered += j - first;
        if (runs < most)
            run[runs++] = (sl_beam_range){first, j - 1};
    }
    return runs;
}

static void keep_best(const sl_stack *stack, const sl_pleura *pleura, int frame, const sl_beam_range *run, int runs,
                      sl_b_measure *measure)
{
    measure->best_source = stack->source[frame];
    measure->best_time_s = stack->time_s[frame];
    measure->boxes = runs;
    measure->coalescent = false;
    for (int i = 0; i < runs; i++) {
        int middle = (run[i].first + run[i].last) / 2;
        double row = sl_pleura_row_at(pleura, frame, middle);
        measure->box[i].first_beam = (double)run[i].first / SL_BEAMS;
        measure->box[i].last_beam = (double)(run[i].last + 1) / SL_BEAMS;
        measure->box[i].first_depth = sl_known(row) ? (row + 0.5) / SL_DEPTHS : (double)FLICKER_FIRST_ROW / SL_DEPTHS;
        measure->box[i].last_depth = (double)FLICKER_LAST_ROW / SL_DEPTHS;
        if (run[i].last - run[i].first >= B_MERGED_WIDTH)
            measure->coalescent = true;
    }
}

sl_status sl_b_lines_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_b_measure *measure,
                             double *coverage, sl_error *error)
{
    memset(measure, 0, sizeof *measure);
    measure->best_source = -1;
    measure->best_time_s = SL_UNKNOWN;
    sl_flicker flicker;
    sl_status status = sl_flicker_measure(stack, pleura->seen ? pleura->depth * SL_DEPTHS : SL_UNKNOWN, arena, &flicker, error);
    if (status != SL_OK)
        return status;
    measure->frames = stack->frames;
    measure->coherent_sum = flicker.coherent_sum;
    measure->variance_sum = flicker.variance_sum;
    measure->cells = flicker.cells;
    measure->sway_sum = flicker.sway_sum;
    measure->pairs = flicker.pairs;
    uint8_t lit[SL_BEAMS];
    for (int t = 0; t < stack->frames; t++) {
        sl_beam_range run[B_BOXES_MOST];
        int covered;
        find_columns(flicker.edge + (size_t)t * PROFILE, &pleura->beams, flicker.inside, lit);
        int runs = find_runs(lit, run, B_BOXES_MOST, &covered);
        coverage[t] = pleura->beams.space_beams ? (double)covered / pleura->beams.space_beams : 0;
        if (runs > measure->count)
            measure->count = runs;
        if (coverage[t] > measure->coverage) {
            measure->coverage = coverage[t];
            keep_best(stack, pleura, t, run, runs, measure);
        }
    }
    return SL_OK;
}

void sl_b_lines_merge(sl_b_measure *into, const sl_b_measure *more)
{
    sl_b_measure kept = more->coverage > into->coverage ? *more : *into;
    kept.count = more->count > into->count ? more->count : into->count;
    kept.frames = into->frames + more->frames;
    kept.coherent_sum = into->coherent_sum + more->coherent_sum;
    kept.variance_sum = into->variance_sum + more->variance_sum;
    kept.cells = into->cells + more->cells;
    kept.sway_sum = into->sway_sum + more->sway_sum;
    kept.pairs = into->pairs + more->pairs;
    *into = kept;
}

void sl_b_lines_state(const sl_b_measure *measure, const sl_signs *signs, const char *doubt, sl_arena *arena,
                      sl_reading *reading)
{
    const double term[SL_RULE_TERMS] = {sl_ln_flicker(signs->flicker), 0, 0, 0};
    sl_finding *lines = sl_reading_put(reading, SL_B_LINES);
    sl_rule_answer(&b_line_rule, sl_rule_index(&b_line_rule, term), doubt, lines);
    sl_evidence *evidence = SL_NEW(arena, B_BOXES_MOST, sl_evidence);
    int evidences = 0;
    for (int i = 0; evidence && i < measure->boxes && lines->answer != SL_ABSENT; i++)
        evidence[evidences++] = (sl_evidence){
            .first_frame = measure->best_source, .last_frame = measure->best_source,
            .first_time_s = measure->best_time_s, .last_time_s = measure->best_time_s,
            .first_beam = measure->box[i].first_beam, .last_beam = measure->box[i].last_beam,
            .first_depth = measure->box[i].first_depth, .last_depth = measure->box[i].last_depth,
            .label = measure->coalescent ? "B-lines, merged" : "B-line"};
    lines->evidence = evidence;
    lines->evidences = evidences;
    sl_finding *number[2] = {sl_reading_put(reading, SL_B_LINE_COUNT), sl_reading_put(reading, SL_B_LINE_COVERAGE)};
    for (int i = 0; i < 2; i++) {
        number[i]->known = measure->frames > 0;
        number[i]->value = !number[i]->known ? SL_UNKNOWN : lines->answer == SL_ABSENT ? 0
                           : i ? measure->coverage : measure->count;
        number[i]->confidence = lines->confidence;
        number[i]->evidence = evidence;
        number[i]->evidences = evidences;
    }
}
