#include "report/motion_picture.h"

#include "core/units.h"
#include "reading/trace.h"
#include "report/tide.h"

#include <stdio.h>
#include <stdlib.h>
#include <turbojpeg.h>

/* Copies of the frame before and black frames were left out when the clip was read: up to this either side is no gap. */
static const double least_hold_s = 0.25;

bool sl_has_motion_trace(const sl_clip_result *result)
{
    return result->trace.columns > 1 && result->trace.rows > 0 && sl_axis_of(result).span > 0;
}

static double place_at(const sl_motion_trace *trace, const sl_axis *axis, int column)
{
    return axis->by_time ? trace->time_s[column] / axis->span : (double)column / (trace->columns - 1);
}

/* Where on the axis a frame of the file lies, 0..1, also one that was left out between two of the trace's; NAN when it is beyond them. */
static double place_of(const sl_motion_trace *trace, const sl_axis *axis, int frame)
{
    for (int i = 0; i < trace->columns; i++) {
        if (trace->source[i] == frame)
            return place_at(trace, axis, i);
        if (i && trace->source[i - 1] < frame && frame < trace->source[i]) {
            double share = (double)(frame - trace->source[i - 1]) / (trace->source[i] - trace->source[i - 1]);
            return (1 - share) * place_at(trace, axis, i - 1) + share * place_at(trace, axis, i);
        }
    }
    return SL_UNKNOWN;
}

/* Whether a piece runs along that beam, to a beam's width. */
static bool same_line(const sl_motion_trace *trace, int piece, double beam)
{
    return fabs(trace->piece[piece].beam - beam) < 1.0 / SL_BEAMS;
}

/* Whether a breath's evidence can be drawn: within one piece, along its line, and not over the whole of it, for then it is no breath. */
static bool fits(const sl_motion_trace *trace, const sl_evidence *e)
{
    for (int i = 0; i < trace->pieces || !i; i++) {
        int first = i < trace->pieces ? trace->piece[i].first : 0, last = i + 1 < trace->pieces ? trace->piece[i + 1].first - 1 : trace->columns - 1;
        if (e->last_frame < trace->source[first] || e->first_frame > trace->source[last])
            continue;
        if ((e->first_frame <= trace->source[first] && e->last_frame >= trace->source[last]) ||
            (trace->pieces > 1 && !same_line(trace, i, 0.5 * (e->first_beam + e->last_beam))))
            return false;
    }
    return true;
}

/* Every breath, so that what was measured can be checked against the echoes: the dome's way as a line from where it begins to where
 * it ends, the muscle's thickness as a bar where it is thickest. */
