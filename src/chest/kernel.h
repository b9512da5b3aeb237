/* The loops that take the time: plain, over restrict arrays, vectorised by the compiler, a version for wider machines
 * chosen when the program starts. Built without contraction of multiply and add, so that every version gives the same
 * bytes. */
#ifndef SL_CHEST_KERNEL_H
#define SL_CHEST_KERNEL_H

#include <stdint.h>

enum { SL_CHUNK = 256 }; /* samples filled at once */

/* out[i] += gain[i] * phase * sum over 4 columns a and 4 rows l of column_weight[a] row_weight[l] t[a][i + l],
 * i < count <= SL_CHUNK; each t[a] has count + 3 values. */
void sl_kernel_fill(int count, const float *const re[4], const float *const im[4], const float column_weight[4],
                    const float row_weight[4], float phase_re, float phase_im, const float *restrict gain,
                    float *restrict out_re, float *restrict out_im);
/* out += (c_re + j c_im) * gain * in, where gain may be NULL (1). */
void sl_kernel_add(int count, float c_re, float c_im, const float *restrict gain, const float *restrict in_re,
                   const float *restrict in_im, float *restrict out_re, float *restrict out_im);
/* e[i] = exp(-(a + b i + c i i)), exponent clipped to [0, 80]. */
void sl_kernel_decay(int count, float a, float b, float c, float *restrict e);
/* out[i] = sum over k in [-half, half] of weight[|k|][i] * column[k][i]; columns are given as pointers, NULL = absent. */
void sl_kernel_lateral(int count, int half, const float *const *column, const float *const *weight, float *restrict out);
/* Symmetric filter along depth: out[i] = tap[0] in[i] + sum tap[k] (in[i-k] + in[i+k]); in has `half` values of margin
 * at both ends. */
void sl_kernel_axial(int count, int half, const float *restrict tap, const float *restrict in, float *restrict out);
/* level[i] = 10 log10(re^2 + im^2 + 1e-20) in dB, to about 2e-4 dB. */
void sl_kernel_level(int count, const float *restrict re, const float *restrict im, float *restrict level);

#endif
