/* The cells that solid lung fills: below its surface, above its deep border, between the ribs. */
#ifndef SL_READING_SOLID_REGION_H
#define SL_READING_SOLID_REGION_H

#include "reading/fluid_layer.h"
#include "reading/pleura.h"
#include "reading/solid_extent.h"

typedef struct sl_solid_region {
    int top[SL_BEAMS], bottom[SL_BEAMS]; /* rows, first and one past the last; equal where a beam shows none */
    int first, last;                     /* rows of all beams together, as above */
    int cells;
    double row_mm;                       /* 0 when not known */
    float beam_mm[SL_DEPTHS];            /* between beams at each row; 0 when not known */
    uint8_t *in;                         /* [SL_CELLS] */
} sl_solid_region;

/* `in` comes from the arena; false when memory is out. `cells` is 0 where nothing is left. */
bool sl_solid_region_find(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, const sl_solid_extent *extent,
                          sl_arena *arena, sl_solid_region *region);

/* Half heights and widths in cells, at a row, of a length in mm; the fallbacks where the scale is not known. At least 1. */
int sl_solid_region_rows(const sl_solid_region *region, double mm, int fallback);
int sl_solid_region_beams(const sl_solid_region *region, int row, double mm, int fallback);

#endif
