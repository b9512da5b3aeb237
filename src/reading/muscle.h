/* The diaphragm where it lies on the wall (zone of apposition): two bright lines, pleura and peritoneum, with echo-poor muscle
 * between them and organ below, under the ribs' spaces. Both lines are followed together through the frames on the mean profile
 * of the space, so that every breath has a thickness at its start and at its end (Ferrari et al., Crit Ultrasound J 2014;6:8).
 *
 * Thickness is the distance between the middles of the two lines: it does not hang on gain or on the pulse's length, as the
 * distance between their edges does. That one, as displayed, is given beside it. */
#ifndef SL_READING_MUSCLE_H
#define SL_READING_MUSCLE_H

#include "reading/breaths.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/rhythm.h"
#include "view/stack.h"

typedef struct sl_muscle {
    double frames;          /* 0: not looked for, then `reason` */
    const char *reason;
    double index;           /* 0..1: that these two lines are the diaphragm's */
    double clear;           /* the fainter line over its surroundings, in standard deviations of the profile */
    double dark;            /* what lies between over the fainter line, 0..1 */
    double organ;           /* what lies below over what lies between, natural logarithm */
    double lasting;         /* of what lies below: far over near, natural logarithm; an aerated lung falls off */
    double thin, thick;     /* rows, medians over whole breaths */
    double thin_spread, thick_spread; /* half of their range */
    double edges;           /* rows that lie between the lines' inner edges less than between their middles */
    int whole;              /* breaths */
    sl_rhythm rhythm;       /* of the thickness */
    sl_breaths breaths;     /* rows */
    double row_mm;
    double frame_s, seconds;
    bool times_known;
    double first_beam, last_beam, depth; /* where, beam coordinates */
    int first_source, last_source;
    double first_time_s, last_time_s;
    const double *upper, *lower; /* [frames] both lines' leading edges in the middle of those beams, share of the imaged depth; in the
                                    arena it was measured in; or NULL */
    double hand_thin, hand_thick; /* rows: half of what placing by hand adds to the 95 % interval; 0: not placed */
    double hand_share;            /* percent: the same of the thickening */
} sl_muscle;

sl_status sl_muscle_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_muscle *muscle, sl_error *error);
void sl_muscle_merge(sl_muscle *into, const sl_muscle *from);
void sl_muscle_state(const sl_muscle *muscle, sl_arena *arena, sl_reading *reading);
/* Breaths in the distance of two paths, share of the imaged depth; `row_mm` NAN without scale. False: out of memory. */
bool sl_muscle_breaths(const double *time_s, const double *upper, const double *lower, int n, double row_mm, sl_arena *arena, sl_breaths *breaths);
/* Percent by which the muscle thickens: thickness at the end of inspiration over that at the end of expiration, less one. */
static inline double sl_thickening(double thin, double thick)
{
    return 100 * (thick / thin - 1);
}
/* Fills thin, thick, their spreads and `whole` from the breaths. */
void sl_muscle_medians(sl_muscle *muscle);
/* Thicknesses and thickening from these; `edges` NAN: not told as displayed. Without a scale the thickening alone. */
void sl_muscle_amounts(const sl_muscle *muscle, sl_arena *arena, sl_reading *reading);

#endif
