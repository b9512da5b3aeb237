/* The pictures of a comparison and of a learning curve; inner part of evaluation_pdf.c. */
#ifndef SL_REPORT_EVALUATION_PLOTS_H
#define SL_REPORT_EVALUATION_PLOTS_H

#include "agree/learning.h"
#include "agree/results.h"
#include "report/plot.h"

/* Draws within x .. right, top .. bottom of the page. Where the reading's own answers lie on the ROC plane is returned
 * in *mark_x, *mark_y (NAN: not drawn). */
void sl_draw_yes_no(sl_pen *pen, const sl_comparison *c, double x, double top, double *mark_x, double *mark_y);
void sl_draw_ordered(sl_pen *pen, const sl_comparison *c, double x, double top);
void sl_draw_numbers(sl_pen *pen, const sl_comparison *c, double x, double top);
void sl_draw_learning(sl_pen *pen, const sl_curve *c, double x, double top);

#endif
