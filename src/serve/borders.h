/* The diaphragm's borders of a clip: as the reading found them and as a hand moves them, with the figures of both by the reading's own
 * code (reading/borders.h). What a hand set is kept in the journal (says.h, kind "borders"). */
#ifndef SL_SERVE_BORDERS_H
#define SL_SERVE_BORDERS_H

#include "serve/desk.h"
#include "serve/request.h"

/* GET .../borders?which=dome or muscle [&hand={...}] with the hand's points as JSON as they are kept in the journal:
 * {points: [{line (0 dome or upper, 1 lower), frame (of the file), depth (share of the imaged depth)}], turns: [{frame, end: "expiration" or
 * "inspiration"}], beam, anew}. Answers {which, scaled, automatic: {breaths, findings, path}, hand: the same by hand, or null without `hand`}.
 * path: {found, index, beam, frames, times_s, depth, lower (muscle)}, lists of one length, null where there is no line; breaths: {frames: [from,
 * to], times_s, whole, and for the dome way_mm, way_share, speed_mm_s, placing_sd_mm, for the muscle low_mm, high_mm, thickening (percent),
 * placing_sd (percent)}, millimetres null without a scale; findings as in exam.json. `automatic.findings` are those of the clip's reading,
 * which may leave open what its path alone would give. Changes nothing. */
enum MHD_Result sl_reply_borders(sl_request *request, const sl_desk_clip *clip);

#endif
