/* Coherent flicker: a vertical artifact is fed from one place on the pleura, so its whole length brightens and dims at
 * once; speckle and electronic noise do not agree over depth, shadows and still tissue do not flicker. No pleural line
 * is needed, but for a deep one.
 *
 * The depths from 40 % (or from below the pleural line) to 95 % of the imaged depth are cut into FLICKER_BANDS bands; a frame's profile S[band][beam] is
 * the mean grey, band-passed along the beams. For a pair of frames 80 to 160 ms apart the second is registered on the
 * first by whole beams (probe sway), E is their difference less its projections on dS/dbeam (the rest of the sway)
 * and on S (gain pumping), as far as these can go. With n bands, s the mean of E over the bands and q the mean of its square,
 *     c = (n^2 s^2 - n q) / (n (n - 1))
 * is the mean covariance between different bands and q the variance: c / q is 1 for what flickers as one, 0 for
 * noise.
 *
 * Only beams that look into a space count: the edge of a rib's shadow that moves flickers along its whole length too. Lines
 * come and go with breathing, so the clip's index is not the mean but a high quantile over time of the ratio in short
 * windows: "seen anywhere in the clip". */
#ifndef SL_READING_FLICKER_H
#define SL_READING_FLICKER_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/beams.h"
#include "reading/lines_table.h"
#include "view/stack.h"

#include <stdint.h>

/* How many windows have an index of each level (equal steps of ln(index + 0.02) from FLICKER_LEVEL_LEAST on): what is
 * kept of a clip of any length. */
typedef struct sl_flicker_levels {
    int count[FLICKER_LEVELS];
} sl_flicker_levels;

typedef struct sl_flicker {
    int frames;             /* of the stack */
    int first_row;          /* where the bands begin */
    int lag;                /* frames between the two of a pair */
    int pairs;              /* frames - lag, 0 for fewer than two frames */
    const float *profile;   /* [frames][FLICKER_BANDS][SL_BEAMS] mean grey */
    const float *edge;      /* the same, band-passed along the beams */
    const float *coherent;  /* [pairs][SL_BEAMS] c; 0 where a beam has no partner */
    const float *variance;  /* [pairs][SL_BEAMS] q */
    const int8_t *shift;    /* [pairs] beams */
    uint8_t inside[SL_BEAMS]; /* 1 where the beam lies inside the picture at all bands and looks into a space */
    sl_flicker_levels levels; /* of the windows of the segment, to be pooled over segments */
    double sway_sum;        /* sum over pairs of |shift| */
} sl_flicker;

/* `pleura_row`: depth of the pleural line in rows, NAN when not known. `beams`: what each beam sees, or NULL when that is
 * not known; then, and where too few look into a space, all beams count. */
sl_status sl_flicker_measure(const sl_stack *stack, double pleura_row, const sl_beams *beams, sl_arena *arena,
                             sl_flicker *flicker, sl_error *error);

/* Index of a clip: the quantile FLICKER_SHARE over its windows of mean c / (mean q + floor); NAN when there was no pair. */
double sl_flicker_index(const sl_flicker_levels *levels);

#endif
