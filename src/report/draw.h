/* Drawing with the look's tokens: a pen that knows the type sizes, and a few marks. All lengths in points of the
 * drawing's own space; y grows downwards. */
#ifndef SL_REPORT_DRAW_H
#define SL_REPORT_DRAW_H

#include "core/image.h"
#include "report/look_tokens.h"

#include <cairo.h>
#include <pango/pangocairo.h>
#include <stdbool.h>
#include <stdint.h>

typedef enum sl_type { SL_TYPE_TITLE, SL_TYPE_HEADING, SL_TYPE_VALUE, SL_TYPE_BODY, SL_TYPE_SMALL, SL_TYPES } sl_type;
typedef enum sl_align { SL_ALIGN_LEFT, SL_ALIGN_CENTRE, SL_ALIGN_RIGHT } sl_align;

enum { SL_BOLD = 16, SL_ITALIC = 32 }; /* or-ed to an sl_type */

struct sl_language; /* language.h */

typedef struct sl_pen {
    cairo_t *cr;
    const struct sl_language *say; /* English until it is set otherwise */
    PangoLayout *layout;
    PangoFontDescription *font[SL_TYPES][2]; /* regular, bold */
} sl_pen;

/* A pen on `cr` (not owned). One thread a pen. */
void sl_pen_begin(sl_pen *pen, cairo_t *cr);
void sl_pen_end(sl_pen *pen);

/* One line with its baseline at y; cut with an ellipsis when wider than `most` (0: never). Returns the width. */
double sl_pen_text(sl_pen *pen, double x, double y, int type, uint32_t colour, sl_align align, double most,
                   const char *text);
/* A paragraph from `top` down, at most `lines` lines (0: as many as it takes). Returns the height. */
double sl_pen_paragraph(sl_pen *pen, double x, double top, double width, int lines, int type, uint32_t colour,
                        const char *text);

/* How wide that line would be. */
double sl_pen_width(sl_pen *pen, int type, const char *text);
/* How high that paragraph would be, all its lines. */
double sl_pen_height(sl_pen *pen, double width, int type, const char *text);

void sl_set_colour(cairo_t *cr, uint32_t colour, double opacity);
/* Ramp colour of a score 0 to 3, and the ink that reads on it. */
uint32_t sl_ramp_colour(int score);
uint32_t sl_ramp_ink(int score);
/* Diagonal hatching of a rectangle: not seen. */
void sl_draw_hatch(cairo_t *cr, double x, double y, double width, double height, double step);
/* A thread from a number to its pixels: a calm curve with a small ring at the end. The thread's colour
 * stays set. */
void sl_draw_thread(cairo_t *cr, double from_x, double from_y, double to_x, double to_y);
/* A small tile with the score in its ramp colour, hatched when there is none (-1). */
void sl_draw_score(sl_pen *pen, double x, double y, double side, int score);

/* An image surface with the grey picture resampled to width x height (box filter down, linear up). Owned by the
 * caller; its status tells when memory is out. */
cairo_surface_t *sl_surface_of_gray(sl_gray picture, int width, int height);
/* An image surface that PDF pages embed as the JPEG it came from (copied). */
cairo_surface_t *sl_surface_of_jpeg(const uint8_t *jpeg, size_t length, int width, int height);
/* The picture as a JPEG, to be freed with tjFree; false when memory is out. The same picture gives the same bytes. */
bool sl_jpeg_of_gray(sl_gray picture, unsigned char **jpeg, unsigned long *length);
/* Paints the surface into a rectangle. */
void sl_draw_surface(cairo_t *cr, cairo_surface_t *surface, double x, double y, double width, double height);

#endif
