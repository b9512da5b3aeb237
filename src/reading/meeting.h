/* Where along the pleural line a part that moves with the lung meets one that stands with the chest wall.
 *
 * The strips' speckle has been averaged at positions of the lung along its way (x, beams). Of two positions far enough
 * apart, what lies under air looks alike where the wall is; what lies on the lung looks alike where the lung went, x further on.
 * For an edge that lies at e0 + slope x, of each pair of positions and each place both likenesses are taken where both are on the
 * same side of it; a place that is air at one and lung at the other counts for neither, so that an edge gains nothing
 * by sweeping over places that fit ill. The best edge is the one between still and moving speckle. */
#ifndef SL_READING_MEETING_H
#define SL_READING_MEETING_H

#include "reading/motion_table.h"
#include "view/stack.h"

#include <stdbool.h>

enum { MEETING_WIDE = SL_BEAMS + 2 * MEETING_PAD };

/* Mean strips in the wall's own beams, by rising x. */
typedef struct sl_positions {
    int count;
    double x[MEETING_BINS], weight[MEETING_BINS];
    float mean[MEETING_BINS][STRIP_LUNG_ROWS * SL_BEAMS];
} sl_positions;

typedef struct sl_meeting {
    bool found;
    bool lung_left;
    double edge, slope;             /* beams; beams a beam of the lung; the edge at x is edge + slope x */
    double gain;                    /* what two sides explain more than one, share of the power */
    double travel_gain;             /* of it, over the best edge there that does not travel */
    double air_still, air_moves;    /* correlation where the wall is, and where the lung went, of the air's side */
    double lung_still, lung_moves;  /* of the lung's side */
    double travel;                  /* beams */
} sl_meeting;

typedef struct sl_meeting_work sl_meeting_work; /* room for it */
size_t sl_meeting_work_size(void);

/* Prepares the pairs of `positions`; places where `open` is 0 are not looked at. */
void sl_meeting_prepare(const sl_positions *positions, const float *open, sl_meeting_work *work);
/* The best edge within beams first .. last. */
void sl_meeting_find(const sl_positions *positions, const sl_meeting_work *work, int first, int last, sl_meeting *meeting);

#endif
