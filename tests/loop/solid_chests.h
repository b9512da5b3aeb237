/* Chests by chance that differ in what lies behind the pleura: aerated lung, fluid, solid lung, the organs at the base, the
 * heart. Invented; the ranges are those of adults in the ward (common practice, no source). */
#ifndef TESTS_LOOP_SOLID_CHESTS_H
#define TESTS_LOOP_SOLID_CHESTS_H

#include "chest/scenario.h"

typedef enum solid_kind {
    SOLID_WELL,       /* aerated, with and without A-lines, B-lines, white lung */
    SOLID_FLUID,      /* fluid before aerated lung */
    SOLID_FLUID_LUNG, /* fluid before a tongue of collapsed lung */
    SOLID_SMALL,      /* subpleural consolidation */
    SOLID_LOBE,       /* over the whole picture */
    SOLID_ORGAN,      /* liver or spleen in a part of the picture */
    SOLID_HEART,
    SOLID_KINDS
} solid_kind;

extern const char *const solid_names[SOLID_KINDS];

/* Of SOLID_LOBE the bronchogram goes by the seed: none, air, moving air, fluid. */
void solid_scenario(solid_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *scenario);

#endif
