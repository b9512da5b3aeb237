/* The inner loops of straightening. Weights are in 1/2048 (11 bits), so that a weighted sum of four grey
 * levels fits 32 bits and the result is within one grey level of the exact bilinear sample. */
#ifndef SL_VIEW_STRAIGHTEN_KERNEL_H
#define SL_VIEW_STRAIGHTEN_KERNEL_H

#include <stdint.h>

enum { SL_WEIGHT_BITS = 11, SL_WEIGHT_ONE = 1 << SL_WEIGHT_BITS };

/* One row of beams: cell[j] = bilinear sample at column x[j] + wx[j]/2048, row y[j] + wy[j]/2048, and 0 where
 * mask[j] = 0. x[j] + 1 and y[j] + 1 must lie in the picture. */
void sl_kernel_straighten(int cells, const uint8_t *restrict pixel, int stride, const uint16_t *restrict x,
                          const uint16_t *restrict y, const uint16_t *restrict wx,
                          const uint16_t *restrict wy, const uint8_t *restrict mask, uint8_t *restrict cell);

/* Sum of cells, and sum of absolute differences of two frames. */
uint32_t sl_kernel_sum(int cells, const uint8_t *restrict cell);
uint32_t sl_kernel_change(int cells, const uint8_t *restrict cell, const uint8_t *restrict before);

#endif
