/* How slowly the grey dies away below the pleural line. An air mirror sends nothing back from behind it, so an A-line
 * lung is dark in the depth; merged B-lines, fluid and solid lung stay bright. In each beam of the spaces
 *     ratio = (far + 1) / (near + 3)            [grey levels over the floor]
 * with near the mean of the first quarter of the way from the line to 95 % of the imaged depth, far that of the last
 * three eighths, and the floor the grey of the darkest beams (rib shadow, noise); the clip's ratio is the median over
 * the beams. */
#ifndef SL_READING_DECAY_H
#define SL_READING_DECAY_H

#include "reading/pleura.h"
#include "view/stack.h"

/* Grey of the darkest beams in the far half (rib shadow, noise), from the clip's mean picture. */
double sl_decay_floor(const sl_stack *stack, const float *mean);

/* NAN when no beam is long enough. */
double sl_decay_ratio(const sl_stack *stack, const sl_pleura *pleura);

#endif
