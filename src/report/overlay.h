/* Evidence drawn on pictures: the pleural line (continuous), A-lines (dashes), B-lines (two flanks and a roof), ribs
 * (a bar with a dotted shadow), anything else (a box with its name). Told apart by form as well as by colour. */
#ifndef SL_REPORT_OVERLAY_H
#define SL_REPORT_OVERLAY_H

#include "reading/reading.h"
#include "report/draw.h"

/* Where beam coordinates lie in the drawing. */
typedef struct sl_place {
    const sl_view *view; /* the original picture; NULL: a straightened frame */
    double x, y;         /* top left corner */
    double sx, sy;       /* points a picture pixel, or points a unit of beam and depth */
} sl_place;

void sl_place_point(const sl_place *place, double beam, double depth, double *x, double *y);

/* Draws what `reading` states of `frame`. `weight` scales the strokes; names are written when `names`. */
void sl_draw_evidence(sl_pen *pen, const sl_place *place, const sl_reading *reading, int frame, double weight, bool names);

/* Draws the pleural line of the frame nearest to `frame` when there is none of that very frame. */
void sl_draw_nearest_line(sl_pen *pen, const sl_place *place, const sl_reading *reading, int frame, double weight);

/* The first evidence of a finding that belongs to `frame`, or NULL. */
const sl_evidence *sl_evidence_at(const sl_finding *finding, int frame);
/* Where the thread of a finding ends in `frame`; false when nothing of it is there. Evidence that runs along the beams
 * is met at `depth_wanted` (the height of the number, so that the thread runs level) or, when that is NAN, at a depth of
 * the finding's own, so that threads to the same evidence stay apart. */
bool sl_thread_end(const sl_finding *finding, int frame, double depth_wanted, double *beam, double *depth);

#endif
