/* What a hand measures in a clip, by the reading's own kernel (reading/measure.h), so that page and program give one number. */
#ifndef SL_SERVE_BY_HAND_H
#define SL_SERVE_BY_HAND_H

#include "serve/desk.h"
#include "serve/request.h"

/* GET .../measure?kind=KIND with
 *   distance, path, angle, area: points=BEAM,DEPTH;BEAM,DEPTH;... (0 to 1, view.h), `placing_px` the hand's standard deviation in
 *     pixel widths, common practice 1 (no source); left out, the uncertainty does not hold it, and says so;
 *   freq_mhz, aperture_mm: of the beam, where the user knows them; frequency and focus are the file's where it says them;
 *   time: times=FIRST_S,LAST_S and frame_s, the time from one frame to the next;
 *   trace (on the motion trace): points=BEAM,DEPTH;... of its line (2 to SL_TRACE_POINTS_MOST, motion_trace.h), along=FIRST,LAST the
 *     two places as shares of its length (left out: its ends), times and frame_s as above; the answer then also holds {time, speed} like
 *     the way itself, which is along the line; share_of_depth (of the imaged depth, known without a scale) with share_half, half the
 *     width of its interval by the hand alone, and places: [[beam, depth], [beam, depth]];
 *   earlier=VALUE,VALUE,... of the same kind: repeats, of which this is one more.
 * Answers {known, reason, unit, value, sd, low, high, left_out, resolution: {along_mm, across_mm, along_from, across_from} of the beam at
 * the points' depths, from "speckle", "formula" or "unknown" (reading/resolution.h), repeats: null or {count, mean, within_sd,
 * within_sd_interval, repeatability, interval}}; all intervals are of 95 %. Changes nothing. */
enum MHD_Result sl_reply_by_hand(sl_request *request, const sl_desk_clip *clip);

#endif
