/* A fast PNG writer for pictures of speckle and text: one filter, quick compression. */
#ifndef SL_REPORT_PNG_H
#define SL_REPORT_PNG_H

#include "core/error.h"

#include <cairo.h>

/* Writes an RGB24 image surface. */
sl_status sl_png_save(cairo_surface_t *surface, const char *path, sl_error *error);

#endif
