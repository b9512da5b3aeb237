#include "reading/trace.h"

#include "core/units.h"
#include "view/motion_trace.h"

#include <math.h>
#include <stdlib.h>

/* Change between the two moments, and contrast from beam to beam (TRACE_APART: further than a grain is wide), of rows
 * first .. last-1 about the line; beam by beam. */
static void add_change(const uint8_t *now, const uint8_t *then, const uint8_t *mask, const sl_pleura *pleura, int first, int last,
                       double *change, double *contrast)
{
    for (int j = 0; j + TRACE_APART < SL_BEAMS; j++) {
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || pleura->beams.kind[j + TRACE_APART] != SL_BEAM_SPACE || !isfinite(pleura->line[j]))
            continue;
        int line = (int)lrintf(pleura->line[j]);
        long difference = 0, apart = 0;
        for (int i = line + first; i < line + last; i++) {
            int at = i * SL_BEAMS + j;
            if (i < 0 || i >= SL_DEPTHS || !mask[at] || !mask[at + TRACE_APART])
                continue;
            difference += abs(now[at] - then[at]);
            apart += abs(now[at] - now[at + TRACE_APART]);
        }
        change[j] += (double)difference;
        contrast[j] += (double)apart;
    }
}

static double ratio(const sl_texture_beams *b, int first, int last)
{
    double above = 0, above_contrast = 0, below = 0, below_contrast = 0;
    for (int j = first; j <= last; j++) {
        above += b->above[j];
        above_contrast += b->above_contrast[j];
        below += b->below[j];
        below_contrast += b->below_contrast[j];
    }
    return above > 0 && above_contrast > 0 && below_contrast > 0 ? log((below + 1) / below_contrast) - log((above + 1) / above_contrast) : SL_UNKNOWN;
}

double sl_texture_along(const sl_texture_beams *beams, int first, int last)
{
    int used = 0;
    first = first < 0 ? 0 : first;
    last = last >= SL_BEAMS ? SL_BEAMS - 1 : last;
    for (int j = first; j <= last; j++)
        used += beams->below_contrast[j] > 0;
    return used < TRACE_BEAMS_LEAST ? SL_UNKNOWN : ratio(beams, first, last);
}

void sl_texture_measure(const sl_stack *stack, const sl_pleura *pleura, sl_texture *texture)
{
    double frame_s = sl_known(stack->frame_s) && stack->frame_s > 0 ? stack->frame_s : 0.04;
    int lag = (int)lrint(TRACE_LAG_S / frame_s), beams = 0;
    *texture = (sl_texture){.granular = SL_UNKNOWN};
    if (stack->frames) {
        texture->first_source = stack->source[0];
        texture->last_source = stack->source[stack->frames - 1];
    }
    lag = lag < 1 ? 1 : lag;
    for (int j = 0; j < SL_BEAMS; j++)
        beams += pleura->beams.kind[j] == SL_BEAM_SPACE && isfinite(pleura->line[j]);
    if (!pleura->seen || beams < TRACE_BEAMS_LEAST || stack->frames <= lag)
        return;
    for (int t = lag; t < stack->frames; t += lag) {
        const uint8_t *now = sl_stack_frame(stack, t), *then = sl_stack_frame(stack, t - lag);
        sl_texture_beams *b = &texture->beams;
        add_change(now, then, stack->mask, pleura, -TRACE_ABOVE_LAST, -TRACE_ABOVE_FIRST, b->above, b->above_contrast);
        add_change(now, then, stack->mask, pleura, TRACE_BELOW_FIRST, TRACE_BELOW_LAST, b->below, b->below_contrast);
        texture->pairs++;
    }
    texture->granular = ratio(&texture->beams, 0, SL_BEAMS - 1);
}

void sl_texture_merge(sl_texture *into, const sl_texture *more)
{
    if (!sl_known(more->granular))
        return;
    if (!sl_known(into->granular)) {
        *into = *more;
        return;
    }
    into->granular = (into->granular * into->pairs + more->granular * more->pairs) / (into->pairs + more->pairs);
    into->pairs += more->pairs;
    for (int j = 0; j < SL_BEAMS; j++) {
        into->beams.above[j] += more->beams.above[j];
        into->beams.above_contrast[j] += more->beams.above_contrast[j];
        into->beams.below[j] += more->beams.below[j];
        into->beams.below_contrast[j] += more->beams.below_contrast[j];
    }
    into->last_source = more->last_source;
}

static double pleura_depth_at(const sl_evidence *line, double beam)
{
    enum { FURTHEST = 6 }; /* cells between the points of one line, about three times their step */
    for (int i = 1; i < line->points; i++)
        if (beam >= line->beam[i - 1] && beam <= line->beam[i] && line->beam[i] - line->beam[i - 1] <= (double)FURTHEST / SL_BEAMS) {
            double step = line->beam[i] - line->beam[i - 1], share = step > 0 ? (beam - line->beam[i - 1]) / step : 0;
            return line->depth[i - 1] + share * (line->depth[i] - line->depth[i - 1]);
        }
    return SL_UNKNOWN;
}

static double meets_pleura(const sl_reading *reading, const double *beam, const double *depth, int places)
{
    const sl_finding *f = sl_reading_get(reading, SL_PLEURA_DEPTH);
    const sl_evidence *line = f && f->known && f->evidences ? &f->evidence[0] : NULL;
    double before = SL_UNKNOWN;
    for (int i = 0; line && i < places; i++) {
        double over = pleura_depth_at(line, beam[i]) - depth[i]; /* how far the pleura lies beyond the place */
        if (over == 0)
            return i;
        if (sl_known(before) && sl_known(over) && before * over < 0)
            return i - 1 + before / (before - over);
        before = over;
    }
    return SL_UNKNOWN;
}

double sl_curve_meets_pleura(const sl_reading *reading, const sl_view *view, const double *beam, const double *depth, int points, double *at_beam,
                             double *at_depth)
{
    double share[TRACE_PLACES], b[TRACE_PLACES], d[TRACE_PLACES];
    for (int i = 0; i < TRACE_PLACES; i++)
        share[i] = (double)i / (TRACE_PLACES - 1);
    *at_beam = *at_depth = SL_UNKNOWN;
    if (!sl_known(sl_curve_places(view, beam, depth, points, share, TRACE_PLACES, b, d)))
        return SL_UNKNOWN;
    double at = meets_pleura(reading, b, d, TRACE_PLACES) / (TRACE_PLACES - 1);
    if (sl_known(at))
        sl_curve_places(view, beam, depth, points, &at, 1, at_beam, at_depth);
    return at;
}

void sl_texture_state(const sl_texture *texture, double depth, const char *doubt, sl_arena *arena, sl_reading *reading)
{
    sl_finding *f = sl_reading_put(reading, SL_TRACE_TEXTURE);
    f->reason = *doubt ? doubt : sl_known(texture->granular) ? "" : "too few frames or beams for a motion trace";
    f->known = !*f->reason;
    if (!f->known)
        return;
    f->value = exp(texture->granular);
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    if (!e)
        return;
    *e = (sl_evidence){.first_beam = 0, .last_beam = 1, .first_depth = fmax(0, depth - (double)TRACE_ABOVE_LAST / SL_DEPTHS),
                       .last_depth = fmin(1, depth + (double)TRACE_BELOW_LAST / SL_DEPTHS), .first_frame = texture->first_source,
                       .last_frame = texture->last_source, .first_time_s = SL_UNKNOWN, .last_time_s = SL_UNKNOWN,
                       .label = "compared above and below the line"};
    f->evidence = e;
    f->evidences = 1;
}
