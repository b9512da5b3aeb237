#include "reading/consolidation.h"

#include "core/units.h"
#include "reading/answer.h"
#include "reading/filters.h"
#include "reading/pleura_cells.h"
#include "reading/pleura_move.h"
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

sl_status sl_solid_measure(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, sl_arena *arena,
                           sl_solid *solid, sl_error *error)
{
    float grey[MOST][BEAMS];
    int beams = 0;
    memset(solid, 0, sizeof *solid);
    solid->patchiness = solid->decay = SL_UNKNOWN;
    float level = pleura->mean && stack->frames > 0 ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (!(level > 0) || !pleura->beams.spaces)
        return SL_OK;
    double mm = stack->view ? sl_view_depth_mm(stack->view) : SL_UNKNOWN;
    sl_status status = sl_solid_extent_find(stack, pleura, fluid, mm > 0 ? mm / SL_DEPTHS : 0, arena, &solid->extent, error);
    if (status != SL_OK)
        return status;
    int rows = gather(stack, pleura, grey, &beams);
    if (beams < SOLID_BEAMS_LEAST || rows < SOLID_WINDOW)
        return SL_OK;
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
    solid->wet = fluid && fluid->seen;
    return SL_OK;
}

double sl_solid_index(const sl_solid *solid)
{
    /* Behind fluid what comes back stays bright with depth whatever it is: fluid weakens nothing, and the depth gain rises all the same. */
    double decay = solid->wet ? solid->decay - SOLID_WET_DECAY : solid->decay;
    const double term[SL_RULE_TERMS] = {solid->patchiness, decay, sl_solid_border_strength(&solid->extent), 0};
    return solid->frames > 0 ? sl_rule_index(&solid_rule, term) : SL_UNKNOWN;
}

sl_status sl_solid_pleura(const sl_solid *solid, sl_arena *arena, sl_pleura *parietal, sl_error *error)
{
    const sl_solid_extent *x = &solid->extent;
    float counted[BEAMS];
    if (!x->moved || solid->wet || sl_solid_border_strength(x) < SURFACE_BORDER || !(sl_solid_index(solid) > solid_rule.present_above))
        return SL_OK;
    for (int j = 0; j < BEAMS; j++)
        counted[j] = parietal->beams.kind[j] == SL_BEAM_SPACE ? x->line[j] : NAN;
    if (!sl_pleura_move(x->line, counted, LAYER_LINE_SURE, arena, parietal))
        return sl_fail(error, SL_MEMORY, "Memory ran out while solid lung was measured; close other programs and read the clip "
                                         "again.");
    return SL_OK;
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
    into->wet = into->wet || more->wet;
    if (more->extent.seen && (!into->extent.seen || sl_solid_border_strength(&more->extent) > sl_solid_border_strength(&into->extent)))
        into->extent = more->extent;
    into->last_source = more->last_source;
    into->last_time_s = more->last_time_s;
}

static sl_evidence *show_border(const sl_solid *solid, sl_arena *arena)
{
    const sl_solid_extent *x = &solid->extent;
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    double *beam = SL_NEW(arena, x->points + 1, double), *depth = SL_NEW(arena, x->points + 1, double);
    if (!e || !beam || !depth || x->points < 2)
        return NULL;
    *e = (sl_evidence){.first_frame = solid->first_source, .last_frame = solid->last_source, .first_time_s = solid->first_time_s,
                       .last_time_s = solid->last_time_s, .points = x->points, .beam = beam, .depth = depth, .first_depth = 1,
                       .first_beam = x->beam[0], .last_beam = x->beam[x->points - 1], .label = "deep border of lung without air"};
    for (int i = 0; i < x->points; i++) {
        beam[i] = x->beam[i];
        depth[i] = x->border[i];
        e->first_depth = fmin(e->first_depth, depth[i]);
        e->last_depth = fmax(e->last_depth, depth[i]);
    }
    return e;
}

