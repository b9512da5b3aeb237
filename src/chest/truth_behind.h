/* What is true beyond the diaphragm: the mirror image of the organ, and the spine above the diaphragm. */
#ifndef SL_CHEST_TRUTH_BEHIND_H
#define SL_CHEST_TRUTH_BEHIND_H

#include "chest/chest.h"
#include "reading/reading.h"

/* Puts both findings into `reading`, for a clip of `frames`. Not known where no diaphragm lies in the picture; what is there or not but
 * cannot be seen with these settings has confidence 0 and says why. */
void sl_chest_behind_truth(sl_chest *chest, int frames, sl_arena *arena, sl_reading *reading);

#endif
