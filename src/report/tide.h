/* A finding over the clip's time, drawn as a tide line. */
#ifndef SL_REPORT_TIDE_H
#define SL_REPORT_TIDE_H

#include "reading/read_clip.h"
#include "report/draw.h"

/* Draws the share of the space taken by B-lines, 0 to 100 %, over seconds (over frames when times are unknown) into
 * the rectangle, the axis just below it; a cursor marks the shown frame. Says so when there is nothing to draw. */
void sl_draw_tide(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result,
                  int shown_frame, double shown_time_s);

#endif
