/* How well a clip was acquired for its zone and purpose: complaints with a grade, the reason in physics or practice, the
 * remedy in one sentence and the evidence in the picture. It judges the acquisition, never the person scanned. */
#ifndef SL_AUDIT_AUDIT_H
#define SL_AUDIT_AUDIT_H

#include "acoustics/planner.h"
#include "audit/rules_table.h"
#include "core/arena.h"
#include "core/error.h"
#include "reading/read_clip.h"

/* What the clip was taken for. */
typedef struct sl_audit_purpose {
    bool placed;           /* false: the zone is not known; rules that hang on it are left out */
    bool deep;             /* a costophrenic or posterolateral point: fluid, solid lung, spine; else pleura, A- and B-lines */
    sl_plan_place place;
    sl_rules rules;        /* whose advice on depth and focus is applied */
} sl_audit_purpose;

typedef struct sl_complaint {
    const sl_audit_rule *rule;
    sl_grade grade;
    bool suspected;        /* "suspected: ..." */
    const char *found;     /* what was found, with its numbers: a clause */
    const char *source;    /* of the rule applied */
    double value, low, high; /* what was measured and what is asked for; NAN where there is no such side */
    const char *unit;
    sl_evidence where;     /* the frames and the part of the picture */
} sl_complaint;

enum { SL_COMPLAINTS_MOST = SL_RULES_COUNT };

typedef struct sl_audit {
    int complaints;
    sl_complaint *complaint; /* gravest first, then in the table's order */
    sl_grade worst;          /* SL_GRADE_NOTE when there is none */
} sl_audit;

/* All memory is from `arena`. SL_MEMORY is the only error. A clip that could not be read has one complaint. */
sl_status sl_audit_clip(const sl_clip_result *result, const sl_audit_purpose *purpose, sl_arena *arena, sl_audit *audit,
                        sl_error *error);

/* ---- for the files of this folder and for the examination's own complaints ---- */

typedef struct sl_audit_desk {
    const sl_clip_result *result; /* NULL for the examination's own */
    sl_audit_purpose purpose;
    sl_arena *arena;
    sl_audit *audit;
    bool failed;
} sl_audit_desk;

/* Adds a complaint; `found` is formatted into the arena. Returns it for more to be filled in, NULL when memory is out.
 * The evidence is the whole clip until set otherwise. */
sl_complaint *sl_complain(sl_audit_desk *desk, sl_rule_id rule, const char *found, ...) __attribute__((format(printf, 3, 4)));
/* What was measured and what is asked for (SL_UNKNOWN: no such side). Takes and returns NULL. */
sl_complaint *sl_complaint_measured(sl_complaint *complaint, double value, double low, double high, const char *unit);
/* Whether there is a complaint of this rule already. */
bool sl_complained(const sl_audit_desk *desk, sl_rule_id rule);
/* Gravest first. */
void sl_audit_sort(sl_audit *audit);

void sl_audit_settings(sl_audit_desk *desk); /* depth, probe, frequency, focus, output, length, frame rate, orientation */
void sl_audit_picture(sl_audit_desk *desk);  /* gain, depth gain, dynamic range, averaging */
void sl_audit_hold(sl_audit_desk *desk);     /* pleura, tilt, ribs, contact, movement */
void sl_audit_spacing(sl_audit_desk *desk);  /* A-lines against the pleural depth */

#endif
