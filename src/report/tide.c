#include "report/tide.h"

#include "core/units.h"
#include "report/language.h"


/* A step of 1, 2 or 5 times a power of ten that divides `span` into at most `most` parts. */
static double nice_step(double span, int most)
{
    double step = pow(10, floor(log10(span / most)));
    static const double factors[] = {1, 2, 5, 10};
    for (int i = 0; i < 4; i++)
        if (span / (step * factors[i]) <= most)
            return step * factors[i];
    return step * 10;
}

static void draw_shore(cairo_t *cr, const sl_clip_result *result, double x, double y, double sx, double height,
                       bool by_time)
{
    int runs = 0;
    for (int pass = 0; pass < 2; pass++) {
        double last_x = 0, first_x = 0;
        bool open = false;
        for (int i = 0; i <= result->frame_values; i++) {
            double share = i < result->frame_values ? result->frame_coverage[i] : SL_UNKNOWN;
            if (!sl_known(share)) { /* a gap: where it could not be told the shore stops */
                if (open && pass == 0) {
                    cairo_line_to(cr, last_x, y + height);
                    cairo_line_to(cr, first_x, y + height);
                    cairo_close_path(cr);
                    runs++;
                }
                open = false;
                continue;
            }
            double at_x = x + sx * (by_time ? result->frame_time_s[i] : i);
            double at_y = y + height * (1 - (share < 0 ? 0 : share > 1 ? 1 : share));
            if (!open) {
                cairo_move_to(cr, at_x, at_y);
                first_x = at_x;
            } else
                cairo_line_to(cr, at_x, at_y);
            open = true;
            last_x = at_x;
        }
        if (pass == 0 && runs) {
            sl_set_colour(cr, LOOK_COLOUR_TIDE_FILL, 1);
            cairo_fill(cr);
        } else {
            sl_set_colour(cr, LOOK_COLOUR_TIDE_LINE, 1);
            cairo_set_line_width(cr, LOOK_STROKE_LINE);
            cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
            cairo_stroke(cr);
        }
    }
}

sl_axis sl_axis_of(const sl_clip_result *result)
{
    const sl_motion_trace *t = &result->trace;
    int n = result->frame_values;
    if (n > 1) {
        bool by_time = sl_known(result->frame_time_s[0]) && sl_known(result->frame_time_s[n - 1]);
        double span = by_time ? result->frame_time_s[n - 1] : n - 1;
        return (sl_axis){by_time, span > 0 ? span : 0};
    }
    if (t->columns > 1) {
        bool by_time = sl_trace_timed(t->time_s, t->columns);
        return (sl_axis){by_time, by_time ? t->time_s[t->columns - 1] : t->columns - 1};
    }
    return (sl_axis){false, 0};
}

void sl_draw_axis(sl_pen *pen, double x, double y, double width, const sl_axis *axis)
{
    double sx = axis->span > 0 ? width / axis->span : 0, step = axis->span > 0 ? nice_step(axis->span, 6) : 1;
    for (double at = 0; sx > 0 && at <= axis->span * 1.0001; at += step) {
        char number[32], first[48];
        const char *label = sl_say_number(pen->say, at, step < 1 ? 1 : 0, number);
        if (at == 0)
            label = SL_SAY(pen->say, axis->by_time ? SL_P_TIDE_SECONDS : SL_P_TIDE_FRAMES, first, number);
        double at_x = x + at * sx;
        cairo_move_to(pen->cr, at_x, y);
        cairo_line_to(pen->cr, at_x, y + 2.5);
        sl_set_colour(pen->cr, LOOK_COLOUR_QUIET, 1);
        cairo_set_line_width(pen->cr, LOOK_STROKE_HAIR);
        cairo_stroke(pen->cr);
        sl_align align = at == 0 ? SL_ALIGN_LEFT : at_x > x + width - 8 ? SL_ALIGN_RIGHT : SL_ALIGN_CENTRE;
        sl_pen_text(pen, at_x, y + 9.5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, align, 0, label);
    }
}

void sl_draw_cursor(sl_pen *pen, double x, double top, double bottom, double width, const sl_axis *axis, int shown_frame, double shown_time_s)
{
    double cursor = axis->by_time ? shown_time_s : shown_frame;
    if (!(axis->span > 0) || !sl_known(cursor) || cursor < 0 || cursor > axis->span)
        return;
    cairo_move_to(pen->cr, x + cursor * width / axis->span, top);
    cairo_line_to(pen->cr, x + cursor * width / axis->span, bottom);
    sl_set_colour(pen->cr, LOOK_COLOUR_THREAD, 1);
    cairo_set_line_width(pen->cr, LOOK_STROKE_LINE);
    cairo_stroke(pen->cr);
}

void sl_draw_tide(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result)
{
    cairo_t *cr = pen->cr;
    sl_axis axis = sl_axis_of(result);
    if (result->frame_values < 2 || !(axis.span > 0)) {
        sl_draw_hatch(cr, x, y, width, height, 6);
        sl_pen_text(pen, x, y + height + 9, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, width,
                    sl_say(pen->say, result->frames > 1 ? SL_P_TIDE_NO_VALUES : SL_P_TIDE_ONE_FRAME));
        return;
    }
    cairo_set_line_width(cr, LOOK_STROKE_HAIR);
    sl_set_colour(cr, LOOK_COLOUR_RULE, 1);
    for (int half = 0; half <= 2; half++) {
        cairo_move_to(cr, x, y + height * half / 2.0);
        cairo_line_to(cr, x + width, y + height * half / 2.0);
    }
    cairo_stroke(cr);
    draw_shore(cr, result, x, y, width / axis.span, height, axis.by_time);
}
