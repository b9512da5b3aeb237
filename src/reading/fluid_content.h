/* What is in the fluid: septa, particles, how even it is. Clear fluid sends back nothing but noise; particles fill it with an even
 * grey; septa are thin bright lines that cross it from beam to beam with fluid on both sides. */
#ifndef SL_READING_FLUID_CONTENT_H
#define SL_READING_FLUID_CONTENT_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/fluid_layer.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "view/stack.h"

typedef struct sl_fluid_content {
    double cells;       /* looked at in a block; 0 = none: the layer is too thin */
    double septa_cover; /* share of the layer's beams that a septum crosses, median over blocks */
    double septa;       /* lines in a block, median */
    double echo;        /* median grey over the clip's near level: what fills it */
    double even;        /* 1 / (1 + cv^2) of the mean picture in it, cv from its 10th and 90th percentile: 1 = even */
    int lines;          /* of the block with the most septa: first and last beam coordinate, rows as depth 0..1 */
    double first_beam[4], last_beam[4], first_depth[4], last_depth[4];
} sl_fluid_content;

/* Nothing is looked at where no layer is seen. `row_mm`: 0 when not known. */
sl_status sl_fluid_content_measure(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *layer, double row_mm,
                                   sl_arena *arena, sl_fluid_content *content, sl_error *error);

/* 0..1, monotone in how surely there are septa, particles. */
double sl_septa_index(const sl_fluid_content *content);
double sl_particles_index(const sl_fluid_content *content);

#endif
