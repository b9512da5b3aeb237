/* The smooth course of a border over the beams: a parabola, for the chest wall bends evenly where single beams go astray (a septum, a vessel, a layer
 * of the wall, a rib's rim). Rows as in stack.h; NAN where a beam shows no border. */
#ifndef SL_READING_COURSE_H
#define SL_READING_COURSE_H

#include "view/stack.h"

#include <stdbool.h>

/* Row of the parabola `a` (three numbers) at a beam. */
double sl_course_at(const double *a, int beam);

/* The parabola through the beams of `row` [SL_BEAMS] that are not `out` (NULL: none is), by least squares; false where they are fewer than `least`. */
bool sl_course_fit(const float *row, const bool *out, int least, double *a);

/* Beams that leave the course of the others by more than `off` rows, and by more than 2.5 times what is usual, are put on it. False where too few
 * beams show it; else `a` is the course. */
bool sl_course_mend(float *row, int least, double off, double *a);

#endif
