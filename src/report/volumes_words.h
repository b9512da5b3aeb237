/* The volume of an effusion in words: what applies with its reported error, how far the formulas differ, and why the others
 * were not used. */
#ifndef SL_REPORT_VOLUMES_WORDS_H
#define SL_REPORT_VOLUMES_WORDS_H

#include "core/text.h"
#include "exam/fluid.h"
#include "report/language.h"

/* "right basal lateral: distance of the pleurae 31.0 mm." */
void sl_volumes_head(const sl_language *say, const sl_exam_clip *clip, const sl_exam_fluid *fluid, char *text, size_t room);
/* Sentence `line` (0 ..): the formulas that apply first, then how they differ, then those that do not apply. False when there
 * are no more; `quiet`: of a formula that was not used. */
bool sl_volumes_line(const sl_language *say, const sl_exam_fluid *fluid, int line, char *text, size_t room, bool *quiet);

#endif
