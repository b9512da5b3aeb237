/* Pleural effusion: fluid between the parietal pleura (the chest wall's inner border) and what lies below it. */
#ifndef SL_READING_EFFUSION_H
#define SL_READING_EFFUSION_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/fluid_content.h"
#include "reading/fluid_layer.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "view/stack.h"

/* Looks for the layer of fluid in a segment whose pleural line was looked for. Where there is one, `parietal` is the
 * pleura's copy with line, rows and depth moved to the layer's upper rim (its rows in the arena), for what lies below the
 * fluid is the lung's surface, where artifacts still begin; elsewhere it is a plain copy. */
sl_status sl_effusion_find(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_fluid_layer *layer,
                           sl_pleura *parietal, sl_error *error);

/* What a clip shows of it, pooled over segments. */
typedef struct sl_fluid {
    double frames;        /* looked at; 0 = none */
    bool seen, still;     /* in any segment; a single picture, where fluid cannot be told from dark muscle */
    double index;         /* 0..1: probability that the clearest layer is fluid, the most of any segment */
    double depth;         /* share of the imaged depth: the largest distance between the pleurae; NAN when not seen */
    double depth_low, depth_high; /* what neighbouring beams differ by and EFFUSION_SLACK; how often it holds the truth: docs/fluid-solid.md */
    bool part;            /* the lower border is seen in less than half of the layer's beams: it may be deeper where it is not */
    double swing;         /* share: how far the median distance changes over the clip */
    double echo;          /* grey of the fluid over that of the near part: under 0.05 echo-free */
    sl_fluid_content content;
    int points;           /* the lower border where the depth was taken, with the rim above it */
    double beam[SL_BEAMS], rim[SL_BEAMS], border[SL_BEAMS]; /* beam coordinate; depths 0..1 */
    int first_source, last_source;
    double first_time_s, last_time_s;
} sl_fluid;

sl_status sl_effusion_measure(const sl_stack *stack, const sl_pleura *parietal, const sl_fluid_layer *layer, sl_arena *arena,
                              sl_fluid *effusion, sl_error *error);
void sl_effusion_merge(sl_fluid *into, const sl_fluid *more);

/* States answer and depth. */
void sl_effusion_state(const sl_fluid *effusion, const sl_view *view, const char *doubt, sl_arena *arena,
                       sl_reading *reading);

/* Depth at the base: the median distance between the pleurae over the beams next to `first_beam`..`last_beam`, where an organ below the
 * diaphragm lies, when the fluid is seen up to there. After depth and organ have been stated. */
void sl_effusion_base_state(const sl_fluid *effusion, double first_beam, double last_beam, const sl_view *view, sl_arena *arena, sl_reading *reading);

#endif
