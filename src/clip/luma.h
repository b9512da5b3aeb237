/* From FFmpeg's frames to sl_frame pictures: hands out the decoder's planes where they serve, converts where not. */
#ifndef SL_CLIP_LUMA_H
#define SL_CLIP_LUMA_H

#include "clip/clip.h"

#include <libavutil/frame.h>

typedef struct sl_luma sl_luma;

/* NULL when memory is out. */
sl_luma *sl_luma_new(void);
void sl_luma_free(sl_luma *luma);

/* How pictures have to be turned to stand upright, from FFmpeg's display matrix (9 entries; NULL = as they are). Whole
 * quarter turns and mirror images only; anything between is left alone. */
void sl_luma_set_turn(sl_luma *luma, const int32_t *display_matrix);

/* Fills the picture of `frame` (not its index and time). The planes belong to `source` or to `luma` and stay valid until
 * the next call or until `source` is unreferenced. */
sl_status sl_luma_picture(sl_luma *luma, const AVFrame *source, const char *name, sl_frame *frame, sl_error *error);

#endif