static void draw_breaths(sl_pen *pen, double x, double y, double width, double height, const sl_motion_trace *trace, const sl_axis *axis,
                         const sl_finding *finding, bool towards)
{
    cairo_t *cr = pen->cr;
    for (int i = 0; finding && i < finding->evidences; i++) {
        const sl_evidence *e = &finding->evidence[i];
        double from = place_of(trace, axis, e->first_frame), to = place_of(trace, axis, e->last_frame);
        if (e->points || !sl_known(from) || !sl_known(to) || !fits(trace, e))
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

/* Share of the trace's line at which it meets the pleura, and the depth there; NAN where it does not. */
static double meets_pleura(const sl_clip_result *result, double *depth_share)
{
    const sl_motion_trace *t = &result->trace;
    double beam;
    *depth_share = SL_UNKNOWN;
    return result->reading ? sl_curve_meets_pleura(result->reading, &result->view, t->beam, t->depth, t->points, &beam, depth_share) : SL_UNKNOWN;
}

static void draw_pleura(sl_pen *pen, double x, double y, double width)
{
    enum { TICK = 6 };
    for (int pass = 0; pass < 2; pass++) {
        for (int side = 0; side < 2; side++) {
            cairo_move_to(pen->cr, side ? x + width - TICK : x, y);
            cairo_line_to(pen->cr, side ? x + width : x + TICK, y);
        }
        sl_set_colour(pen->cr, pass ? LOOK_COLOUR_MARK_PLEURA : LOOK_COLOUR_NIGHT, pass ? 1 : 0.7);
        cairo_set_line_width(pen->cr, pass ? 1.6 * LOOK_STROKE_LINE : 4 * LOOK_STROKE_LINE);
        cairo_stroke(pen->cr);
    }
}

static void draw_grey(sl_pen *pen, double x, double y, double width, double height, const uint8_t *pixel, int wide, int rows)
{
    const sl_gray picture = {wide, rows, wide, pixel};
    cairo_surface_t *surface = NULL;
    if (cairo_surface_get_type(cairo_get_target(pen->cr)) == CAIRO_SURFACE_TYPE_IMAGE)
        surface = sl_surface_of_gray(picture, wide, rows);
    else { /* on paper as a JPEG, like the other pictures */
        unsigned char *jpeg = NULL;
        unsigned long length = 0;
        if (sl_jpeg_of_gray(picture, &jpeg, &length))
            surface = sl_surface_of_jpeg(jpeg, length, wide, rows);
        tjFree(jpeg);
    }
    if (surface)
        sl_draw_surface(pen->cr, surface, x, y, width, height);
    cairo_surface_destroy(surface);
}

static void draw_gaps(sl_pen *pen, double x, double y, double width, double height, const int *column, int wide)
{
    for (int at = 0; at < wide; at++) {
        if (column[at] >= 0)
            continue;
        int from = at;
        while (at < wide && column[at] < 0)
            at++;
        double left = x + from * width / wide, room = (at - from) * width / wide;
        cairo_rectangle(pen->cr, left, y, room, height);
        sl_set_colour(pen->cr, LOOK_COLOUR_PAPER, 1);
        cairo_fill(pen->cr);
        sl_draw_hatch(pen->cr, left, y, room, height, 6);
    }
}

/* Where one piece ends and the next begins: nothing is followed across, and the line may be another one. */
static void draw_seams(sl_pen *pen, double x, double y, double width, double height, const sl_motion_trace *trace, const sl_axis *axis)
{
    static const double dashes[] = {3, 2};
    for (int i = 1; i < trace->pieces; i++) {
        int first = trace->piece[i].first;
        double at = x + 0.5 * (place_at(trace, axis, first - 1) + place_at(trace, axis, first)) * width;
        for (int pass = 0; pass < 2 && first > 0 && sl_known(at); pass++) {
            cairo_move_to(pen->cr, at, y);
            cairo_line_to(pen->cr, at, y + height);
            sl_set_colour(pen->cr, pass ? LOOK_COLOUR_PAPER : LOOK_COLOUR_NIGHT, 1);
            cairo_set_line_width(pen->cr, pass ? LOOK_STROKE_LINE : 2 * LOOK_STROKE_LINE);
            cairo_set_dash(pen->cr, dashes, pass ? 2 : 0, 0);
            cairo_stroke(pen->cr);
        }
    }
    cairo_set_dash(pen->cr, NULL, 0, 0);
}

void sl_draw_motion_trace(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result)
{
    enum { FINE = 3 }; /* pixels a point */
    const sl_motion_trace *trace = &result->trace;
    const sl_axis axis = sl_axis_of(result);
    int wide = (int)(width * FINE), columns = trace->columns;
    if (!sl_has_motion_trace(result) || wide < 1)
        return;
    uint8_t *pixel = malloc((size_t)wide * (size_t)trace->rows);
    int *column = malloc((size_t)wide * sizeof *column);
    double *steps = malloc((size_t)columns * sizeof *steps);
    if (pixel && column && steps) {
        bool timed = axis.by_time && sl_trace_timed(trace->time_s, columns);
        sl_trace_axis(trace->time_s, columns, 0, timed ? axis.span : columns - 1, fmax(least_hold_s, sl_trace_hold(trace->time_s, columns, steps)),
                      wide, column);
        sl_trace_picture(trace, column, 0, wide, pixel);
        draw_grey(pen, x, y, width, height, pixel, wide, trace->rows);
        draw_gaps(pen, x, y, width, height, column, wide);
        draw_seams(pen, x, y, width, height, trace, &axis);
        draw_breaths(pen, x, y, width, height, trace, &axis, sl_reading_get(result->reading, SL_DIAPHRAGM), true);
        draw_breaths(pen, x, y, width, height, trace, &axis, sl_reading_get(result->reading, SL_DIAPHRAGM_THICKNESS), false);
        double depth, at = meets_pleura(result, &depth);
        if (sl_known(at))
            draw_pleura(pen, x, y + at * height, width);
    }
    free(pixel);
    free(column);
    free(steps);
}

const char *sl_motion_trace_words(const sl_language *say, const sl_clip_result *result, char *text, size_t room)
{
    char beam[32], deep[32], line[160];
    double depth, mm = sl_view_depth_mm(&result->view);
    const char *where = sl_say_number(say, result->trace.points ? result->trace.beam[0] : 0, 2, beam);
    if (!sl_known(meets_pleura(result, &depth)))
        snprintf(text, room, "%s", SL_SAY(say, SL_P_ROW_TRACE, line, where));
    else if (sl_known(mm))
        snprintf(text, room, "%s", SL_SAY(say, SL_P_ROW_TRACE_PLEURA, line, where, sl_say_number(say, depth * mm, 1, deep)));
    else
        snprintf(text, room, "%s", SL_SAY(say, SL_P_ROW_TRACE_SHARE, line, where, sl_say_number(say, depth, 2, deep)));
    return text;
}

const char *sl_motion_trace_parts(const sl_language *say, const sl_clip_result *result, char *text, size_t room)
{
    const sl_motion_trace *trace = &result->trace;
    char count[32], line[200];
    bool same = true;
    for (int i = 0; i < trace->pieces; i++)
        same &= same_line(trace, i, trace->beam[0]);
    sl_say_number(say, trace->pieces, 0, count);
    snprintf(text, room, "%s", trace->pieces < 2 ? "" : same ? SL_SAY(say, SL_P_ROW_TRACE_PARTS, line, count) : SL_SAY(say, SL_P_ROW_TRACE_LINES, line, count));
    return text;
}
