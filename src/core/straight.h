/* The straight line through points, by least squares. */
#ifndef SL_CORE_STRAIGHT_H
#define SL_CORE_STRAIGHT_H

typedef struct sl_straight {
    double n, x, y, xx, xy; /* sums over the points */
} sl_straight;

static inline void sl_straight_add(sl_straight *s, double x, double y)
{
    s->n++;
    s->x += x;
    s->y += y;
    s->xx += x * x;
    s->xy += x * y;
}

/* Rise of y with x. `level` (a variance of x, 0: none) draws it towards 0 where the points lie close together. NAN of none, or of points at one x
 * without `level`. */
static inline double sl_straight_slope(const sl_straight *s, double level)
{
    return (s->xy - s->x * s->y / s->n) / (s->xx - s->x * s->x / s->n + level * s->n);
}

/* y at `x` on the line of that slope through the points' middle. */
static inline double sl_straight_at(const sl_straight *s, double slope, double x)
{
    return s->y / s->n + slope * (x - s->x / s->n);
}

#endif
