/* The frames of a video stream, masked, each as a JPEG picture: a stream cannot be masked as it is. */
#ifndef SL_DICOM_DEID_VIDEO_H
#define SL_DICOM_DEID_VIDEO_H

#ifdef __cplusplus
extern "C" {
#endif

#include "clip/deidentify.h"

typedef struct sl_deid_sink {
    sl_status (*take)(void *context, const uint8_t *jpeg, size_t length, sl_error *error);
    void *context;
} sl_deid_sink;

/* Gives each frame of the clip at `path` to the sink: grey, or YCbCr 4:2:2 where any frame has colour (PS3.5 8.2.1). `*frames`
 * and `*rate_hz` (NAN = unknown) are those of the clip. */
sl_status sl_deid_video_frames(const char *path, const sl_deid_found *found, sl_deid_sink sink, int *frames, double *rate_hz,
                               sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
