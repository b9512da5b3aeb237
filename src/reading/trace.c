#include "reading/trace.h"

#include "core/units.h"

#include <math.h>
#include <stdlib.h>

/* Change between the two moments, and contrast from beam to beam (TRACE_APART: further than a grain is wide), of rows
 * first .. last-1 about the line. */
static void add_change(const uint8_t *now, const uint8_t *then, const uint8_t *mask, const sl_pleura *pleura, int first, int last,
                       double *change, double *contrast)
{
    long difference = 0, apart = 0;
    for (int j = 0; j + TRACE_APART < SL_BEAMS; j++) {
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || pleura->beams.kind[j + TRACE_APART] != SL_BEAM_SPACE || !isfinite(pleura->line[j]))
            continue;
        int line = (int)lrintf(pleura->line[j]);
        for (int i = line + first; i < line + last; i++) {
            int at = i * SL_BEAMS + j;
            if (i < 0 || i >= SL_DEPTHS || !mask[at] || !mask[at + TRACE_APART])
                continue;
            difference += abs(now[at] - then[at]);
            apart += abs(now[at] - now[at + TRACE_APART]);
        }
    }
    *change += (double)difference;
    *contrast += (double)apart;
}

void sl_texture_measure(const sl_stack *stack, const sl_pleura *pleura, sl_texture *texture)
{
    double frame_s = sl_known(stack->frame_s) && stack->frame_s > 0 ? stack->frame_s : 0.04;
    int lag = (int)lrint(TRACE_LAG_S / frame_s), beams = 0;
    double above = 0, above_contrast = 0, below = 0, below_contrast = 0;
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
        add_change(now, then, stack->mask, pleura, -TRACE_ABOVE_LAST, -TRACE_ABOVE_FIRST, &above, &above_contrast);
        add_change(now, then, stack->mask, pleura, TRACE_BELOW_FIRST, TRACE_BELOW_LAST, &below, &below_contrast);
        texture->pairs++;
    }
    if (above > 0 && above_contrast > 0 && below_contrast > 0)
        texture->granular = log((below + 1) / below_contrast) - log((above + 1) / above_contrast);
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
    into->last_source = more->last_source;
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
