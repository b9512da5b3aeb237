/* What is true of the bronchi in solid lung: air or fluid in them, and how far the air travels in the clip. */
#ifndef SL_CHEST_TRUTH_BRONCHI_H
#define SL_CHEST_TRUTH_BRONCHI_H

#include "chest/chest.h"
#include "reading/reading.h"

/* Puts the findings on bronchograms into `reading`, for a clip of `frames`. What is there but cannot be seen has confidence 0. */
void sl_chest_bronchi_truth(sl_chest *chest, int frames, sl_arena *arena, sl_reading *reading);

#endif
