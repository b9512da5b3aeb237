#include "audit/audit.h"

#include "core/units.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

sl_complaint *sl_complain(sl_audit_desk *desk, sl_rule_id id, const char *format, ...)
{
    char text[400];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    const char *found = sl_arena_text(desk->arena, text);
    if (!desk->audit->complaint)
        desk->audit->complaint = SL_NEW(desk->arena, SL_COMPLAINTS_MOST, sl_complaint);
    if (!found || !desk->audit->complaint || desk->audit->complaints >= SL_COMPLAINTS_MOST) {
        desk->failed = true;
        return NULL;
    }
    const sl_audit_rule *rule = sl_audit_rule_of(id);
    const sl_clip_result *result = desk->result;
    sl_complaint *complaint = &desk->audit->complaint[desk->audit->complaints++];
    *complaint = (sl_complaint){.rule = rule, .grade = rule->grade, .suspected = rule->suspected, .found = found,
                                .source = rule->source, .value = SL_UNKNOWN, .low = SL_UNKNOWN, .high = SL_UNKNOWN, .unit = ""};
    complaint->where = (sl_evidence){.last_frame = result && result->frames > 0 ? result->frames - 1 : 0,
                                     .first_time_s = result && sl_known(result->duration_s) ? 0 : SL_UNKNOWN,
                                     .last_time_s = result ? result->duration_s : SL_UNKNOWN,
                                     .last_beam = 1,
                                     .last_depth = 1};
    return complaint;
}

sl_complaint *sl_complaint_measured(sl_complaint *complaint, double value, double low, double high, const char *unit)
{
    if (complaint) {
        complaint->value = value;
        complaint->low = low;
        complaint->high = high;
        complaint->unit = unit;
    }
    return complaint;
}

bool sl_complained(const sl_audit_desk *desk, sl_rule_id rule)
{
    for (int i = 0; i < desk->audit->complaints; i++)
        if (desk->audit->complaint[i].rule->id == rule)
            return true;
    return false;
}

static int gravest_first(const void *a, const void *b)
{
    const sl_complaint *x = a, *y = b;
    if (x->grade != y->grade)
        return x->grade > y->grade ? -1 : 1;
    return (int)x->rule->id - (int)y->rule->id;
}

void sl_audit_sort(sl_audit *audit)
{
    if (audit->complaints)
        qsort(audit->complaint, (size_t)audit->complaints, sizeof *audit->complaint, gravest_first);
    audit->worst = audit->complaints ? audit->complaint[0].grade : SL_GRADE_NOTE;
}

sl_status sl_audit_clip(const sl_clip_result *result, const sl_audit_purpose *purpose, sl_arena *arena, sl_audit *audit,
                        sl_error *error)
{
    *audit = (sl_audit){0};
    sl_audit_desk desk = {.result = result, .purpose = *purpose, .arena = arena, .audit = audit};
    if (result->state != SL_CLIP_READ) {
        double top = result->quality.grey.top; /* known where there were pictures */
        if (sl_known(top) && top < AUDIT_DARK_TOP) {
            sl_complaint *dark = sl_complaint_measured(sl_complain(&desk, SL_RULE_GAIN_LOW, "the brightest of the picture has grey %.0f of 255", top),
                                                       top, AUDIT_DARK_TOP, SL_UNKNOWN, "grey levels");
            if (dark)
                dark->grade = SL_GRADE_RESCAN;
        }
        sl_complain(&desk, SL_RULE_UNREADABLE, "%s", result->reason && *result->reason ? result->reason : "no reason is known");
    } else {
        sl_audit_settings(&desk);
        sl_audit_picture(&desk);
        sl_audit_hold(&desk);
        sl_audit_spacing(&desk);
    }
    if (desk.failed)
        return sl_fail(error, SL_MEMORY, "Memory ran out while a clip's acquisition was judged.");
    sl_audit_sort(audit);
    return SL_OK;
}
