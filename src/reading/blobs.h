/* Connected cells (by edges and corners) of a straightened picture. */
#ifndef SL_READING_BLOBS_H
#define SL_READING_BLOBS_H

#include "view/stack.h"

typedef struct sl_blob {
    int cells, first_row, last_row, first_beam, last_beam; /* both included */
    double row, beam;                                      /* middle */
} sl_blob;

/* The blobs of the cells that are on (SL_CELLS of 0 or 1, set to 0 by this), in the order of their first cells; those beyond `most` are left
 * out. `room`: SL_CELLS. Returns how many. */
int sl_blobs_find(uint8_t *on, int *room, sl_blob *blob, int most);

#endif
