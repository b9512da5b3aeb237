/* The decoded frames of a clip as a stream: what the page draws from. */
#ifndef SL_SERVE_FRAMES_H
#define SL_SERVE_FRAMES_H

#include "serve/desk.h"
#include "serve/request.h"

enum { SL_FRAMES_SENT = 6000 }; /* of a clip at most */

/* Answers with application/octet-stream: 4 bytes little-endian length of a JSON object, the object, then for each frame
 * 8 bytes time in seconds (little-endian double, NaN unknown), 4 bytes index in the file, 4 bytes zero, and
 * width x height grey bytes. The object: width, height (of the frames sent), x0, y0 (their corner in the full picture),
 * step (pixels of the full picture a pixel sent: 1, or more when the clip is too large), full {width, height}, frames
 * (0 when not known), budget (how many at most are sent). Only the imaged area is sent once it is known, so that nothing
 * written beside it leaves the file. */
enum MHD_Result sl_reply_frames(sl_request *request, const sl_desk_clip *clip);

#endif
