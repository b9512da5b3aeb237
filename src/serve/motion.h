/* The motion trace of a clip along a line that was set in it, by the program's own kernel (view/motion_trace.h). */
#ifndef SL_SERVE_MOTION_H
#define SL_SERVE_MOTION_H

#include "serve/desk.h"
#include "serve/request.h"

/* GET .../trace?points=BEAM,DEPTH;BEAM,DEPTH;... (0 to 1; 2 to SL_TRACE_POINTS_MOST of them: a smooth curve through them) with
 *   rows=ROWS, SL_TRACE_ROWS_LEAST to SL_TRACE_ROWS_MOST, 180 when left out;
 *   width=WIDTH pixels, at most SL_MOTION_WIDE, of a picture whose time runs evenly over the clip, from 0 to the last frame's time and a
 *     mean step on; left out: one column a frame.
 * Answers with application/octet-stream in the form of frames.h: 4 bytes little-endian length of a JSON object, the object, then rows x
 * width grey bytes, row by row, the line's first point at the top. The object: width, rows, timed, axis: [from, to] (seconds; frames where
 * times are not known; null with one column a frame), every (1; 2, 4 ... where the clip is so long that only every second, fourth ... frame is drawn), frames: for each
 * pixel column the frame of the file that stands there, -1 for a gap where nothing was recorded; line: places of the curve from its first
 * point to its last as [beam, depth]; length_mm (null without a scale) and length_share (of the imaged depth); pleura: null, or where the
 * line first meets the pleural line: {at (share of the line's length), beam, depth, depth_mm}; texture: {known, reason, value, beams:
 * [first, last], clip}: the reading's own number (reading/trace.h: 1 layered, more granular) over the beams about that place alone, and
 * `clip` the reading's over all spaces, null where it has none. Changes nothing. */
enum { SL_MOTION_WIDE = 4096 };
enum MHD_Result sl_reply_motion(sl_request *request, const sl_desk_clip *clip);

#endif
