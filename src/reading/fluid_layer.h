/* A layer of fluid between the chest wall and what lies below it, in the clip's mean picture.
 *
 * Physics: fluid scatters nearly nothing and moves, so that its mean is dark and even along the beam, while wall and muscle
 * are dark and uneven (their speckle stands still); sound comes through it unweakened, so that the surface below is at
 * least as bright as the faint line above. An air mirror turns this round: its line is the brightest, what is dark below it
 * ends at a weaker repeat, and above such a gap there is another gap. A rib's shadow has no lower border at all.
 *
 * Rows as in pleura.h. The layer is where beams agree: single beams with septa or at a rib's rim do not tip it. */
#ifndef SL_READING_FLUID_LAYER_H
#define SL_READING_FLUID_LAYER_H

#include "core/arena.h"
#include "reading/beams.h"
#include "view/stack.h"

#include <stdbool.h>

typedef struct sl_fluid_layer {
    bool seen;                 /* it passes for fluid */
    double odds;               /* ln of the odds that it is fluid, by its own looks (solid_table.h); NAN where there is none, or for a still */
    double share;              /* of the beams that are inside the picture: how many show the layer; 0 = none */
    double thickness;          /* rows from rim to lower border, median over these beams */
    double stir;               /* change from frame to frame over grey in the layer: some 0.5 in fluid and noise, under 0.15
                                  in muscle; NAN for a still picture */
    double wall_stir;          /* the same in the rows above */
    double below_caps;         /* rows from the ribs' caps down to the rim, 80th percentile of the beams in rib shadow; NAN where
                                  there are none */
    float top[SL_BEAMS];       /* row of the upper rim; NAN where the layer is not seen */
    float bottom[SL_BEAMS];    /* row of the lower border; NAN likewise */
} sl_fluid_layer;

/* `mean`, `change`, `beams`: of the clip, as in sl_pleura (`change` may be NULL). `first`, `last`: rows where the upper rim may lie;
 * `least`: thinnest layer, rows; `row_mm`: of a row, 0 where not known. The uppermost layer that passes for fluid is given, else the clearest. False when the arena
 * is out of memory. */
bool sl_fluid_layer_find(const float *mean, const float *change, const sl_beams *beams, const uint8_t *mask, int first, int last, int least,
                         double row_mm, sl_arena *arena, sl_fluid_layer *layer);

#endif
