/* What one sign makes of another: answers that something else seen explains as well, or that the clip does not allow, become uncertain
 * with the reason, and the amounts that hang on them unknown. One table (doubts.c), used after the signs themselves are stated. */
#ifndef SL_READING_DOUBTS_H
#define SL_READING_DOUBTS_H

#include "reading/reading.h"

typedef enum sl_cause {
    SL_CAUSE_HEART,       /* something moves at a heart's rate */
    SL_CAUSE_ORGAN,       /* an organ below the diaphragm is seen */
    SL_CAUSE_ORGAN_MOVES, /* something moves as one does */
    SL_CAUSE_FLUID,       /* fluid is seen through the pleura */
    SL_CAUSE_SOLID,       /* lung without air is */
    SL_CAUSE_COLOUR,      /* colour lies over some of the picture */
    SL_CAUSE_COLOUR_MUCH, /* over so much that nothing that rests on what lies below the pleura stands */
    SL_CAUSE_FEW_FRAMES   /* a picture or two */
} sl_cause;

/* `sure` 0..1: how surely the cause is there; the index of an answer that it explains away falls by that much. */
void sl_doubt(sl_cause cause, double sure, sl_reading *reading);

/* Call last, when all is stated: fluid or consolidation against a lung point and A-lines, and where consolidation is present the score
 * is raised to 2, or to 3 where the solid lung reaches deeper than 1 cm (Soldati et al., J Ultrasound Med 2020;39:1413,
 * doi 10.1002/jum.15285; more than 1 cm counts as large: clinical sheet 1). `frames`: of the clip. */
void sl_doubts_last(int frames, sl_reading *reading);

#endif
