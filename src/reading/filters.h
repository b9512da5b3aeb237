/* Smoothing of small float fields laid out as [rows][SL_BEAMS]; edges are mirrored. Plain loops over restrict arrays
 * that the compiler vectorises; sums in a fixed order. */
#ifndef SL_READING_FILTERS_H
#define SL_READING_FILTERS_H

#include "view/stack.h"

enum { SL_FILTER_REACH = 40 }; /* longest kernel: this many cells each side */

typedef struct sl_filter {
    int reach;                        /* cells each side */
    float weight[2 * SL_FILTER_REACH + 1]; /* centred at weight[reach] */
} sl_filter;

/* Gaussian of standard deviation `sigma` cells, cut at 4 sigma, sum 1. */
void sl_filter_gauss(float sigma, sl_filter *filter);
/* Difference of two Gaussians, narrow - wide: sum 0. */
void sl_filter_band(float narrow, float wide, sl_filter *filter);

/* Along the beams of each row; `out` may not be `in`. */
void sl_filter_beams(const sl_filter *filter, const float *restrict in, int rows, float *restrict out);
/* Along the rows of each beam. */
void sl_filter_rows(const sl_filter *filter, const float *restrict in, int rows, float *restrict out);
/* One line of `count` values. */
void sl_filter_line(const sl_filter *filter, const float *restrict in, int count, float *restrict out);

#endif
