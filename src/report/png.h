/* A fast PNG writer for evidence pictures: one byte a pixel, one filter, quick compression. */
#ifndef SL_REPORT_PNG_H
#define SL_REPORT_PNG_H

#include "core/error.h"

#include <cairo.h>

/* Writes an RGB24 image surface in 256 colours: 128 greys, so that pictures keep theirs to within one level of 255, and
 * the look's colours with their blends, so that type and lines stay smooth. */
sl_status sl_png_save(cairo_surface_t *surface, const char *path, sl_error *error);

#endif
