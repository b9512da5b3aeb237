/* One clip on a page or in its own picture: the original frame with its evidence, the straightened frame, the numbers
 * with their threads, the tide line over time. */
#ifndef SL_REPORT_CLIP_ROW_H
#define SL_REPORT_CLIP_ROW_H

#include "exam/exam.h"
#include "report/draw.h"

/* The two pictures of a clip as they are to be shown; surfaces are borrowed. */
typedef struct sl_shown {
    cairo_surface_t *picture, *cell; /* NULL: there is none */
    int frame;                       /* index in the file */
    double time_s;                   /* NAN when unknown */
} sl_shown;

typedef struct sl_row {
    double x, y, width, height;
    double picture_width, cell_width; /* room for the two pictures */
    double tide_width;
    int columns;                      /* of numbers */
    double mark_weight;               /* strokes on pictures */
} sl_row;

extern const sl_row sl_row_on_page;    /* three on an A4 page across */
extern const sl_row sl_row_on_picture; /* the evidence picture */

/* Where the pictures of a row come to lie, for those who prepare them at that size. */
void sl_row_picture_box(const sl_row *row, int width, int height, double *x, double *y, double *w, double *h);
void sl_row_cell_box(const sl_row *row, double *x, double *y, double *w, double *h);

/* `score` of the clip's own reading is shown; `clip` may be unread (then its reason is). */
void sl_draw_clip_row(sl_pen *pen, const sl_row *row, const sl_exam_clip *clip, const sl_shown *shown);

#endif
