/* A scenario file as a clip: the simulator's frames go straight into reading, without video coding in between, through the
 * same door as any other file. What a DICOM file would say (scale, depth, focus, frequency, frame rate) is said. */
#ifndef SL_TESTS_SCENARIO_CLIP_H
#define SL_TESTS_SCENARIO_CLIP_H

#include "chest/scenario.h"

/* Makes sl_clip_open play scenario files (JSON). Once, before any thread opens clips. */
void scenario_clip_join(void);

/* Leaves out the scale and the attributes of the files that are opened from now on, as a plain video has none. */
void scenario_clip_silent(bool silent);

#endif
