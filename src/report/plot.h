/* A small chart: a frame with axes, and the marks of the look on it. Lengths in points of the page. */
#ifndef SL_REPORT_PLOT_H
#define SL_REPORT_PLOT_H

#include "report/draw.h"

typedef struct sl_plot {
    sl_pen *pen;
    double x, y, width, height; /* the area of the data on the page */
    double left, right, bottom, top; /* the data's range */
    bool percent_x, percent_y;  /* the range holds shares that print as percent */
} sl_plot;

double sl_plot_x(const sl_plot *plot, double value);
double sl_plot_y(const sl_plot *plot, double value);

/* Title above, hairlines and numbers at round steps, words along both axes. */
void sl_plot_frame(const sl_plot *plot, const char *title, const char *along_x, const char *along_y);

/* A line through known points; steps closer than a fifth of a point are left out. */
void sl_plot_line(const sl_plot *plot, const double *x, const double *y, int n, uint32_t colour, double stroke);
/* The area between the line and the lower edge. */
void sl_plot_fill(const sl_plot *plot, const double *x, const double *y, int n, uint32_t colour);
/* A straight line between two points of the data, dashed or not. */
void sl_plot_rule(const sl_plot *plot, double x0, double y0, double x1, double y1, uint32_t colour, bool dashed);
/* A disc; `open` leaves its middle free. */
void sl_plot_disc(const sl_plot *plot, double x, double y, double radius, uint32_t colour, bool open);
/* An upright interval at x. */
void sl_plot_interval(const sl_plot *plot, double x, double low, double high, uint32_t colour);

#endif
