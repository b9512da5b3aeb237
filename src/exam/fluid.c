#include "exam/fluid.h"

#include "core/units.h"

#include <math.h>

/* A clip of this length holds a whole breath of an adult at rest, 12 and more a minute (from memory). The distance stated is
 * the largest over the clip, and the layer is thickest when the lung is smallest: at the end of expiration. */
static const double breath_s = 5;

/* Base of the chest on the posterior axillary line: zones that reach the lowest part and lie from mid-side to the back. */
static bool at_base(const sl_zone *zone)
{
    return zone->bottom > 0.75 && 0.5 * (zone->from + zone->to) > 0.40;
}

static const char *why_not_there(const sl_exam_clip *clip, bool scaled)
{
    return !scaled             ? "the picture's scale is not known"
           : !clip->zone       ? "where it was measured is not known"
           : !at_base(clip->zone) ? "made for the base, on the posterior axillary line"
                               : "";
}

bool sl_exam_fluid_of(const sl_exam *exam, const sl_exam_clip *clip, const sl_clip_result *result, sl_exam_fluid *fluid)
{
    const sl_finding *answer = result->reading ? sl_reading_get(result->reading, SL_EFFUSION) : NULL;
    const sl_finding *depth = answer ? sl_reading_get(result->reading, SL_EFFUSION_DEPTH) : NULL;
    if (!answer || !answer->known || answer->answer != SL_PRESENT)
        return false;
    bool scaled = depth && depth->known;
    double duration = result->duration_s;
    sl_fluid_size size = {.posture = clip->posture, .breathing = exam->breathing, .phase = SL_PHASE_UNKNOWN,
                          .base_mm = SL_UNKNOWN, .height_cm = SL_UNKNOWN, .length_cm = SL_UNKNOWN, .area_cm2 = SL_UNKNOWN};
    fluid->separation_mm = scaled ? depth->value : SL_UNKNOWN;
    size.no_separation = why_not_there(clip, scaled);
    size.separation_mm = size.no_separation[0] ? SL_UNKNOWN : depth->value;
    if (sl_known(duration) && duration >= breath_s)
        size.phase = SL_PHASE_END_EXPIRATION;
    if (clip->zone)
        size.side = clip->zone->side == SL_SIDE_RIGHT ? SL_BODY_RIGHT : clip->zone->side == SL_SIDE_LEFT ? SL_BODY_LEFT : SL_BODY_UNKNOWN;
    sl_effusion_volumes(&size, fluid->volume);
    fluid->large = sl_effusion_large(&size);
    fluid->applying = 0;
    fluid->least_ml = fluid->most_ml = SL_UNKNOWN;
    for (int i = 0; i < SL_VOLUMES; i++)
        fluid->applying += fluid->volume[i].applies;
    sl_effusion_volume_span(fluid->volume, &fluid->least_ml, &fluid->most_ml);
    return true;
}
