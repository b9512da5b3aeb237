/* What is kept of a clip while it is read segment by segment, and how it becomes one reading. Memory stays bounded
 * whatever the clip's length: long histories are thinned by halves.
 *
 * Pooling: sums of the flicker are added, the A-line numbers are means weighted by frames, the B-line count and
 * coverage are the most in one frame of any segment, the pleural depth is the median over segments weighted by
 * frames, shares of beams are means weighted by frames. */
#ifndef SL_READING_SEGMENTS_H
#define SL_READING_SEGMENTS_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/borders.h"
#include "reading/quality.h"
#include "reading/reading.h"
#include "reading/signs.h"
#include "reading/trace.h"
#include "view/motion_trace.h"
#include "view/stack.h"

typedef struct sl_segments sl_segments;

sl_segments *sl_segments_new(void); /* NULL when memory is out */
void sl_segments_free(sl_segments **segments);

/* Reads a settled stack and adds what it found. */
sl_status sl_segments_read(sl_segments *segments, const sl_stack *stack, sl_error *error);

sl_signs sl_segments_signs(const sl_segments *segments);
/* How the probe was held. */
sl_hold_quality sl_segments_hold(const sl_segments *segments);

/* The clip's reading. NULL when memory is out. */
sl_reading *sl_segments_state(const sl_segments *segments, const char *clip, const sl_view *view, sl_arena *arena);

/* Index in the file of the kept frame nearest to `frame`; -1 when none was kept. */
int sl_segments_nearest_frame(const sl_segments *segments, int frame);
/* Frame that shows the most B-lines, -1 when none does. */
int sl_segments_best_frame(const sl_segments *segments);
/* Rows of the pleural line (SL_BEAMS, NAN where none) near `frame`; NULL when the line was not found. */
const float *sl_segments_line(const sl_segments *segments, int frame);
/* Share of the space taken by B-lines over the kept frames, with their times. */
void sl_segments_coverage(const sl_segments *segments, sl_arena *arena, double **coverage, double **time_s,
                          int *values);
/* The motion trace of the whole clip, at most SL_TRACE_COLUMNS_MOST columns, in pieces of a segment: along the beam in which the diaphragm was measured, else down the middle of the
 * widest space between the ribs, else of the picture. No columns for a still picture. */
void sl_segments_trace(const sl_segments *segments, sl_arena *arena, sl_motion_trace *trace);
/* The diaphragm's borders, of each kind those of the segment that shows them most surely; no frames for a still picture. */
void sl_segments_borders(const sl_segments *segments, sl_arena *arena, sl_border_path border[SL_BORDER_KINDS]);
/* What the texture of motion traces rests on; NULL where it was not measured. */
const sl_texture_beams *sl_segments_texture(const sl_segments *segments, sl_arena *arena);
/* From the first to the last kept frame, NAN when times are not known. */
double sl_segments_duration(const sl_segments *segments);

#endif
