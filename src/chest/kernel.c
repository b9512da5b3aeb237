#include "chest/kernel.h"

#include "core/clones.h"

#include <string.h>

SL_CLONES void sl_kernel_fill(int count, const float *const re[4], const float *const im[4], const float column_weight[4],
                         const float row_weight[4], float phase_re, float phase_im, const float *restrict gain,
                         float *restrict out_re, float *restrict out_im)
{
    float across_re[SL_CHUNK + 3], across_im[SL_CHUNK + 3];
    const float *restrict r0 = re[0], *restrict r1 = re[1], *restrict r2 = re[2], *restrict r3 = re[3];
    const float *restrict i0 = im[0], *restrict i1 = im[1], *restrict i2 = im[2], *restrict i3 = im[3];
    float a = column_weight[0], b = column_weight[1], c = column_weight[2], d = column_weight[3];
    for (int i = 0; i < count + 3; i++)
        across_re[i] = a * r0[i] + b * r1[i] + c * r2[i] + d * r3[i];
    for (int i = 0; i < count + 3; i++)
        across_im[i] = a * i0[i] + b * i1[i] + c * i2[i] + d * i3[i];
    float e = row_weight[0], f = row_weight[1], g = row_weight[2], h = row_weight[3];
    for (int i = 0; i < count; i++) {
        float x = e * across_re[i] + f * across_re[i + 1] + g * across_re[i + 2] + h * across_re[i + 3];
        float y = e * across_im[i] + f * across_im[i + 1] + g * across_im[i + 2] + h * across_im[i + 3];
        out_re[i] += gain[i] * (phase_re * x - phase_im * y);
        out_im[i] += gain[i] * (phase_re * y + phase_im * x);
    }
}

SL_CLONES void sl_kernel_add(int count, float c_re, float c_im, const float *restrict gain, const float *restrict in_re,
                        const float *restrict in_im, float *restrict out_re, float *restrict out_im)
{
    if (gain) {
        for (int i = 0; i < count; i++) {
            out_re[i] += gain[i] * (c_re * in_re[i] - c_im * in_im[i]);
            out_im[i] += gain[i] * (c_re * in_im[i] + c_im * in_re[i]);
        }
        return;
    }
    for (int i = 0; i < count; i++) {
        out_re[i] += c_re * in_re[i] - c_im * in_im[i];
        out_im[i] += c_re * in_im[i] + c_im * in_re[i];
    }
}

/* exp(x), x in [-80, 0]: 2^n times a polynomial in the rest (Taylor of degree 6, relative error below 2e-7). */
static inline float exp_float(float x)
{
    float t = x * 1.44269504f;
    float n = (float)(int)(t - 0.5f);
    float r = (t - n) * 0.693147181f;
    float p = 1 + r * (1 + r * (0.5f + r * (0.166666667f + r * (0.0416666667f + r * (0.00833333333f + r * 0.00138888889f)))));
    int32_t bits = ((int32_t)n + 127) << 23;
    float scale;
    memcpy(&scale, &bits, sizeof scale);
    return p * scale;
}

SL_CLONES void sl_kernel_decay(int count, float a, float b, float c, float *restrict e)
{
    for (int i = 0; i < count; i++) {
        float x = (float)i;
        float y = a + x * (b + x * c);
        y = y < 0 ? 0 : y > 80 ? 80 : y;
        e[i] = exp_float(-y);
    }
}

SL_CLONES void sl_kernel_lateral(int count, int half, const float *const *column, const float *const *weight, float *restrict out)
{
    {
        const float *restrict w = weight[0];
        const float *restrict x = column[half];
        for (int i = 0; i < count; i++)
            out[i] = w[i] * x[i];
    }
    for (int k = 1; k <= half; k++) {
        const float *restrict w = weight[k];
        const float *restrict l = column[half - k];
        const float *restrict r = column[half + k];
        if (l && r)
            for (int i = 0; i < count; i++)
                out[i] += w[i] * (l[i] + r[i]);
        else if (l || r) {
            const float *restrict x = l ? l : r;
            for (int i = 0; i < count; i++)
                out[i] += w[i] * x[i];
        }
    }
}

SL_CLONES void sl_kernel_axial(int count, int half, const float *restrict tap, const float *restrict in, float *restrict out)
{
    float t0 = tap[0];
    for (int i = 0; i < count; i++)
        out[i] = t0 * in[i + half];
    for (int k = 1; k <= half; k++) {
        float t = tap[k];
        const float *restrict l = in + half - k;
        const float *restrict r = in + half + k;
        for (int i = 0; i < count; i++)
            out[i] += t * (l[i] + r[i]);
    }
}

SL_CLONES void sl_kernel_level(int count, const float *restrict re, const float *restrict im, float *restrict level)
{
    for (int i = 0; i < count; i++) {
        float power = re[i] * re[i] + im[i] * im[i] + 1e-20f;
        uint32_t bits;
        memcpy(&bits, &power, sizeof bits);
        /* Mantissa to [sqrt(1/2), sqrt(2)); log2 by the series of atanh((m - 1) / (m + 1)). */
        int32_t exponent = (int32_t)((bits - 0x3F3504F3u) >> 23);
        exponent = (int32_t)((uint32_t)exponent << 24) >> 24;
        uint32_t rest = bits - ((uint32_t)exponent << 23);
        float m;
        memcpy(&m, &rest, sizeof m);
        float s = (m - 1) / (m + 1), q = s * s;
        float log2 = 2.88539008f * s * (1 + q * (0.333333333f + q * (0.2f + q * 0.142857143f)));
        level[i] = 3.01029996f * ((float)exponent + log2);
    }
}
