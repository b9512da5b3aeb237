/* Bronchi seen in lung without air: air in them (bright points or branches) that stands still in the tissue or travels with breathing,
 * and fluid in them (echo-free tubes, which a vessel looks like).
 *
 * Bright points are found in short blocks of time and followed; the tissue between them is matched from block to block, and the one is
 * taken from the other, for the whole lung moves with breathing. More than 1 mm is movement (Lichtenstein et al. 2009, Chest
 * 135:1421, doi 10.1378/chest.08-2281). */
#ifndef SL_READING_BRONCHOGRAM_H
#define SL_READING_BRONCHOGRAM_H

#include "reading/consolidation.h"
#include "reading/reading.h"

enum { SL_BRONCHI_SHOWN = 24 };

typedef struct sl_bronchi {
    const char *reason;       /* why nothing was looked for, "" otherwise */
    int blocks;               /* of time */
    /* air */
    double points_block;      /* bright points that lasted in a block, mean */
    double travel, travel_sd; /* mm along the beams against the tissue; NAN when not measured */
    double tissue;            /* mm: what the tissue itself travelled, the farther of along and across the beams; NAN likewise */
    const char *still_reason; /* why it was not measured, "" otherwise */
    int shown;                /* where they lie, of 1, in the block with the most */
    double beam[SL_BRONCHI_SHOWN], depth[SL_BRONCHI_SHOWN];
    /* fluid */
    double tubes;             /* echo-free places that lasted in a block, mean */
    int tubes_shown;
    double tube_first_beam[SL_BRONCHI_SHOWN], tube_last_beam[SL_BRONCHI_SHOWN], tube_first_depth[SL_BRONCHI_SHOWN], tube_last_depth[SL_BRONCHI_SHOWN];
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_bronchi;

/* Looks where `solid` is not absent. `fluid`: the layer before it, or NULL. */
sl_status sl_bronchi_measure(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, const sl_solid *solid,
                             sl_arena *arena, sl_bronchi *bronchi, sl_error *error);
void sl_bronchi_merge(sl_bronchi *into, const sl_bronchi *more);
/* States air, movement, travel and fluid. `whole_breath`: the clip holds one (sliding.h); `doubt`: see answer.h. After sl_solid_state, whose
 * answer it hangs on. */
void sl_bronchi_state(const sl_bronchi *bronchi, bool whole_breath, const char *doubt, sl_arena *arena, sl_reading *reading);

#endif
