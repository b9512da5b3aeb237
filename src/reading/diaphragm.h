/* The diaphragm's dome, looked at from below through liver or spleen: found as the bright curved line that moves along the
 * beams together with what lies before it; its excursion and speed, breath by breath, on the motion trace along the beam in
 * which it is clearest (Boussuges et al., Chest 2009;135:391). Where it lies on the wall: muscle.h. */
#ifndef SL_READING_DIAPHRAGM_H
#define SL_READING_DIAPHRAGM_H

#include "reading/breaths.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/rhythm.h"
#include "view/stack.h"

typedef struct sl_dome {
    double frames;            /* 0: not looked for, then `reason` */
    const char *reason;
    double index;             /* 0..1 */
    double clear;             /* how far the line stands out, in standard deviations of the scores around it */
    double wide;              /* share of the beams it is seen in */
    double together;          /* what lies before it moves with it: correlation so moved less correlation unmoved; NAN when it
                                 hardly moved */
    double lit;               /* share of what lies just before it that shows any echo; with fewer nothing can move along */
    sl_rhythm rhythm;
    sl_breaths breaths;       /* rows towards the probe */
    double row_mm;            /* NAN without scale */
    double frame_s, seconds;
    bool times_known;
    double beam;              /* of the motion trace */
    int points;               /* the line where it lies deepest */
    double point_beam[32], point_depth[32];
    double near_depth, far_depth; /* share of the imaged depth, on that beam */
    int first_source, last_source, near_source, far_source;
} sl_dome;

sl_status sl_dome_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_dome *dome, sl_error *error);
/* Of two segments of a clip the one that shows it more surely. */
void sl_dome_merge(sl_dome *into, const sl_dome *from);
void sl_dome_state(const sl_dome *dome, sl_arena *arena, sl_reading *reading);

#endif
