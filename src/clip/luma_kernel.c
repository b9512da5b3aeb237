#include "clip/luma_kernel.h"

#include <stdlib.h>

void sl_luma_stretch(const uint8_t *restrict in, uint8_t *restrict out, int count)
{
    /* (t * 255 + 109) / 219 for t = 0..219, the division as a 16-bit high multiply: 38305 = 2^23 / 219 rounded up is
     * exact over this range (the test tries every value). */
    for (int i = 0; i < count; i++) {
        uint8_t over = in[i] < 16 ? 0 : (uint8_t)(in[i] - 16);
        uint8_t code = over > 219 ? 219 : over;
        uint16_t scaled = (uint16_t)(code * 255 + 109);
        out[i] = (uint8_t)((uint16_t)((scaled * 38305u) >> 16) >> 7);
    }
}

void sl_luma_from_deep(const uint16_t *restrict in, uint8_t *restrict out, int count, int low, int high)
{
    uint32_t range = (uint32_t)(high - low);
    uint32_t scale = (uint32_t)((((uint64_t)255 << 24) + range / 2) / range); /* times range fits 32 bits */
    for (int i = 0; i < count; i++) {
        uint32_t over = in[i] < low ? 0 : (uint32_t)(in[i] - low);
        uint32_t code = over > range ? range : over;
        out[i] = (uint8_t)((code * scale + (1u << 23)) >> 24);
    }
}

void sl_luma_from_rgb(const uint8_t *restrict in, uint8_t *restrict out, int count, int step, int r, int g, int b, int a)
{
    /* 16-bit fixed point; the weights add up to 65536, so white stays 255. */
    for (int i = 0; i < count; i++) {
        const uint8_t *pixel = in + (long)i * step;
        out[i] = (uint8_t)((19595u * pixel[r] + 38470u * pixel[g] + 7471u * pixel[b] + 32768u) >> 16);
    }
    if (a < 0)
        return;
    for (int i = 0; i < count; i++)
        out[i] = (uint8_t)((out[i] * in[(long)i * step + a] + 127) / 255);
}

int sl_rgb_spread(const uint8_t *in, int count, int step, int r, int g, int b)
{
    int most = 0;
    for (int i = 0; i < count; i++) {
        const uint8_t *pixel = in + (long)i * step;
        int rg = abs(pixel[r] - pixel[g]), gb = abs(pixel[g] - pixel[b]), rb = abs(pixel[r] - pixel[b]);
        int pair = rg > gb ? rg : gb;
        int spread = pair > rb ? pair : rb;
        most = spread > most ? spread : most;
    }
    return most;
}

static uint8_t clamp_chroma(int value)
{
    return (uint8_t)(value > 255 ? 255 : value);
}

void sl_chroma_from_rgb(const uint8_t *restrict in, uint8_t *restrict cb, uint8_t *restrict cr, int count, int step,
                        int r, int g, int b)
{
    enum { HALF = (128 << 16) + (1 << 15) };
    for (int i = 0; i < count; i++) {
        const uint8_t *pixel = in + (long)i * step;
        cb[i] = clamp_chroma((-11058 * pixel[r] - 21710 * pixel[g] + 32768 * pixel[b] + HALF) >> 16);
        cr[i] = clamp_chroma((32768 * pixel[r] - 27439 * pixel[g] - 5329 * pixel[b] + HALF) >> 16);
    }
}

int sl_chroma_reach(const uint8_t *in, int count)
{
    uint8_t most = 0;
    for (int i = 0; i < count; i++) {
        uint8_t reach = in[i] > 128 ? (uint8_t)(in[i] - 128) : (uint8_t)(128 - in[i]);
        most = reach > most ? reach : most;
    }
    return most;
}

void sl_plane_turn(const uint8_t *restrict in, int in_stride, int width, int height, uint8_t *restrict out,
                   int out_stride, bool transpose, bool flip_x, bool flip_y)
{
    int out_width = transpose ? height : width, out_height = transpose ? width : height;
    for (int y = 0; y < out_height; y++) {
        uint8_t *row = out + (long)(flip_y ? out_height - 1 - y : y) * out_stride;
        for (int x = 0; x < out_width; x++) {
            uint8_t value = transpose ? in[(long)x * in_stride + y] : in[(long)y * in_stride + x];
            row[flip_x ? out_width - 1 - x : x] = value;
        }
    }
}
