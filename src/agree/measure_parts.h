/* Inner parts of measures.c: one function a scale. */
#ifndef SL_AGREE_MEASURE_PARTS_H
#define SL_AGREE_MEASURE_PARTS_H

#include "agree/measures.h"

void sl_measure_add(sl_comparison *comparison, const char *key, const char *name, const char *method, bool percent,
                    sl_estimate of, const sl_spread *person);

/* One spread a statistic, from the arena; NULL on failure. */
sl_spread *sl_measure_resample(const sl_comparison *comparison, int statistics, sl_resampled statistic,
                               const void *context, const sl_resampling *how, sl_arena *arena, sl_error *error);

sl_status sl_measure_yes_no(sl_comparison *c, const sl_resampling *how, sl_arena *arena, sl_error *error);
sl_status sl_measure_ordered(sl_comparison *c, const sl_resampling *how, sl_arena *arena, sl_error *error);
sl_status sl_measure_numbers(sl_comparison *c, const sl_resampling *how, sl_arena *arena, sl_error *error);

#endif
