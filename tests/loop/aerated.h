/* Chests whose picture shows aerated lung alone. */
#ifndef SL_TESTS_AERATED_H
#define SL_TESTS_AERATED_H

#include "chest/scenario.h"

static inline bool is_aerated(const sl_scenario *s)
{
    return !(s->effusion.depth_mm > 0) && !s->consolidations && !s->pneumothorax.present && s->base.organ == SL_ORGAN_NONE &&
           !s->heart.present;
}

#endif
