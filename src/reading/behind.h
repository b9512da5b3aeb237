/* What lies beyond the diaphragm, seen along the beams that cross it: the organ's mirror image, dark fluid, tissue, the spine.
 *
 * Lung with air on the diaphragm is a mirror: sound comes back from the organ a second time, so that its texture and vessels appear again
 * beyond the line, as far behind it as they lie before it, and nothing that truly lies there is seen. Fluid or lung without air lets sound
 * through: the mirror image is lost, and the vertebral bodies are seen above the diaphragm (the spine sign: common practice; the line's
 * straight course far from the probe is anatomy). The line is looked for whether it moves or not, and so is an edge at which tissue ends. */
#ifndef SL_READING_BEHIND_H
#define SL_READING_BEHIND_H

#include "reading/diaphragm.h"
#include "reading/diaphragm_table.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "view/stack.h"

typedef struct sl_behind {
    double frames;            /* 0: not looked at */
    double spine, mirror;     /* 0..1: how surely each is there */
    double deep;              /* 0..1: how surely the deep line is a spine, with a diaphragm before it or not */
    double arc;               /* 0..1: how surely a line that sags as a dome does lies behind even tissue, with like grey beyond it */
    double arc_first_beam, arc_last_beam, arc_first_depth, arc_last_depth; /* of that */
    bool line;                /* a line or edge was found; the rest is of it */
    double clear, wide;       /* its mean score, share of the beams */
    double before, beyond;    /* ln grey before and beyond it, against the near part's level */
    double image, chance;     /* correlation of what lies beyond with the reflection of what lies before; the same of shifted
                                 reflections, their largest */
    double image_sd;          /* how far the first stands out of those */
    double image_cells;       /* compared in a frame */
    double spine_share, spine_groups; /* of the groups of beams that cross it: those beyond which the deep line is seen */
    double depth_mm;          /* imaged depth, NAN without scale */
    int points, spine_points;
    double point_beam[RIDGE_GROUPS], point_depth[RIDGE_GROUPS], spine_beam[RIDGE_GROUPS], spine_depth[RIDGE_GROUPS];
    int first_source, last_source, line_first, line_last; /* frames of the file: the clip; where the line lies so */
    double first_time_s, last_time_s;
} sl_behind;

/* `tissue`: how surely there is tissue of great extent (organ.h), NAN where nobody looked; without any no mirror image is looked for. */
sl_status sl_behind_measure(const sl_stack *stack, const sl_pleura *pleura, double tissue, sl_arena *arena, sl_behind *behind, sl_error *error);
/* Of two segments of a clip the one that shows either more surely. */
void sl_behind_merge(sl_behind *into, const sl_behind *more);
/* States the spine above the diaphragm and the mirror image; after the organ, the diaphragm and the effusion, of which it takes whether
 * they are seen. A spine seen supports a stated effusion, in words. */
void sl_behind_state(const sl_behind *behind, sl_arena *arena, sl_reading *reading);

#endif
