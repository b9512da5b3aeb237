/* Chests by chance with organs, the heart, the spine and the diaphragm's mirror image behind the pleura, and those that are like
 * them and have none. Invented; the ranges are those of adults in the ward (common practice, no source). */
#ifndef TESTS_LOOP_ORGAN_CHESTS_H
#define TESTS_LOOP_ORGAN_CHESTS_H

#include "chest/scenario.h"

typedef enum organ_kind {
    ORGAN_WELL,       /* aerated lung */
    ORGAN_SMALL,      /* subpleural consolidation */
    ORGAN_LOBE,       /* solid lung over the whole picture */
    ORGAN_FLUID,      /* fluid, the base not in the picture */
    ORGAN_BASE,       /* lung beside liver or spleen: their mirror image beyond the dome */
    ORGAN_BELOW,      /* liver or spleen from below, the dome deep in the picture: mirror image */
    ORGAN_HEART,      /* heart beside lung */
    ORGAN_SPINE,      /* fluid at the base: organ, diaphragm, the spine above it */
    ORGAN_NO_SPINE,   /* the same, the picture too shallow for the spine */
    ORGAN_DEEP,       /* lung beside an organ as in the kinds with fluid, in a picture deeper than the spine, which the lung hides */
    ORGAN_SOLID,      /* the same with solid lung instead of fluid: the spine above the diaphragm, no mirror image */
    ORGAN_STILL,      /* as from below, the dome stands still */
    ORGAN_KINDS
} organ_kind;

extern const char *const organ_kind_names[ORGAN_KINDS];

void organ_scenario(organ_kind kind, uint64_t seed, int grade, double duration_s, sl_scenario *scenario);

#endif
