#ifndef SL_REPORT_AUDIT_JSON_H
#define SL_REPORT_AUDIT_JSON_H

#include "exam/rescan.h"

#include <jansson.h>

/* New references. `of_a_clip`: with frames, beams and depths. */
json_t *sl_audit_to_json(const sl_audit *audit, bool of_a_clip);
json_t *sl_rescan_to_json(const sl_exam *exam);

#endif
