/* A finding over the clip's time, drawn as a tide line. */
#ifndef SL_REPORT_TIDE_H
#define SL_REPORT_TIDE_H

#include "reading/read_clip.h"
#include "report/draw.h"

/* The axis of what is drawn over a clip's time: seconds from 0, or frames where the times are not known. */
typedef struct sl_axis {
    bool by_time;
    double span; /* 0: nothing to draw over */
} sl_axis;

/* Of the clip's values over time, else of its motion trace. */
sl_axis sl_axis_of(const sl_clip_result *result);
/* Marks and numbers below the line at `y`. */
void sl_draw_axis(sl_pen *pen, double x, double y, double width, const sl_axis *axis);
/* Where the shown frame lies, from top to bottom; nothing where it is not on the axis. */
void sl_draw_cursor(sl_pen *pen, double x, double top, double bottom, double width, const sl_axis *axis, int shown_frame, double shown_time_s);

/* Draws the share of the space taken by B-lines, 0 to 100 %, over the clip's axis into the rectangle; says so when there is nothing to
 * draw. The axis and the cursor are drawn by those above. */
void sl_draw_tide(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result);

#endif
