/* A motion trace made afterwards from stored frames (an M-mode along any line or curve): one column of grey a frame, and its
 * picture with a time axis true to the frames' own times.
 *
 * The line: a smooth curve through its points in the plane of the picture, true to shape (pixel widths both ways), a centripetal
 * Catmull-Rom spline (Catmull and Rom 1974; knots at the square root of the distances, so that it makes no cusp and does not cross
 * itself between two points: Yuksel, Schaefer, Keyser, Computer-Aided Design 2011;43:747); through two points it is the straight
 * line between them. Places on it are shares of its length, 0 at the first point, 1 at the last, so that steps along the trace are
 * equal steps in the body: the rows of a trace lie at the shares (row + 1/2) / rows. */
#ifndef SL_VIEW_MOTION_TRACE_H
#define SL_VIEW_MOTION_TRACE_H

#include "view/stack.h"

enum {
    SL_TRACE_ROWS = 128, /* of the trace that a reading keeps */
    SL_TRACE_ROWS_LEAST = 16,
    SL_TRACE_ROWS_MOST = 512,
    SL_TRACE_POINTS_MOST = 16,
    SL_TRACE_COLUMNS_MOST = 2 * SL_STACK_MOST /* of the trace that a reading keeps; of a longer clip every second frame, every fourth, ... */
};

/* Places at `count` shares of the length of the curve through `points` (beam, depth) pairs. Returns its length in pixel widths (times
 * the view's mm_per_px: mm); NAN, and nothing written, when there is no curve: fewer than two points that differ, too many, or one
 * that is no number. The curve may bulge beyond the imaged area: places outside 0..1 are kept as they are. */
double sl_curve_places(const sl_view *view, const double *beam, const double *depth, int points, const double *share, int count,
                       double *at_beam, double *at_depth);

/* Where the rows of a trace along a curve lie in a straightened frame; worked out once for all frames. */
typedef struct sl_trace_line {
    int rows;
    double length_px;
    int at[SL_TRACE_ROWS_MOST];                              /* upper left cell of the four around the place; -1: not in the picture */
    float right[SL_TRACE_ROWS_MOST], down[SL_TRACE_ROWS_MOST]; /* weights of the neighbours */
} sl_trace_line;

/* False when there is no such curve (as above) or `rows` is not SL_TRACE_ROWS_LEAST .. SL_TRACE_ROWS_MOST. */
bool sl_trace_line_set(sl_trace_line *line, const sl_view *view, const double *beam, const double *depth, int points, int rows);

/* Grey along the line in one straightened frame (SL_CELLS bytes), between cells by the nearest four; 0 beyond the picture. */
void sl_trace_column(const uint8_t *cell, const sl_trace_line *line, uint8_t *column);

/* What was read at one go: from column `first` on, along `beam`. Nothing is followed from one piece into the next. */
typedef struct sl_trace_piece {
    int first, spare;
    double beam;
} sl_trace_piece;

typedef struct sl_motion_trace {
    int columns, rows;        /* one column a frame; 0: there is none */
    const uint8_t *grey;      /* [columns][rows], along the line from its first point to its last */
    const double *time_s;     /* [columns]; NAN when times are not known: columns are then drawn at equal steps */
    const int *source;        /* [columns] frames of the file */
    int points;               /* the line, beam coordinates */
    const double *beam, *depth;
    int pieces;               /* 0 as 1: read at one go, along that line */
    const sl_trace_piece *piece; /* [pieces] by rising column, the first from 0 */
} sl_motion_trace;

/* Whether the times can be an axis: every one a number, the last after the first. */
bool sl_trace_timed(const double *time_s, int columns);
/* How far from a frame's time it still stands for what was there, seconds: one and a half times the median step, so that one frame
 * lost is bridged and more are shown as a gap (common practice, no source). NAN without times. Sorts steps in `scratch`, of `columns`. */
double sl_trace_hold(const double *time_s, int columns, double *scratch);

/* Which column of the trace each of `width` pixel columns shows: pixel x stands for the moment from + (x + 1/2) / width (to - from), and
 * shows the frame nearest in time, -1 (a gap) where none is within `hold_s`. Without times the axis counts frames, 0 the first. */
void sl_trace_axis(const double *time_s, int columns, double from, double to, double hold_s, int width, int *column);

/* The trace as a picture of width x rows pixels by such a list; gaps become `gap`. `pixel` has room for it. */
void sl_trace_picture(const sl_motion_trace *trace, const int *column, uint8_t gap, int width, uint8_t *pixel);

#endif
