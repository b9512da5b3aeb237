/* The clinician's statements as readings of the examination: the same type as the program's own. */
#ifndef SL_SERVE_OWN_H
#define SL_SERVE_OWN_H

#include "exam/exam.h"

#include <jansson.h>

/* Sets zone, own, conclusion and signature from what stands (says.h). Memory is from `arena`. */
void sl_own_apply(const json_t *standing, sl_exam *exam, sl_arena *arena);

#endif
