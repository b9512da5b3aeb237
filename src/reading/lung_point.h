/* The lung point: the place where a lung that slides meets a pleura that does not (free air under the wall), and how far it
 * travels with breathing (clinical sheet 1: sliding and its absence alternate at one place at breathing rate). The meeting of
 * still and moving speckle is looked for in each run of beams between the ribs (meeting.h); where the place itself is not seen, behind a rib,
 * the windows may still tell on which side of it the lung slides (lung_sides.h). */
#ifndef SL_READING_LUNG_POINT_H
#define SL_READING_LUNG_POINT_H

#include "reading/meeting.h"
#include "reading/rhythm.h"
#include "reading/sliding.h"

typedef struct sl_lung_point {
    bool looked;         /* the lung moved far enough to look */
    double index;        /* 0..1 that still and moving lung meet there, and that the place travels */
    double place;        /* beam coordinate of the meeting place, middle of its way */
    double first, last;  /* and the range it travels over */
    sl_rhythm breath;    /* of the lung's path there */
    sl_meeting meeting;  /* not found where the windows tell: it lies somewhere in first .. last, of it all but the lung's side is unknown */
} sl_lung_point;

/* `sliding` of the same movement. SL_MEMORY only. */
sl_status sl_lung_point_measure(const sl_movement *movement, const sl_sliding *sliding, sl_arena *arena, sl_lung_point *point,
                                sl_error *error);
/* The better founded of two segments. */
void sl_lung_point_merge(sl_lung_point *into, const sl_lung_point *more);
/* After the curtain's: where lung comes over an organ no lung point is claimed. */
void sl_lung_point_state(const sl_lung_point *point, const sl_sliding *sliding, const char *doubt, sl_arena *arena,
                         sl_reading *reading);

#endif
