/* The motion trace of a clip, drawn under the tide line on the same axis of time, with the breaths that were measured on it and where
 * its line meets the pleura. */
#ifndef SL_REPORT_MOTION_PICTURE_H
#define SL_REPORT_MOTION_PICTURE_H

#include "reading/read_clip.h"
#include "report/draw.h"
#include "report/language.h"

/* Whether the clip has one. */
bool sl_has_motion_trace(const sl_clip_result *result);

/* Nothing where there is no trace. Where nothing was recorded the trace is hatched. */
void sl_draw_motion_trace(sl_pen *pen, double x, double y, double width, double height, const sl_clip_result *result);

/* "motion trace: pleura 22.1 mm deep, 0.48 across" (of the width): where its line lies and how deep it meets the pleura, as far as that is known. */
const char *sl_motion_trace_words(const sl_language *say, const sl_clip_result *result, char *text, size_t room);
/* In how many parts it was read, and whether all run along one line; "" when at one go. */
const char *sl_motion_trace_parts(const sl_language *say, const sl_clip_result *result, char *text, size_t room);

#endif
