/* One frame as a picture that anything shows: JPEG or PNG. */
#ifndef SL_DICOM_RENDER_H
#define SL_DICOM_RENDER_H

#include "core/error.h"

#include <stdbool.h>

typedef struct sl_dicom_rendering {
    int frame;             /* 0 .. */
    bool png;
    int quality;           /* of JPEG, 1..100 */
    int width, height;     /* made smaller to fit, its proportions kept; 0: as it is */
    double center, window; /* instead of the object's own; window 0: the object's */
} sl_dicom_rendering;

/* Writes the new file `to`. SL_USAGE: there is no such frame; SL_UNSUPPORTED: no pictures, or none that can be shown. */
sl_status sl_dicom_render(const char *path, const sl_dicom_rendering *how, const char *to, sl_error *error);

#endif
