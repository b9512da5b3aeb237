/* Units: the unit stands in the name (depth_mm, freq_hz, angle_rad); times are seconds unless the name says
 * otherwise. Unknown is NAN, never 0. */
#ifndef SL_CORE_UNITS_H
#define SL_CORE_UNITS_H

#include <math.h>
#include <stdbool.h>

#define SL_PI 3.14159265358979323846
#define SL_UNKNOWN ((double)NAN)

static inline bool sl_known(double value)
{
    return isfinite(value);
}

static inline double sl_deg(double rad)
{
    return rad * (180.0 / SL_PI);
}

static inline double sl_rad(double deg)
{
    return deg * (SL_PI / 180.0);
}

/* Mean of two numbers by their weights; the other one where one is unknown. */
static inline double sl_pooled(double a, double a_weight, double b, double b_weight)
{
    return !sl_known(a) ? b : !sl_known(b) ? a : (a * a_weight + b * b_weight) / (a_weight + b_weight);
}

#endif
