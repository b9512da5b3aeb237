#include "reading/consolidation.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/filters.h"
#include "reading/pleura_cells.h"
#include "reading/solid_table.h"

#include <math.h>
#include <string.h>

enum { BEAMS = SL_BEAMS, MOST = SOLID_ROWS };

/* The region below the line, its beams side by side; what lies outside the picture has the region's mean. Returns how many
 * rows are seen in most beams, from the top on. */
static int gather(const sl_stack *stack, const sl_pleura *pleura, float grey[MOST][BEAMS], int *beams)
{
    int n = 0, rows = 0, count = 0;
    int seen[MOST] = {0};
    static const int last = (int)(SOLID_DEEPEST * SL_DEPTHS);
    double sum = 0;
    for (int j = 0; j < BEAMS; j++) {
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || !isfinite(pleura->line[j]))
            continue;
        int from = (int)pleura->line[j] + SOLID_BELOW;
        for (int k = 0; k < MOST; k++) {
            int cell = (from + k) * BEAMS + j;
            bool in = from + k < last && stack->mask[cell];
            grey[k][n] = in ? pleura->mean[cell] : NAN;
            seen[k] += in;
            sum += in ? (double)pleura->mean[cell] : 0;
            count += in;
        }
        n++;
    }
    while (rows < MOST && (double)seen[rows] > SOLID_SEEN * n)
        rows++;
    for (int k = 0; k < MOST; k++)
        for (int j = 0; j < n; j++)
            if (isnan(grey[k][j]))
                grey[k][j] = (float)(sum / (count ? count : 1));
    *beams = n;
    return rows;
}

static double mean_of(float grey[MOST][BEAMS], int beams, int first, int last)
{
    double sum = 0;
    for (int k = first; k < last; k++)
        for (int j = 0; j < beams; j++)
            sum += (double)grey[k][j];
    return sum / fmax(1, (double)(last - first) * beams);
}

/* Variance that row means and column means leave over, in the nearest SOLID_WINDOW rows. */
static double left_over(float grey[MOST][BEAMS], int beams, float level)
{
    enum { ROWS = SOLID_WINDOW + 12 };
    static const float zero = 0;
    float plane[ROWS][BEAMS], smooth[ROWS][BEAMS], row[SOLID_WINDOW] = {0}, column[BEAMS] = {0}, all = 0;
    sl_filter down, across;
    sl_filter_gauss(SOLID_SMOOTH_ROWS, &down);
    sl_filter_gauss(SOLID_SMOOTH_BEAMS, &across);
    for (int k = 0; k < ROWS; k++)
        for (int j = 0; j < BEAMS; j++)
            plane[k][j] = j < beams ? logf(grey[k][j] / level + SOLID_FLOOR) : zero;
    sl_filter_rows(&down, &plane[0][0], ROWS, &smooth[0][0]);
    for (int k = 0; k < SOLID_WINDOW; k++) {
        sl_filter_line(&across, smooth[k], beams, plane[k]);
        for (int j = 0; j < beams; j++) {
            row[k] += plane[k][j] / (float)beams;
            column[j] += plane[k][j] / (float)SOLID_WINDOW;
        }
        all += row[k] / (float)SOLID_WINDOW;
    }
    double sum = 0;
    for (int k = 0; k < SOLID_WINDOW; k++)
        for (int j = 0; j < beams; j++) {
            double r = (double)(plane[k][j] - row[k] - column[j] + all);
            sum += r * r;
        }
    return sum / ((double)SOLID_WINDOW * beams);
}

void sl_solid_measure(const sl_stack *stack, const sl_pleura *pleura, sl_solid *solid)
{
    float grey[MOST][BEAMS];
    int beams = 0;
    memset(solid, 0, sizeof *solid);
    solid->patchiness = solid->decay = SL_UNKNOWN;
    float level = pleura->mean && stack->frames > 0 ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (!(level > 0) || !pleura->beams.spaces)
        return;
    int rows = gather(stack, pleura, grey, &beams);
    if (beams < SOLID_BEAMS_LEAST || rows < SOLID_WINDOW)
        return;
    double near = mean_of(grey, beams, 0, rows / 4), far = mean_of(grey, beams, rows * 5 / 8, rows);
    solid->patchiness = log(left_over(grey, beams, level) + 1e-4);
    solid->decay = log((far + 1) / (near + 3));
    solid->frames = stack->frames;
    solid->first_beam = 1;
    for (int j = 0; j < BEAMS; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE) {
            solid->first_beam = fmin(solid->first_beam, (double)j / BEAMS);
            solid->last_beam = (j + 1.0) / BEAMS;
        }
    solid->first_depth = fmin(1, pleura->depth + (double)SOLID_BELOW / SL_DEPTHS);
    solid->last_depth = fmin(1, solid->first_depth + (double)rows / SL_DEPTHS);
    solid->first_source = stack->source[0];
    solid->last_source = stack->source[stack->frames - 1];
    solid->first_time_s = stack->times_known ? stack->time_s[0] : SL_UNKNOWN;
    solid->last_time_s = stack->times_known ? stack->time_s[stack->frames - 1] : SL_UNKNOWN;
}

void sl_solid_merge(sl_solid *into, const sl_solid *more)
{
    double all = into->frames + more->frames;
    if (!(more->frames > 0))
        return;
    if (!(into->frames > 0)) {
        *into = *more;
        return;
    }
    into->patchiness = (into->patchiness * into->frames + more->patchiness * more->frames) / all;
    into->decay = (into->decay * into->frames + more->decay * more->frames) / all;
    into->frames = all;
    into->last_source = more->last_source;
    into->last_time_s = more->last_time_s;
}

void sl_solid_state(const sl_solid *solid, const char *doubt, sl_arena *arena, sl_reading *reading)
{
    sl_finding *answer = sl_reading_put(reading, SL_CONSOLIDATION);
    sl_finding *extent = sl_reading_put(reading, SL_CONSOLIDATION_EXTENT);
    const double term[SL_RULE_TERMS] = {solid->patchiness, solid->decay, 0, 0};
    bool measured = solid->frames > 0;
    sl_rule_answer(&solid_rule, measured ? sl_rule_index(&solid_rule, term) : SL_UNKNOWN,
                   measured || doubt[0] ? doubt : "too little is seen below the pleural line", answer);
    if (answer->known && answer->answer == SL_PRESENT)
        answer->reason = "lung without air, or an organ or the heart: which, the place and the movement tell the reader";
    extent->reason = !answer->known                  ? answer->reason
                     : answer->answer == SL_PRESENT ? "its deep border is not followed by the program; measure it by hand"
                                                    : "no consolidation is stated";
    sl_evidence *e = measured ? SL_NEW(arena, 1, sl_evidence) : NULL;
    if (!e || !answer->known || answer->answer == SL_ABSENT)
        return;
    *e = (sl_evidence){.first_frame = solid->first_source, .last_frame = solid->last_source,
                       .first_time_s = solid->first_time_s, .last_time_s = solid->last_time_s,
                       .first_beam = solid->first_beam, .last_beam = solid->last_beam,
                       .first_depth = solid->first_depth, .last_depth = solid->last_depth, .label = "region looked at"};
    answer->evidence = e;
    answer->evidences = 1;
}
