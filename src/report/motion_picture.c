#include "report/motion_picture.h"

#include "core/units.h"

#include <stdlib.h>

/* Copies of the frame before and black frames were left out when the clip was read: up to this either side is no gap. */
static const double least_hold_s = 0.25;

/* Where on the axis a frame of the file lies, 0..1; NAN when it is none of the trace's. */
static double place_of(const sl_motion_trace *trace, int frame)
{
    int n = trace->columns;
    bool timed = sl_known(trace->time_s[0]) && trace->time_s[n - 1] > trace->time_s[0];
    for (int i = 0; i < n; i++)
        if (trace->source[i] == frame)
            return timed ? (trace->time_s[i] - trace->time_s[0]) / (trace->time_s[n - 1] - trace->time_s[0]) : (double)i / (n - 1);
    return SL_UNKNOWN;
}

/* Every breath, so that what was measured can be checked against the echoes: the dome's way as a line from where it begins to where
 * it ends, the muscle's thickness as a bar where it is thickest. */
static void draw_breaths(sl_pen *pen, double x, double y, double width, double height, const sl_motion_trace *trace,
                         const sl_finding *finding, bool towards)
{
    cairo_t *cr = pen->cr;
    for (int i = 0; finding && i < finding->evidences; i++) {
        const sl_evidence *e = &finding->evidence[i];
        double from = place_of(trace, e->first_frame), to = place_of(trace, e->last_frame);
        if (e->points || !sl_known(from) || !sl_known(to) || e->last_frame - e->first_frame >= trace->source[trace->columns - 1] - trace->source[0])
            continue;
        double first = towards ? e->last_depth : e->first_depth, last = towards ? e->first_depth : e->last_depth;
        from = towards ? from : to;
        for (int pass = 0; pass < 2; pass++) {
            cairo_move_to(cr, x + from * width, y + first * height);
            cairo_line_to(cr, x + to * width, y + last * height);
            sl_set_colour(cr, pass ? LOOK_COLOUR_MARK_OTHER : LOOK_COLOUR_NIGHT, pass ? 1 : 0.55);
            cairo_set_line_width(cr, pass ? LOOK_STROKE_LINE : 2.4 * LOOK_STROKE_LINE);
            cairo_stroke(cr);
        }
    }
}

void sl_draw_motion_trace(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result)
{
    enum { FINE = 3 }; /* pixels a point */
    const sl_motion_trace *trace = &result->trace;
    int wide = (int)(width * FINE);
    uint8_t *pixel = trace->columns > 1 ? malloc((size_t)wide * (size_t)trace->rows) : NULL;
    int *column = pixel ? malloc((size_t)wide * sizeof *column) : NULL;
    double *steps = column ? malloc((size_t)trace->columns * sizeof *steps) : NULL;
    if (steps) {
        bool timed = sl_trace_timed(trace->time_s, trace->columns);
        sl_trace_axis(trace->time_s, trace->columns, timed ? trace->time_s[0] : 0, timed ? trace->time_s[trace->columns - 1] : trace->columns - 1,
                      fmax(least_hold_s, sl_trace_hold(trace->time_s, trace->columns, steps)), wide, column);
        sl_trace_picture(trace, column, 0, wide, pixel);
        cairo_surface_t *surface = sl_surface_of_gray((sl_gray){wide, trace->rows, wide, pixel}, wide, (int)(height * FINE));
        sl_draw_surface(pen->cr, surface, x, y, width, height);
        cairo_surface_destroy(surface);
    }
    bool drawn = steps != NULL;
    free(pixel);
    free(column);
    free(steps);
    if (!drawn)
        return;
    draw_breaths(pen, x, y, width, height, trace, sl_reading_get(result->reading, SL_DIAPHRAGM), true);
    draw_breaths(pen, x, y, width, height, trace, sl_reading_get(result->reading, SL_DIAPHRAGM_THICKNESS), false);
}
