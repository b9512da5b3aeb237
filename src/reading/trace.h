/* The motion trace: the grey along one beam over the frames (an M-mode made afterwards), and its texture below the pleura.
 *
 * What slides or flickers changes below the pleural line from one moment to the next and looks granular; where nothing slides,
 * the wall and what it repeats stand still and the trace is layered throughout. The number is the logarithm of the change over
 * about a fifth of a second, in units of the contrast from beam to beam, below the line against that above it, so that the
 * levels, noise, coding and the hand, which are in both, cancel. The trace's columns are the frames at their own times: uneven times are drawn uneven. */
#ifndef SL_READING_TRACE_H
#define SL_READING_TRACE_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "view/stack.h"

#define TRACE_LAG_S 0.2  /* between the moments compared: quiet sliding moves a beam or two in it (3 to 10 mm/s) */
enum {
    TRACE_ABOVE_FIRST = 4, TRACE_ABOVE_LAST = 20, /* rows above the line: the wall, clear of the line itself */
    TRACE_BELOW_FIRST = 6, TRACE_BELOW_LAST = 40, /* and below it */
    TRACE_APART = 8, /* beams: a grain of speckle is 2 to 4 wide */
    TRACE_BEAMS_LEAST = 16,
    TRACE_LINE_BEAMS = 12, /* to either side of where a line meets the pleura: few enough to be of that place, enough for the least */
    TRACE_PLACES = 129 /* of a curve, between which it is taken as straight: for drawing it and for where it meets the pleura */
};

/* What the number is made of, beam by beam: sums over the pairs of frames compared; 0 for beams outside the spaces. */
typedef struct sl_texture_beams {
    double above[SL_BEAMS], above_contrast[SL_BEAMS], below[SL_BEAMS], below_contrast[SL_BEAMS];
} sl_texture_beams;

typedef struct sl_texture {
    double pairs;    /* of frames compared; 0: not measured */
    double granular; /* ln of the change below over that above; 0 layered, above about 0.3 granular; NAN where not measured */
    int first_source, last_source; /* frames in the file */
    sl_texture_beams beams;
} sl_texture;

/* Over the beams of the spaces. Frames without times are taken 1/25 s apart. */
void sl_texture_measure(const sl_stack *stack, const sl_pleura *pleura, sl_texture *texture);
/* The same number over beams first .. last alone, as for a line that crosses the pleura there; NAN with fewer than TRACE_BEAMS_LEAST of
 * the spaces' beams among them. */
double sl_texture_along(const sl_texture_beams *beams, int first, int last);
void sl_texture_merge(sl_texture *into, const sl_texture *more);
/* Where the curve through `points` (beam, depth) pairs (view/motion_trace.h), from its first point on, first meets the pleural line that
 * the reading shows as the evidence of its depth: the share of the curve's length, and the place; NAN all three where it does not, or
 * there is no curve or no such line. */
double sl_curve_meets_pleura(const sl_reading *reading, const sl_view *view, const double *beam, const double *depth, int points, double *at_beam,
                             double *at_depth);
/* States the texture as a ratio: 1 layered, more granular. `depth` of the line, share of the picture. */
void sl_texture_state(const sl_texture *texture, double depth, const char *doubt, sl_arena *arena, sl_reading *reading);

#endif
