/* Columns of one frame that stand out from their neighbours from below the pleural line to the far edge: the single
 * vertical artifacts and their merged bundles, for counting and for the share of the pleural width.
 *
 * The depths from below the line to 95 % of the imaged depth are cut into COLUMN_BANDS bands. In each band the grey is
 * smoothed along the beams narrowly and widely, over beams of the spaces only (so that the edge of a shadow is no
 * contrast); the contrast is (narrow - wide) / (wide + floor). A beam is lit when its mean contrast, the weakest and the
 * two strongest bands left out, and the number of bands with any contrast are high enough, and the
 * last two bands keep a share of it: a line reaches the far edge without fading. Thin and broad lines have a scale each; the
 * larger contrast holds. */
#ifndef SL_READING_COLUMNS_H
#define SL_READING_COLUMNS_H

#include "reading/filters.h"
#include "reading/lines_table.h"
#include "reading/pleura.h"
#include "view/stack.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct sl_columns {
    int first_row;                     /* of the bands */
    int beams;                         /* that see the pleura: what coverage is a share of */
    float use[SL_BEAMS];               /* 1 for beams that look into a space, clear of its borders, to the far edge */
    sl_filter narrow[COLUMN_SCALES], wide[COLUMN_SCALES];
    float narrow_weight[COLUMN_SCALES][SL_BEAMS]; /* 1 / smoothed use, 0 where nothing is used nearby */
    float wide_weight[COLUMN_SCALES][SL_BEAMS];
    float scale[COLUMN_BANDS * SL_BEAMS]; /* 1 / cells inside */
    float far_least;                   /* grey that a merged bundle keeps in its last COLUMN_FAR_BANDS */
} sl_columns;

void sl_columns_prepare(const sl_stack *stack, const sl_pleura *pleura, sl_columns *columns);

/* Contrast of the lit beams of one straightened frame, 0 for the others; and which beams are still bright in the last
 * COLUMN_FAR_BANDS, as those of a merged bundle are, which has no darker neighbours to stand out from. */
void sl_columns_find(const sl_columns *columns, const uint8_t *cell, float *lit, bool *bright);

#endif