/* How deep: only where a border is clear, and no fluid lies before it, in which collapsed lung ends at fluid, not at air. */
static void state_extent(const sl_solid *solid, const sl_view *view, sl_arena *arena, const sl_finding *answer, sl_reading *reading)
{
    static const sl_code codes[3] = {SL_CONSOLIDATION_WIDTH, SL_CONSOLIDATION_AREA, SL_CONSOLIDATION_TORN};
    sl_finding *extent = sl_reading_put(reading, SL_CONSOLIDATION_EXTENT), *size[3];
    for (int k = 0; k < 3; k++) {
        size[k] = sl_reading_put(reading, codes[k]);
        size[k]->reason = "its depth is not stated";
    }
    const sl_solid_extent *x = &solid->extent;
    double mm = view ? sl_view_depth_mm(view) : SL_UNKNOWN;
    bool present = answer->known && answer->answer == SL_PRESENT;
    extent->reason = !answer->known ? answer->reason : !present ? "no consolidation is stated" : "";
    if (extent->reason[0])
        return;
    double row_mm = mm > 0 ? mm / SL_DEPTHS : EXTENT_TORN_LEAST_MM / EXTENT_TORN_LEAST_ROWS;
    bool muscle = x->thin && x->inside < EXTENT_THIN_DARK; /* muscle is darker than the wall about it, lung without air is not */
    bool smooth = x->torn * SL_DEPTHS * row_mm < EXTENT_TORN_LEAST_MM;
    if (solid->wet || !x->seen || smooth || muscle || x->step < EXTENT_STEP_STATED || x->width < (x->thin ? EXTENT_WIDTH_THIN : EXTENT_WIDTH_STATED) ||
        sl_solid_border_strength(x) < EXTENT_STRENGTH_STATED) {
        extent->reason = solid->wet ? "in fluid its deep border is not followed by the program; measure it by hand"
                         : x->seen && smooth ? "the border below it is smooth, as fluid's, an organ's or a layer of the wall's is; measure it by hand"
                         : muscle            ? "what lies before the border is thin and dark as the wall's muscle is; measure it by hand"
                                             : "no border to aerated lung is seen below it; measure it by hand";
        return;
    }
    if (x->below_caps * (mm > 0 ? mm / SL_DEPTHS : EXTENT_CAPS_MM / EXTENT_CAPS_ROWS) < EXTENT_CAPS_MM) {
        extent->reason = "beside a rib the line lies no deeper than the rib, so that where the lung begins is in doubt; measure it by hand";
        return;
    }
    if (!(mm > 0)) {
        extent->reason = "the picture's scale is not known";
        return;
    }
    double lateral = view->shape == SL_SHAPE_UNKNOWN
                         ? SL_UNKNOWN
                         : sl_view_beam_step_px(view, 1, x->top[x->points / 2] + 0.5 * x->depth) * view->mm_per_px * x->width;
    extent->known = true;
    extent->value = x->depth * mm;
    double slack = EXTENT_SLACK_MM + EXTENT_SLACK_SHARE * extent->value;
    extent->low = fmax(0, x->depth_low * mm - slack);
    extent->high = fmin(mm, x->depth_high * mm + slack);
    extent->confidence = answer->confidence;
    extent->reason = sl_arena_printf(arena, "%s; seen over %.0f mm across; area %.1f cm2; deep border irregular by %.1f mm",
                                     x->width > EXTENT_LOBAR ? "over the whole picture" : "in a part of the picture", lateral,
                                     x->area / x->width * mm * lateral / 100, x->torn * mm);
    const double more[3] = {lateral, x->area / x->width * mm * lateral / 100, x->torn * mm};
    for (int k = 0; k < 3; k++)
        if (sl_known(more[k])) {
            size[k]->known = true;
            size[k]->value = more[k];
            size[k]->reason = "";
        }
    extent->evidence = show_border(solid, arena);
    extent->evidences = extent->evidence != NULL;
}

void sl_solid_state(const sl_solid *solid, const sl_view *view, const char *doubt, sl_arena *arena, sl_reading *reading)
{
    sl_finding *answer = sl_reading_put(reading, SL_CONSOLIDATION);
    bool measured = solid->frames > 0;
    sl_rule_answer(&solid_rule, sl_solid_index(solid),
                   measured || doubt[0] ? doubt : "too little is seen below the pleural line", answer);
    if (answer->known && answer->answer == SL_PRESENT)
        answer->reason = "lung without air, or an organ or the heart: which, the place and the movement tell the reader";
    state_extent(solid, view, arena, answer, reading);
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
