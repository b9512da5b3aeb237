/* A motion trace made afterwards from stored frames (an M-mode along any line or curve): one column of grey a frame, and its
 * picture with a time axis true to the frames' own times. */
#ifndef SL_VIEW_MOTION_TRACE_H
#define SL_VIEW_MOTION_TRACE_H

#include "view/stack.h"

enum { SL_TRACE_ROWS = 128 };

typedef struct sl_motion_trace {
    int columns;              /* one a frame; 0: there is none */
    const uint8_t *grey;      /* [columns][SL_TRACE_ROWS], along the line from its first point to its last */
    const double *time_s;     /* [columns]; NAN when times are not known: columns are then drawn at equal steps */
    const int *source;        /* [columns] frames of the file */
    int points;               /* the line, beam coordinates */
    const double *beam, *depth;
} sl_motion_trace;

/* Grey along the line through `points` (beam, depth) pairs in one straightened frame, rows at equal steps of its length in cells;
 * between cells by the nearest four. A line of one point gives that point's grey in every row. */
void sl_trace_column(const uint8_t *cell, const double *beam, const double *depth, int points, uint8_t *column);

/* The trace as a picture of width x SL_TRACE_ROWS pixels: each pixel column shows the frame nearest in time; where none is within
 * `hold_s` it stays `gap`. `pixel` has room for it. */
void sl_trace_picture(const sl_motion_trace *trace, double hold_s, uint8_t gap, int width, uint8_t *pixel);

#endif
