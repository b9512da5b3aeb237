/* The volume of an effusion by every published formula, as JSON (docs/exam.schema.json). */
#ifndef SL_REPORT_VOLUMES_JSON_H
#define SL_REPORT_VOLUMES_JSON_H

#include "exam/exam.h"

#include <jansson.h>

/* null where no effusion is stated. New reference. */
json_t *sl_volumes_to_json(const sl_exam *exam, const sl_exam_clip *clip, const sl_clip_result *result);

#endif
