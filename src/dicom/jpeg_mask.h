/* JPEG pictures changed without decoding them to pixels. */
#ifndef SL_DICOM_JPEG_MASK_H
#define SL_DICOM_JPEG_MASK_H

#ifdef __cplusplus
extern "C" {
#endif

#include "clip/text_find.h"
#include "core/error.h"

#include <stddef.h>

/* The picture with every block under a box black; all other coefficients as they were (ITU-T T.81 A.3). Comments and
 * application data are left behind. `says_rgb` as in jpeg.h. `*out` is the caller's (free). SL_UNSUPPORTED for what is no 8-bit
 * lossy JPEG, SL_FORMAT for damage, SL_MEMORY; without a sentence. */
sl_status sl_jpeg_mask(const uint8_t *bytes, size_t length, const sl_boxes *boxes, bool says_rgb, uint8_t **out,
                       size_t *out_length);

/* Copies a JPEG, lossless JPEG or JPEG-LS picture, or a JPEG 2000 codestream, without comments, application data other than
 * the colour markers, and whatever follows its end. `out` has room for `length` bytes; returns how many there are, 0 for
 * something else. */
size_t sl_jpeg_strip(const uint8_t *bytes, size_t length, uint8_t *out);

#ifdef __cplusplus
}
#endif

#endif
