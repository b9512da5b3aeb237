/* The zone that somebody wrote into the picture: words burned into its still part, for clips that nothing else names. */
#ifndef SL_EXAM_BURNED_LABEL_H
#define SL_EXAM_BURNED_LABEL_H

#include "reading/read_clip.h"

#include <stdbool.h>
#include <stddef.h>

/* The words that name a side or a place, as read, from the pictures that reading kept of the clip: what is the same in all of them.
 * False, `words` "", when there are none, no picture was kept, or the recogniser's data are not installed. What else is written
 * there (it may be a name) is not given back. */
bool sl_burned_label(const sl_clip_result *result, char *words, size_t room);

#endif
