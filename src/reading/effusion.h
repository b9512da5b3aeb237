/* Pleural effusion: fluid between the parietal pleura (the chest wall's inner border) and what lies below it. */
#ifndef SL_READING_EFFUSION_H
#define SL_READING_EFFUSION_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/fluid_layer.h"
#include "reading/pleura.h"
#include "view/stack.h"

/* Looks for the layer of fluid in a segment whose pleural line was looked for. Where there is one, `parietal` is the
 * pleura's copy with line, rows and depth moved to the layer's upper rim (its rows in the arena), for what lies below the
 * fluid is the lung's surface, where artifacts still begin; elsewhere it is a plain copy. */
sl_status sl_effusion_find(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_fluid_layer *layer,
                           sl_pleura *parietal, sl_error *error);

#endif
