#include "view/find_kernel.h"

#include "core/clones.h"

SL_CLONES
void sl_kernel_gather(int n, const uint8_t *restrict now, uint8_t *restrict hi, uint8_t *restrict lo,
                      uint16_t *restrict sum)
{
    for (int i = 0; i < n; i++) {
        hi[i] = now[i] > hi[i] ? now[i] : hi[i];
        lo[i] = now[i] < lo[i] ? now[i] : lo[i];
        sum[i] = (uint16_t)(sum[i] + now[i]);
    }
}
