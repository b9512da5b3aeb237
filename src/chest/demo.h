/* The demo examination: an invented person, two invented dates, so that a change can be shown. */
#ifndef SL_CHEST_DEMO_H
#define SL_CHEST_DEMO_H

#include "chest/scenario.h"

typedef struct sl_demo_clip {
    const char *date; /* "2031-03-04" */
    const char *zone; /* key of the zone, as exam.csv wants it */
    const char *file; /* without ending */
    const char *note;
} sl_demo_clip;

extern const char sl_demo_person[], sl_demo_title[], sl_demo_question[], sl_demo_protocol[];
extern const sl_demo_clip sl_demo_clips[];
extern const int sl_demo_clip_count;

/* The chest behind clip `index`. */
void sl_demo_scenario(int index, sl_scenario *scenario);

#endif
