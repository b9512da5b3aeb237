#ifndef SL_REPORT_SYNTHESIS_JSON_H
#define SL_REPORT_SYNTHESIS_JSON_H

#include "exam/change.h"
#include "exam/synthesis.h"

#include <jansson.h>

/* New references, for exam.json. */
json_t *sl_synthesis_to_json(const sl_exam *exam, const sl_synthesis *synthesis);
json_t *sl_change_to_json(const sl_exam_change *change);
/* Back, as far as the report shows it; `*change` stays NULL where `json` is none. Memory from `arena`. */
sl_status sl_change_from_json(const json_t *json, sl_arena *arena, const sl_exam_change **change, sl_error *error);

/* "62 of 64 = 97 % (89 to 99)" */
void sl_words_share(int hits, int of, char *text, size_t room);

#endif
