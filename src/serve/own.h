/* The clinician's statements as readings of the examination: the same type as the program's own. */
#ifndef SL_SERVE_OWN_H
#define SL_SERVE_OWN_H

#include "exam/exam.h"

#include <jansson.h>

/* Sets zone, own, conclusion and signature from what stands (says.h). Of borders set by hand the figures come from the reading's own code
 * on the clip's record below the output folder `out`; what was stated of the same finding goes before them, and a clip that was not read
 * yet has none. Memory is from `arena`. */
void sl_own_apply(const json_t *standing, const char *out, sl_exam *exam, sl_arena *arena);

#endif
