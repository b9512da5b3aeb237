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
    const double *path;       /* [frames] the line on that beam, share of the imaged depth; in the arena it was measured in; or NULL */
    double hand_way, hand_speed; /* rows, rows a second: half of what placing by hand adds to the 95 % interval; 0: not placed */
    bool placed;              /* by hand (borders.h): what the reading would doubt of its own following is not asked */
    int first_source, last_source, near_source, far_source;
} sl_dome;

sl_status sl_dome_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_dome *dome, sl_error *error);
/* Of two segments of a clip the one that shows it more surely. */
void sl_dome_merge(sl_dome *into, const sl_dome *from);
void sl_dome_state(const sl_dome *dome, sl_arena *arena, sl_reading *reading);
/* Breaths in a path that deepens with breathing out, share of the imaged depth; `row_mm` NAN without scale. False: out of memory. */
bool sl_dome_breaths(const double *time_s, const double *path, int n, double row_mm, sl_arena *arena, sl_breaths *breaths);
/* Median of the way and of the speed over the whole breaths, and half of their range, rows; how many are whole. */
typedef struct sl_dome_medians {
    int whole, speeds;
    double way, way_spread, speed, speed_spread; /* NAN without any */
} sl_dome_medians;
sl_dome_medians sl_dome_medians_of(const sl_breaths *breaths);
/* Excursion and speed from the breaths; `why` not empty: left open for that. */
void sl_dome_amounts(const sl_dome *dome, const char *why, sl_arena *arena, sl_reading *reading);

#endif
