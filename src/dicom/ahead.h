/* Frames of an encapsulated file decoded ahead of the one that is asked for, on threads of their own. Coded bytes are
 * fetched on the caller's thread (the file is not shared); decoding needs nothing but those bytes. Memory is that of a few
 * frames, whatever the clip's length; results do not depend on the number of threads. */
#ifndef SL_DICOM_AHEAD_H
#define SL_DICOM_AHEAD_H

#include "dicom/file.h"

typedef struct sl_ahead sl_ahead;

/* For SL_DICOM_JPEG and SL_DICOM_JPEG2000. `threads` 1 decodes on the caller's thread. `file` must outlive it. NULL when
 * memory is out; fewer threads than asked for are no failure. */
sl_ahead *sl_ahead_new(sl_dicom_file *file, int threads);
void sl_ahead_free(sl_ahead *ahead);

/* Picture of one frame, valid until the next call. Frames may be asked for in any order; following ones are begun.
 * SL_UNSUPPORTED and SL_FORMAT (without a sentence) concern this frame alone; `*patched`: damaged, yet a picture. */
sl_status sl_ahead_frame(sl_ahead *ahead, int frame, sl_frame *picture, bool *patched);

#endif
