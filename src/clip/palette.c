#include "clip/palette.h"

enum {
    SIDE = 5,                              /* steps of the colour cube */
    CUBE = SIDE * SIDE * SIDE,
    GREYS = 256 - CUBE,                    /* 131 */
    SPREAD = 24                            /* channels closer than this are drawn grey; half a step of the cube */
};

static uint32_t opaque(int r, int g, int b)
{
    return 0xff000000u | (uint32_t)r << 16 | (uint32_t)g << 8 | (uint32_t)b;
}

void sl_palette_gray(uint32_t palette[256])
{
    for (int i = 0; i < 256; i++)
        palette[i] = opaque(i, i, i);
}

void sl_palette_mixed(uint32_t palette[256])
{
    for (int i = 0; i < GREYS; i++) {
        int level = (i * 255 + (GREYS - 1) / 2) / (GREYS - 1);
        palette[i] = opaque(level, level, level);
    }
    for (int i = 0; i < CUBE; i++)
        palette[GREYS + i] = opaque(i / (SIDE * SIDE) * 255 / (SIDE - 1), i / SIDE % SIDE * 255 / (SIDE - 1),
                                    i % SIDE * 255 / (SIDE - 1));
}

static int cube_step(int level)
{
    return (level * (SIDE - 1) + 127) / 255;
}

void sl_palette_mixed_map(const uint8_t *restrict rgb, uint8_t *restrict index, int count)
{
    for (int i = 0; i < count; i++) {
        int r = rgb[3 * i], g = rgb[3 * i + 1], b = rgb[3 * i + 2];
        int low = r < g ? r : g, high = r < g ? g : r;
        low = b < low ? b : low;
        high = b > high ? b : high;
        int level = (19595 * r + 38470 * g + 7471 * b + 32768) >> 16;
        int grey = (level * (GREYS - 1) + 127) / 255;
        int cube = GREYS + (cube_step(r) * SIDE + cube_step(g)) * SIDE + cube_step(b);
        index[i] = (uint8_t)(high - low < SPREAD ? grey : cube);
    }
}
