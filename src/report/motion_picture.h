/* The motion trace of a clip, drawn under the tide line on the same axis of time, with the breaths that were measured on it. */
#ifndef SL_REPORT_MOTION_PICTURE_H
#define SL_REPORT_MOTION_PICTURE_H

#include "reading/read_clip.h"
#include "report/draw.h"

/* Nothing where there is no trace. */
void sl_draw_motion_trace(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result);

#endif
