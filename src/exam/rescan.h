/* The examination's acquisition judged: each clip against its zone (audit/), the zones against the scheme, and from both
 * the list of what to scan again, in order of what it would add. */
#ifndef SL_EXAM_RESCAN_H
#define SL_EXAM_RESCAN_H

#include "exam/exam.h"

/* What a clip of this zone is taken for; NULL: the zone is not known. */
sl_audit_purpose sl_zone_purpose(const sl_zone *zone, sl_rules rules);

/* Fills the audit of each clip and of the examination, and the rescan list. After sl_exam_score(). */
sl_status sl_exam_audit(sl_exam *exam, sl_rules rules, sl_arena *arena, sl_error *error);


/* The rule behind an entry and what was found, as a clause. */
const sl_audit_rule *sl_rescan_rule(const sl_rescan *rescan);
const char *sl_rescan_found(const sl_rescan *rescan);

#endif
