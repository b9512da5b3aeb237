/* Fluid beside an organ: at the base of the chest the upper border of what is dark runs flat along the chest wall where fluid lies, and
 * leaves it steeply where the diaphragm comes down from the wall, for before it lies tissue (liver, spleen) from the wall on. That one
 * border, flat and then a dome, is followed over the beams in a few moments of the clip. Lung with air beyond the dome would be its
 * mirror image, not dark; a rib's shadow has straight sides and a cap (its beams are left out); solid lung in fluid lies below the fluid
 * and not before it. */
#ifndef SL_READING_RECESS_H
#define SL_READING_RECESS_H

#include "reading/recess_table.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "view/stack.h"

typedef struct sl_recess {
    double frames;          /* 0: not looked at */
    int moments;            /* of the clip that were looked at */
    double share;           /* of them that show it, on the same side */
    bool seen;
    bool steady;            /* the edge lies alike in all of them, as far as it travels with the breath */
    bool right;             /* the organ lies to the right in the picture */
    double edge_beam;       /* where the diaphragm comes down from the wall, beam coordinate */
    double first_beam, last_beam, first_depth, last_depth; /* of the organ, as far as it was looked at */
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_recess;

sl_status sl_recess_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_recess *recess, sl_error *error);
/* Of two segments of a clip the one that shows it in more of its moments. */
void sl_recess_merge(sl_recess *into, const sl_recess *more);
/* An organ is present for it; lung without air that was told from the organ's own side is in doubt; no mirror image lies beyond the dome; a
 * dark layer that did not surely look like fluid is fluid. Not where a heart is seen.
 * After these have been stated. */
void sl_recess_state(const sl_recess *recess, sl_arena *arena, sl_reading *reading);

#endif
