/* An organ in the picture instead of lung: liver, spleen or kidney below the diaphragm, or the heart.
 *
 * Liver and spleen are tissue of great extent: speckle that lasts from frame to frame, patchy both along and across the beam (what an
 * air mirror sends back is made of rows and columns), of middle grey and going on with depth. Lung without air looks the
 * same; what tells them apart is the diaphragm: its dome that moves with the tissue before it, or lung that comes over the tissue with
 * breathing (curtain.h). Tissue alone is "uncertain". The heart is told by its rhythm (heart.h). Which organ it is, the
 * place says to the reader: liver, spleen and kidney are not told apart. */
#ifndef SL_READING_ORGAN_H
#define SL_READING_ORGAN_H

#include "reading/curtain.h"
#include "reading/diaphragm.h"
#include "reading/heart.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "view/stack.h"

typedef struct sl_organ {
    double frames;        /* 0: not looked at */
    double tissue;        /* 0..1: how surely there is tissue of great extent */
    double first_beam, last_beam, first_depth, last_depth; /* of that tissue */
    sl_heart heart;
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_organ;

sl_status sl_organ_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_organ *organ, sl_error *error);
/* Of two segments of a clip the one that shows more of it. */
void sl_organ_merge(sl_organ *into, const sl_organ *more);
/* States the organ and the heart's rate; an answer on lung without air, or on fluid where the heart's chambers are dark, that an organ
 * would explain as well becomes uncertain with the doubt in words. After these have been stated. */
void sl_organ_state(const sl_organ *organ, const sl_dome *dome, const sl_curtain *curtain, sl_arena *arena, sl_reading *reading);
/* An organ told by what lies behind it (behind.h) or beside it (recess.h), `sure` 0..1: present for this reason though nothing moves. `before`
 * shows where it lies. `instead`: it lies where lung without air was told from, which is in doubt for it. */
void sl_organ_seen(double sure, const char *reason, const sl_evidence *before, bool instead, sl_reading *reading);

#endif
