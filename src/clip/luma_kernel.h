/* Kernels from decoded planes to 8-bit full-range grey. Plain loops that the compiler vectorises; tests/clip checks each
 * against the formula in doubles.
 *
 * Ranges: ITU-R BT.601-7 section 2.5.3 and BT.709-6 item 4.6 put black at 16 and white at 235 for 8 bits (times
 * 2^(bits-8) for more); "full range" uses all codes. Weights of RGB: BT.601-7 section 2.5.1. */
#ifndef SL_CLIP_LUMA_KERNEL_H
#define SL_CLIP_LUMA_KERNEL_H

#include <stdbool.h>
#include <stdint.h>

/* Chroma that differs from grey by more than this many of 255 levels is seen as colour. Compression noise and tinted
 * screens of the development clips stay below (29 at most); colour Doppler lies at 50 to 127. Common practice, no source. */
enum { SL_VISIBLE_CHROMA = 32 };

/* Limited-range 8-bit luma to full range, `count` pixels. */
void sl_luma_stretch(const uint8_t *restrict in, uint8_t *restrict out, int count);

/* Luma or chroma of 9 to 16 bits to 8 bits: `low` becomes 0 and `high` 255, linear, rounded, clamped. */
void sl_luma_from_deep(const uint16_t *restrict in, uint8_t *restrict out, int count, int low, int high);

/* Packed pixels of `step` bytes (3 or 4) with red, green, blue at byte offsets r, g, b and, when `a` >= 0, alpha at
 * offset a: grey on black. */
void sl_luma_from_rgb(const uint8_t *restrict in, uint8_t *restrict out, int count, int step, int r, int g, int b, int a);

/* Largest difference between two channels of packed pixels, 0..255: 0 for a grey picture. */
int sl_rgb_spread(const uint8_t *in, int count, int step, int r, int g, int b);

/* Chroma of packed pixels, full range, 128 = grey (JFIF 1.02, page 3). */
void sl_chroma_from_rgb(const uint8_t *restrict in, uint8_t *restrict cb, uint8_t *restrict cr, int count, int step,
                        int r, int g, int b);

/* Largest distance of `count` chroma samples from 128. */
int sl_chroma_reach(const uint8_t *in, int count);

/* A plane put upright: out(x, y) = in(x, y) transposed when `transpose`, then mirrored. Sizes are those of `in`. */
void sl_plane_turn(const uint8_t *restrict in, int in_stride, int width, int height, uint8_t *restrict out,
                   int out_stride, bool transpose, bool flip_x, bool flip_y);

#endif
