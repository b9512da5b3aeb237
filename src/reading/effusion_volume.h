/* Volume of a pleural effusion by the published formulas, each locked to how the patient lay, when in the breath and where it
 * was measured, each with its reported error. Never one number: the caller shows all that apply and how far they disagree.
 * Sources and errors: the table in effusion_volume.c (clinical sheet 4). */
#ifndef SL_READING_EFFUSION_VOLUME_H
#define SL_READING_EFFUSION_VOLUME_H

#include "core/posture.h"

#include <stdbool.h>

typedef enum sl_phase { SL_PHASE_UNKNOWN, SL_PHASE_END_EXPIRATION, SL_PHASE_FULL_INSPIRATION } sl_phase;
typedef enum sl_body_side { SL_BODY_UNKNOWN, SL_BODY_RIGHT, SL_BODY_LEFT } sl_body_side;

/* What was measured; NAN = not. */
typedef struct sl_fluid_size {
    sl_posture posture;
    sl_phase phase;          /* of `separation_mm` */
    sl_body_side side;
    sl_breathing breathing;
    double separation_mm;    /* largest distance between the pleurae at the base, transverse, on the posterior axillary line */
    const char *no_separation; /* why it is not that, a clause; NULL or "": nothing more to say */
    double base_mm;          /* sitting: from the lung's base to the diaphragm's middle */
    double height_cm;        /* sitting: lateral height of the effusion on the posterior axillary line */
    double length_cm;        /* supine: paravertebral length */
    double area_cm2;         /* supine: cross section at half that length */
} sl_fluid_size;

enum { SL_VOLUMES = 7 };

typedef struct sl_volume {
    const char *name;        /* of the formula: authors and year */
    const char *formula;     /* as printed, with units */
    const char *source;      /* doi */
    const char *error;       /* as reported */
    bool applies;
    const char *why_not;     /* "" when it applies */
    double ml, low_ml, high_ml; /* with the reported error, never below 0; low and high NAN where none was reported in mL */
} sl_volume;

/* All SL_VOLUMES formulas, those that do not apply with the reason. */
void sl_effusion_volumes(const sl_fluid_size *size, sl_volume volume[SL_VOLUMES]);

/* Least and most of those that apply; false when none does. */
bool sl_effusion_volume_span(const sl_volume volume[SL_VOLUMES], double *least_ml, double *most_ml);

/* What single cut-offs say: "over 800 mL is likely ..." with figures and source, "" when none applies. */
const char *sl_effusion_large(const sl_fluid_size *size);

#endif
