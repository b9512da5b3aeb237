/* Measuring by hand: distance, path, angle, area and time, each with a standard uncertainty, into the same reading type as
 * everything else.
 *
 * Uncertainty by first-order propagation (JCGM 100:2008, 5.1.2) of independent errors of each point along its beam and across
 * it: a pixel's and the resolution's are rectangular distributions of their full width w, so of standard uncertainty
 * w / sqrt(12) (JCGM 100:2008, 4.3.7); placement by hand is stated as a standard deviation; the scale's uncertainty is common to
 * all points. Points are pixels of the original picture. Without a scale there are no millimetres: lengths and areas are then
 * not known, angles are. */
#ifndef SL_READING_MEASURE_H
#define SL_READING_MEASURE_H

#include "reading/reading.h"
#include "view/view.h"

typedef struct sl_pixel {
    double x, y;
} sl_pixel;

/* What limits a point, mm; NAN = not known and left out, which `left_out` of the result says. Resolutions of several depths together:
 * resolution.h. */
typedef struct sl_point_error {
    double along_mm;     /* resolution along the beam */
    double across_mm;    /* width of the beam at the depth measured */
    double placement_mm; /* standard deviation of placing by hand, from repeats */
} sl_point_error;

typedef enum sl_measure_kind { SL_MEASURE_DISTANCE, SL_MEASURE_PATH, SL_MEASURE_ANGLE, SL_MEASURE_AREA, SL_MEASURE_WAY } sl_measure_kind;

typedef struct sl_measured {
    bool known;
    const char *reason;   /* a clause; "" when known */
    const char *unit;     /* "mm", "mm2", "degrees", "s", "mm/s" */
    double value, sd;     /* standard uncertainty; 95 %: value +- 1.96 sd */
    const char *left_out; /* what the uncertainty does not hold; "" when all is in */
} sl_measured;

/* Distance: 2 points. Path: 2 and more, along the line drawn. Way: the same along a given line, on which only the ends were placed. Angle: 3, at the second. Area: 3 and more, closed by itself; the
 * line may not cross itself. */
sl_measured sl_measure(sl_measure_kind kind, const sl_view *view, const sl_pixel *point, int points,
                       const sl_point_error *error);

/* Between two frames whose times are known; frame_s: time between neighbouring frames. */
sl_measured sl_measure_interval(double first_s, double last_s, double frame_s);

/* On a motion trace, between two places of its line at two times: the way between the places along the line, the time between, and
 * the speed, way over time, whose relative uncertainty is the root of the sum of the squares of theirs (JCGM 100:2008, 5.1.6).
 * `way`: the line from the one place to the other, its two ends first and last. The way's uncertainty is that of its two ends along
 * the line: what lies between is the line that was chosen, not placed. On a straight line that is a distance's. */
typedef struct sl_trace_measured {
    sl_measured way, time, speed;
} sl_trace_measured;
sl_trace_measured sl_measure_trace(const sl_view *view, const sl_pixel *way, int points, const double time_s[2], double frame_s,
                                   const sl_point_error *error);

/* Writes it as the finding of `code` with the points as evidence in `frame`; false when it is not known, memory is out, or the
 * value lies outside the finding's range. */
bool sl_measure_put(const sl_measured *measured, sl_code code, const sl_view *view, const sl_pixel *point, int points,
                    int frame, sl_arena *arena, sl_reading *reading);

#endif
