#ifndef SL_REPORT_QUALITY_JSON_H
#define SL_REPORT_QUALITY_JSON_H

#include "reading/quality.h"

#include <jansson.h>

/* New reference; and back, absent fields unknown. */
json_t *sl_quality_to_json(const sl_quality *quality);
void sl_quality_from_json(const json_t *object, sl_quality *quality);

#endif
