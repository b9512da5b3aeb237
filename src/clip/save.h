/* Saving clips and stills. */
#ifndef SL_CLIP_SAVE_H
#define SL_CLIP_SAVE_H

#include "core/error.h"
#include "core/image.h"

#include <stdint.h>

typedef struct sl_clip_writer sl_clip_writer;

/* Opens a video for writing; the extension picks the container (mp4, mov, avi, gif). Frames are `width` x `height`
 * (even sizes are made by repeating the last row or column). `quality` 0..1, 1 = visually lossless. */
sl_status sl_clip_writer_open(const char *path, int width, int height, double frame_rate_hz, double quality,
                              sl_clip_writer **writer, sl_error *error);
sl_status sl_clip_writer_gray(sl_clip_writer *writer, sl_gray frame, sl_error *error);
/* Packed RGB, 3 bytes a pixel. */
sl_status sl_clip_writer_rgb(sl_clip_writer *writer, const uint8_t *rgb, int stride, sl_error *error);
/* Finishes the file and frees; on failure the partial file is removed. Sets `*writer` to NULL. */
sl_status sl_clip_writer_close(sl_clip_writer **writer, sl_error *error);

/* A grey PNG, and one of packed RGB. */
sl_status sl_save_png_gray(const char *path, sl_gray picture, sl_error *error);
sl_status sl_save_png_rgb(const char *path, const uint8_t *rgb, int width, int height, sl_error *error);

#endif
