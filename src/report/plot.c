#include "report/plot.h"

#include "core/units.h"

#include <math.h>
#include <stdio.h>

double sl_plot_x(const sl_plot *p, double value)
{
    return p->x + (value - p->left) / (p->right - p->left) * p->width;
}

double sl_plot_y(const sl_plot *p, double value)
{
    return p->y + p->height - (value - p->bottom) / (p->top - p->bottom) * p->height;
}

/* 1, 2 or 5 times a power of ten that gives about five steps. */
static double round_step(double range)
{
    double raw = range / 5, power = pow(10, floor(log10(raw))), ratio = raw / power;
    return (ratio < 1.5 ? 1 : ratio < 3.5 ? 2 : ratio < 7.5 ? 5 : 10) * power;
}

static void number(char *text, size_t room, double value, double step, bool percent)
{
    if (fabs(value) < step * 1e-6)
        value = 0;
    if (percent)
        snprintf(text, room, "%.0f %%", 100 * value);
    else
        snprintf(text, room, "%.*f", step >= 1 ? 0 : step >= 0.1 ? 1 : 2, value);
}

void sl_plot_frame(const sl_plot *p, const char *title, const char *along_x, const char *along_y)
{
    cairo_t *cr = p->pen->cr;
    char text[40];
    sl_pen_text(p->pen, p->x, p->y - 8, SL_TYPE_VALUE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, p->width, title);
    sl_set_colour(cr, LOOK_COLOUR_RULE, 1);
    cairo_set_line_width(cr, LOOK_STROKE_HAIR);
    double step = round_step(p->right - p->left);
    for (double v = ceil(p->left / step - 1e-9) * step; v <= p->right + step * 1e-6; v += step) {
        double x = sl_plot_x(p, v);
        sl_set_colour(cr, LOOK_COLOUR_RULE, 1);
        cairo_move_to(cr, x, p->y);
        cairo_line_to(cr, x, p->y + p->height);
        cairo_stroke(cr);
        number(text, sizeof text, v, step, p->percent_x);
        sl_pen_text(p->pen, x, p->y + p->height + 9, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, 0, text);
    }
    step = round_step(p->top - p->bottom);
    for (double v = ceil(p->bottom / step - 1e-9) * step; v <= p->top + step * 1e-6; v += step) {
        double y = sl_plot_y(p, v);
        sl_set_colour(cr, LOOK_COLOUR_RULE, 1);
        cairo_move_to(cr, p->x, y);
        cairo_line_to(cr, p->x + p->width, y);
        cairo_stroke(cr);
        number(text, sizeof text, v, step, p->percent_y);
        sl_pen_text(p->pen, p->x - 4, y + 2.4, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_RIGHT, 0, text);
    }
    sl_pen_text(p->pen, p->x + p->width / 2, p->y + p->height + 19, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE,
                p->width + 30, along_x);
    cairo_save(cr);
    cairo_translate(cr, p->x - 27, p->y + p->height / 2);
    cairo_rotate(cr, -SL_PI / 2);
    sl_pen_text(p->pen, 0, 0, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_CENTRE, p->height + 30, along_y);
    cairo_restore(cr);
}

static int trace(const sl_plot *p, const double *x, const double *y, int n)
{
    cairo_t *cr = p->pen->cr;
    double last_x = 0, last_y = 0;
    int drawn = 0;
    for (int i = 0; i < n; i++) {
        if (!sl_known(x[i]) || !sl_known(y[i]))
            continue;
        double px = sl_plot_x(p, x[i]), py = sl_plot_y(p, y[i]);
        if (drawn && i + 1 < n && fabs(px - last_x) < 0.2 && fabs(py - last_y) < 0.2)
            continue;
        if (drawn++)
            cairo_line_to(cr, px, py);
        else
            cairo_move_to(cr, px, py);
        last_x = px;
        last_y = py;
    }
    return drawn;
}

void sl_plot_line(const sl_plot *p, const double *x, const double *y, int n, uint32_t colour, double stroke)
{
    trace(p, x, y, n);
    sl_set_colour(p->pen->cr, colour, 1);
    cairo_set_line_width(p->pen->cr, stroke);
    cairo_set_line_join(p->pen->cr, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(p->pen->cr);
}

void sl_plot_fill(const sl_plot *p, const double *x, const double *y, int n, uint32_t colour)
{
    cairo_t *cr = p->pen->cr;
    int first = 0, last = n - 1;
    while (first < n && !(sl_known(x[first]) && sl_known(y[first])))
        first++;
    while (last > first && !(sl_known(x[last]) && sl_known(y[last])))
        last--;
    if (first >= last || trace(p, x, y, n) < 2) {
        cairo_new_path(cr);
        return;
    }
    cairo_line_to(cr, sl_plot_x(p, x[last]), p->y + p->height);
    cairo_line_to(cr, sl_plot_x(p, x[first]), p->y + p->height);
    cairo_close_path(cr);
    sl_set_colour(cr, colour, 0.45);
    cairo_fill(cr);
}

void sl_plot_rule(const sl_plot *p, double x0, double y0, double x1, double y1, uint32_t colour, bool dashed)
{
    cairo_t *cr = p->pen->cr;
    const double dash[] = {3, 2.5};
    cairo_move_to(cr, sl_plot_x(p, x0), sl_plot_y(p, y0));
    cairo_line_to(cr, sl_plot_x(p, x1), sl_plot_y(p, y1));
    sl_set_colour(cr, colour, 1);
    cairo_set_line_width(cr, LOOK_STROKE_LINE);
    cairo_set_dash(cr, dash, dashed ? 2 : 0, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, dash, 0, 0);
}

void sl_plot_disc(const sl_plot *p, double x, double y, double radius, uint32_t colour, bool open)
{
    cairo_t *cr = p->pen->cr;
    cairo_new_path(cr);
    cairo_arc(cr, sl_plot_x(p, x), sl_plot_y(p, y), radius, 0, 2 * SL_PI);
    if (open) {
        sl_set_colour(cr, LOOK_COLOUR_PAPER, 1);
        cairo_fill_preserve(cr);
        sl_set_colour(cr, colour, 1);
        cairo_set_line_width(cr, LOOK_STROKE_LINE);
        cairo_stroke(cr);
    } else {
        sl_set_colour(cr, colour, 0.75);
        cairo_fill(cr);
    }
}

void sl_plot_interval(const sl_plot *p, double x, double low, double high, uint32_t colour)
{
    sl_plot_rule(p, x, low, x, high, colour, false);
}
