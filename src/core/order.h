/* Orders for qsort. */
#ifndef SL_CORE_ORDER_H
#define SL_CORE_ORDER_H

/* Doubles from small to large; none may be NAN. */
static inline int sl_by_double(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

#endif
