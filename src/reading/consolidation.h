/* Lung without air: a region below the pleural line that is seen as tissue. An air mirror sends back only copies of the
 * wall (rows) and vertical artifacts (columns), which a product of one function of depth and one of the beam describes, and
 * dies away; tissue is neither: it is patchy in both directions and stays bright with depth. Two numbers say so; which
 * organ it is they do not say. */
#ifndef SL_READING_CONSOLIDATION_H
#define SL_READING_CONSOLIDATION_H

#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/solid_extent.h"
#include "view/stack.h"

typedef struct sl_solid {
    double frames;      /* measured; weight for pooling segments, 0 = none */
    double patchiness;  /* ln of the variance of ln grey, below the line, that rows and columns leave over */
    double decay;       /* ln of grey far below the line over grey near it */
    double first_beam, last_beam, first_depth, last_depth; /* of the region looked at */
    sl_solid_extent extent; /* of the segment in which the border is clearest */
    bool wet;               /* fluid lies before it */
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_solid;

/* `fluid`: the layer before it, or NULL. */
sl_status sl_solid_measure(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, sl_arena *arena,
                           sl_solid *solid, sl_error *error);
/* 0..1, monotone in how surely lung without air is seen; NAN when nothing was measured. */
double sl_solid_index(const sl_solid *solid);
/* Moves the line to the surface of solid lung, where that is stated and its surface lies elsewhere. */
sl_status sl_solid_pleura(const sl_solid *solid, sl_arena *arena, sl_pleura *parietal, sl_error *error);
void sl_solid_merge(sl_solid *into, const sl_solid *more);

/* States the answer and how deep it reaches. `doubt`: see answer.h. */
void sl_solid_state(const sl_solid *solid, const sl_view *view, const char *doubt, sl_arena *arena, sl_reading *reading);

#endif
