/* One baseline JPEG picture to grey and chroma planes, without colour conversion or upsampling. */
#ifndef SL_DICOM_JPEG_H
#define SL_DICOM_JPEG_H

#include "clip/clip.h"

#include <stddef.h>

typedef struct sl_jpeg sl_jpeg;

/* NULL when memory is out. */
sl_jpeg *sl_jpeg_new(void);
void sl_jpeg_free(sl_jpeg *jpeg);

/* Fills the picture of `frame`; valid until the next call. `says_rgb`: the photometric interpretation is RGB, which
 * rules where the JPEG itself has no marker for it. `*patched` is set when the data are damaged but a picture came out.
 * SL_UNSUPPORTED for what this decoder does not take (12 bits, lossless, CMYK), SL_FORMAT for damage or another size
 * than `width` x `height`; without a sentence. */
sl_status sl_jpeg_picture(sl_jpeg *jpeg, const uint8_t *bytes, size_t length, int width, int height, bool says_rgb,
                          sl_frame *frame, bool *patched);

#endif
