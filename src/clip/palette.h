/* 256 colours for GIF: grey frames keep every level; coloured ones get 131 greys and a cube of 5 x 5 x 5 colours, because
 * an annotated ultrasound frame is grey with a few flat colours. */
#ifndef SL_CLIP_PALETTE_H
#define SL_CLIP_PALETTE_H

#include <stdint.h>

/* 0xAARRGGBB, opaque. */
void sl_palette_gray(uint32_t palette[256]);
void sl_palette_mixed(uint32_t palette[256]);

/* Indices into the mixed palette for `count` packed RGB pixels. */
void sl_palette_mixed_map(const uint8_t *restrict rgb, uint8_t *restrict index, int count);

#endif
