/* The shape of the pleural line: how thick it is, how rough, where it is broken, what lies right below it.
 *
 * Roughness is the standard deviation, about its own smooth course within a space, of where each frame shows the line
 * brightest. It holds the surface, the speckle of the line and what the line was found to, and a surface finer than the beam
 * is wide is averaged away: it orders lines, and is no length of the surface itself.
 * Thickness is the full width at half height of the strip's mean, each frame shifted so that the line lies level; it
 * cannot be less than the pulse is long, which the finding says. Lengths are in rows until the scale is known. */
#ifndef SL_READING_PLEURA_SHAPE_H
#define SL_READING_PLEURA_SHAPE_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/shape_table.h"

/* A place along the line, in beams, and how far below it, in rows. */
typedef struct sl_shape_place {
    int first_beam, last_beam;
    double first_row, last_row; /* of the picture */
} sl_shape_place;

typedef struct sl_pleura_shape {
    double frames;      /* weight for pooling segments; 0: not measured */
    double rough;       /* rows; NAN where not measured */
    double thick, thick_low, thick_high; /* rows: median over the beams and its quartiles; NAN where not measured */
    double broken;      /* share of the spaces' beams, mean over the frames */
    int gaps, spots, bumps;
    sl_shape_place gap[SHAPE_GAPS_MOST], spot[SHAPE_SPOTS_MOST];
    double first_depth, last_depth, first_beam, last_beam; /* of the line */
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_pleura_shape;

sl_status sl_pleura_shape_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_pleura_shape *shape,
                                  sl_error *error);
void sl_pleura_shape_merge(sl_pleura_shape *into, const sl_pleura_shape *more);
/* States irregularity with thickness, roughness, gaps and spots. */
void sl_pleura_shape_state(const sl_pleura_shape *shape, const sl_view *view, const char *doubt, sl_arena *arena,
                           sl_reading *reading);

#endif
