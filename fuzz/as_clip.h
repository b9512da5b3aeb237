/* Bytes opened as a clip, its first frames decoded, and closed again. */
#ifndef SL_FUZZ_AS_CLIP_H
#define SL_FUZZ_AS_CLIP_H

#include <stddef.h>
#include <stdint.h>

void sl_fuzz_clip(const uint8_t *data, size_t size);

#endif
