/* What is true in one frame, from geometry and the strengths that the controls leave, never from the picture. Beams run
 * 0..1 from the picture's left to its right edge as in sl_view, depths 0..1 of the imaged depth. */
#ifndef SL_CHEST_TRUTH_H
#define SL_CHEST_TRUTH_H

#include "chest/chest.h"

enum { SL_MOST_RUNS = 48, SL_TRUTH_BEAMS = 64 };

typedef struct sl_frame_truth {
    double time_s, breath;
    double lung_breath;                 /* 0..1: the lung's own, which may come after the chest's */
    double lung_mm;                     /* where the lung is, sideways */
    double pleura[SL_TRUTH_BEAMS];      /* depth at beam (i + 0.5) / SL_TRUTH_BEAMS; NAN in rib shadow, without contact or
                                           where there is no lung behind the wall */
    bool shadow[SL_TRUTH_BEAMS];        /* rib or no contact */
    double space;                       /* share of the beams that show pleura */
    int runs;                           /* beams held by vertical artifacts that reach the far edge */
    double first[SL_MOST_RUNS], last[SL_MOST_RUNS];
    int short_runs;                     /* vertical artifacts that fade before the far edge (Z-lines) */
    double coverage;                    /* runs' share of the space */
    double a_line_db;                   /* first repeat in the best beam: level shown, dB below white; -INFINITY = none */
    double a_line_over_db;              /* the same over what else is shown at that depth */
    double fluid_mm, solid_mm;          /* the most in the picture */
    double fluid_base_mm;               /* of the fluid beside the end of the lung at the base, NAN = not in the picture */
    double air_edge;                    /* beam of the pneumothorax's edge, NAN = not in the picture */
    double dome_mm[SL_TRUTH_BEAMS];     /* depth of the diaphragm's dome from the face, NAN = not looked at, or deeper than imaged */
    double muscle_mm;                   /* thickness of the diaphragm on the wall, 0 = none in the picture */
    double base_edge;                   /* beam of the end of the lung at the base, NAN = not in the picture */
} sl_frame_truth;

void sl_chest_frame_truth(sl_chest *chest, int index, sl_frame_truth *truth);

/* The reading as JSON with, under "simulated", the scenario and what is true in every frame. New reference. */
json_t *sl_chest_truth_json(sl_chest *chest, const char *clip, sl_error *error);

#endif
