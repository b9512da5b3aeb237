/* Objects in explicit little endian, uncompressed, and their frames as bytes. Memory does not grow with the number of frames. */
#ifndef SL_DICOM_RECODE_H
#define SL_DICOM_RECODE_H

#include <stdio.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "core/error.h"

/* Writes the object at `path` to the new file `to`. SL_UNSUPPORTED: video, whose frames are not taken apart. On failure `to` is gone. */
sl_status sl_dicom_recode(const char *path, const char *to, sl_error *error);

/* Appends all frames, decoded. */
sl_status sl_dicom_all_samples(const char *path, FILE *to, sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
