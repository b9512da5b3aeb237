/* The video stream of a DICOM file (MPEG-2, H.264, HEVC; PS3.5 8.2.5 to 8.2.8), decoded by FFmpeg. */
#ifndef SL_DICOM_VIDEO_H
#define SL_DICOM_VIDEO_H

#include "dicom/file.h"

typedef struct sl_dicom_video sl_dicom_video;

/* Copies the stream out of `file` to a nameless temporary file and opens it. `name` is for sentences and must outlive it. */
sl_status sl_dicom_video_open(sl_dicom_file *file, const char *name, int threads, sl_dicom_video **video, sl_error *error);

/* As sl_clip_next; times are the stream's own, NAN where it has none. */
sl_status sl_dicom_video_next(sl_dicom_video *video, sl_frame *frame, bool *got, sl_error *error);
sl_status sl_dicom_video_rewind(sl_dicom_video *video, sl_error *error);
const char *sl_dicom_video_damage(sl_dicom_video *video);
const sl_clip_info *sl_dicom_video_info(const sl_dicom_video *video);
void sl_dicom_video_close(sl_dicom_video *video);

#endif
