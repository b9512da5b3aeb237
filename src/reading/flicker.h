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
 * noise. */
#ifndef SL_READING_FLICKER_H
#define SL_READING_FLICKER_H

#include "core/arena.h"
#include "core/error.h"
#include "view/stack.h"

#include <stdint.h>

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
    uint8_t inside[SL_BEAMS]; /* 1 where the beam lies inside the picture at all bands */
    double coherent_sum, variance_sum; /* over all pairs and beams, to be pooled over segments */
    double cells;           /* how many (pair, beam) they are sums of */
    double sway_sum;        /* sum over pairs of |shift| */
} sl_flicker;

/* `pleura_row`: depth of the pleural line in rows, NAN when not known. */
sl_status sl_flicker_measure(const sl_stack *stack, double pleura_row, sl_arena *arena, sl_flicker *flicker,
                             sl_error *error);

/* mean c / (mean q + floor); NAN when there was no pair. */
double sl_flicker_index(double coherent_sum, double variance_sum, double cells);

#endif
