/* What an effusion's measured depth says of its volume, with what the examination knows besides: posture, breathing, place. */
#ifndef SL_EXAM_FLUID_H
#define SL_EXAM_FLUID_H

#include "exam/exam.h"
#include "reading/effusion_volume.h"

typedef struct sl_exam_fluid {
    double separation_mm;         /* as measured, NAN without a scale */
    sl_volume volume[SL_VOLUMES]; /* all formulas, those that do not apply with the reason */
    int applying;
    double least_ml, most_ml;     /* over those that apply; NAN when none does */
    const char *large;            /* what a published cut-off says, "" when none applies */
} sl_exam_fluid;

/* False when no effusion is stated in the clip: then there is nothing to say. `result`: the clip's, from its record. */
bool sl_exam_fluid_of(const sl_exam *exam, const sl_exam_clip *clip, const sl_clip_result *result, sl_exam_fluid *fluid);

#endif
