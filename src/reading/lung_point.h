/* The lung point: the place where a lung that slides meets a pleura that does not (free air under the wall), and how far it
 * travels with breathing (clinical sheet 1: sliding and its absence alternate at one place at breathing rate). While the
 * lung moves, the speckle of each beam either stays where the wall went or it does not; the place between the two is
 * looked for at several positions of the lung, and a place that travels with the lung is told from one that does not
 * (the edge of a rib, an adhesion). */
#ifndef SL_READING_LUNG_POINT_H
#define SL_READING_LUNG_POINT_H

#include "reading/sliding.h"

enum { LUNG_POINT_BINS = 8 };

typedef struct sl_lung_point {
    double pairs;        /* frames at which the lung had left one end of its way; 0: nothing to go by */
    double contrast;     /* stillness of the one side less that of the other, 0..1 */
    double still, moves; /* stillness of the two sides */
    double place;        /* beam coordinate of the meeting place, mean over positions */
    double first, last;  /* and the range it travels over */
    double travel;       /* beams */
    double fit;          /* 0..1: share of the variance of stillness that two levels and the edge between them explain */
    double gain;         /* of it, what an edge that travels explains over one at the same place that does not */
    bool lung_left;
} sl_lung_point;

/* `sliding` of the same movement. SL_MEMORY only. */
sl_status sl_lung_point_measure(const sl_movement *movement, const sl_sliding *sliding, sl_arena *arena, sl_lung_point *point,
                                sl_error *error);
/* The better founded of two segments. */
void sl_lung_point_merge(sl_lung_point *into, const sl_lung_point *more);
void sl_lung_point_state(const sl_lung_point *point, const sl_sliding *sliding, const char *doubt, sl_arena *arena,
                         sl_reading *reading);

#endif
