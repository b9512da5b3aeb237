/* Per-pixel statistics over frames, one row at a time. */
#ifndef SL_VIEW_FIND_KERNEL_H
#define SL_VIEW_FIND_KERNEL_H

#include <stdint.h>

/* hi = max(hi, now), lo = min(lo, now), sum += now, for n pixels. */
void sl_kernel_gather(int n, const uint8_t *restrict now, uint8_t *restrict hi, uint8_t *restrict lo,
                      uint16_t *restrict sum);

#endif
