/* How far lung without air reaches below the pleura: its deep border, where aerated lung begins. Air reflects nearly all and sends
 * artifacts back, so that grey rises there from tissue's to more; an organ or a lobe that goes on below the picture has none. */
#ifndef SL_READING_SOLID_EXTENT_H
#define SL_READING_SOLID_EXTENT_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/fluid_layer.h"
#include "reading/pleura.h"
#include "view/stack.h"

typedef struct sl_solid_extent {
    bool seen;                /* in enough neighbouring beams of a space */
    double step;              /* median ln of grey just below the border over above */
    double depth;             /* share of the imaged depth: the deepest place of the border below the lung's surface */
    double depth_low, depth_high; /* 95 %: neighbouring beams, and the width of the step */
    double width;             /* beams, of 1: from the first to the last that show it */
    double area;              /* mean depth x width, in these shares */
    double torn;              /* share of the depth: rms of the border about its own course */
    double shine;             /* ln of the brightest just below the border over the brightest at the line, median over beams */
    double inside;            /* ln of grey between line and border over the wall's above the line, median */
    double stir, wall_stir;   /* change from frame to frame over grey, between line and border, and in the wall */
    double sure;              /* probability that the pleural line above it is one */
    bool thin;                /* no thicker than the muscle of a wall may be */
    double below_caps;        /* rows: the least that the line lies below the cap of a rib; NAN where no cap is seen */
    bool moved;               /* the lung's surface is not where the pleural line was taken: */
    float line[SL_BEAMS];     /* its rows */
    int points;
    double beam[SL_BEAMS], top[SL_BEAMS], border[SL_BEAMS]; /* beam coordinate; depths 0..1 */
} sl_solid_extent;

/* Below the pleural line, below the fluid where there is one. `row_mm`: 0 when not known. */
sl_status sl_solid_extent_find(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, double row_mm,
                               sl_arena *arena, sl_solid_extent *extent, sl_error *error);

/* 0..1: how surely the border is that of tissue before air, which is the brightest thing below the wall; a repeat of the pleural line is
 * weaker than the line, and muscle before the pleura is darker than the wall. */
double sl_solid_border_strength(const sl_solid_extent *extent);

#endif
