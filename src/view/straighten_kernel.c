#include "view/straighten_kernel.h"

#include "core/clones.h"

#include <stdlib.h>
#include <string.h>

enum { TILE = 128 };

/* Fetching the four neighbours is scalar (there is no byte gather); the arithmetic on the fetched tile is
 * not. */
SL_CLONES
void sl_kernel_straighten(int cells, const uint8_t *restrict pixel, int stride, const uint16_t *restrict x,
                          const uint16_t *restrict y, const uint16_t *restrict wx,
                          const uint16_t *restrict wy, const uint8_t *restrict mask, uint8_t *restrict cell)
{
    uint16_t upper[TILE], lower[TILE]; /* two neighbouring pixels each, the left one in the low byte */
    for (int begin = 0; begin < cells; begin += TILE) {
        int n = cells - begin < TILE ? cells - begin : TILE;
        for (int j = 0; j < n; j++) {
            const uint8_t *source = pixel + (size_t)y[begin + j] * (size_t)stride + x[begin + j];
            memcpy(&upper[j], source, 2);
            memcpy(&lower[j], source + stride, 2);
        }
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
        for (int j = 0; j < n; j++) {
            upper[j] = (uint16_t)(upper[j] << 8 | upper[j] >> 8);
            lower[j] = (uint16_t)(lower[j] << 8 | lower[j] >> 8);
        }
#endif
        for (int j = 0; j < n; j++) {
            int32_t right = wx[begin + j], down = wy[begin + j];
            int32_t a = (upper[j] & 255) * (SL_WEIGHT_ONE - right) + (upper[j] >> 8) * right;
            int32_t b = (lower[j] & 255) * (SL_WEIGHT_ONE - right) + (lower[j] >> 8) * right;
            int32_t sum = a * (SL_WEIGHT_ONE - down) + b * down + (1 << (2 * SL_WEIGHT_BITS - 1));
            cell[begin + j] = (uint8_t)((sum >> (2 * SL_WEIGHT_BITS)) * mask[begin + j]);
        }
    }
}

SL_CLONES
uint32_t sl_kernel_sum(int cells, const uint8_t *restrict cell)
{
    uint32_t sum = 0;
    for (int i = 0; i < cells; i++)
        sum += cell[i];
    return sum;
}

SL_CLONES
uint32_t sl_kernel_change(int cells, const uint8_t *restrict cell, const uint8_t *restrict before)
{
    uint32_t sum = 0;
    for (int i = 0; i < cells; i++)
        sum += (uint32_t)abs(cell[i] - before[i]);
    return sum;
}
