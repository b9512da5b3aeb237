#include "exam/rescan.h"

#include "core/units.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Costophrenic and posterolateral points and the lower back: fluid, solid lung and spine lie deep there (common practice,
 * no source: the posterolateral view finds more than nine in ten effusions and consolidations). */
static bool is_deep(const sl_zone *zone)
{
    static const char *const places[] = {"basal lateral", "posterolateral", "lower posterior"};
    for (size_t i = 0; i < sizeof places / sizeof *places; i++)
        if (!strcmp(zone->place, places[i]))
            return true;
    return false;
}

sl_audit_purpose sl_zone_purpose(const sl_zone *zone, sl_rules rules)
{
    sl_audit_purpose purpose = {.rules = rules, .place = SL_PLAN_PLACE_ANTERIOR};
    if (!zone)
        return purpose;
    purpose.placed = true;
    purpose.deep = is_deep(zone);
    purpose.place = purpose.deep ? SL_PLAN_PLACE_POSTEROLATERAL
                    : strstr(zone->place, "lateral") ? SL_PLAN_PLACE_LATERAL
                                                     : SL_PLAN_PLACE_ANTERIOR;
    return purpose;
}

/* ---- complaints about the examination as a whole ---- */

static sl_side side_in_file(const sl_acquisition *how)
{
    if (how->laterality[0] == 'R' || how->laterality[0] == 'r')
        return SL_SIDE_RIGHT;
    return how->laterality[0] == 'L' || how->laterality[0] == 'l' ? SL_SIDE_LEFT : SL_SIDE_NONE;
}

/* The same bytes under two zones: one of the two was not scanned. */
static void judge_copies(const sl_exam *exam, int index, sl_audit_desk *desk)
{
    const sl_exam_clip *clip = &exam->clip[index];
    for (int i = 0; clip->zone && clip->content && i < exam->clips; i++)
        if (i != index && exam->clip[i].zone && exam->clip[i].zone != clip->zone && exam->clip[i].content == clip->content) {
            sl_complain(desk, SL_RULE_SAME_CLIP, "the same file as %s, which is named for another zone", exam->clip[i].name);
            return;
        }
}

/* The clip's own row gets what is wrong with its name. */
static void judge_name(sl_exam_clip *clip, sl_audit_desk *desk)
{
    sl_side stated = side_in_file(&clip->result.info.acquisition);
    if (clip->zone && stated && stated != clip->zone->side)
        stated == SL_SIDE_LEFT ? sl_complain(desk, SL_RULE_SIDE_DISAGREES, "the name says right, the file's laterality says left")
                               : sl_complain(desk, SL_RULE_SIDE_DISAGREES, "the name says left, the file's laterality says right");
    /* Only the heart tells a side; liver and spleen look alike. */
    const sl_finding *rate = clip->result.reading ? sl_reading_get(clip->result.reading, SL_HEART_RATE) : NULL;
    if (clip->zone && clip->zone->side == SL_SIDE_RIGHT && rate && rate->known)
        sl_complain(desk, SL_RULE_ORGAN_SIDE, "the heart moves in the picture (%.0f beats a minute), the name says right", rate->value);
    if (!clip->zone)
        sl_complain(desk, SL_RULE_ZONE_UNNAMED, "neither exam.csv nor a name says which zone it shows");
}

static void judge_zones(sl_exam *exam, sl_audit_desk *desk)
{
    int missing = 0;
    for (int i = 0; i < exam->zones; i++)
        missing += !exam->zone[i].clips;
    if (missing)
        sl_complain(desk, SL_RULE_ZONE_MISSING, "%d of %d zones have no clip", missing, exam->zones);
    int twice = 0;
    for (int i = 0; i < exam->zones; i++)
        twice += exam->zone[i].clips > 1;
    if (twice) {
        sl_complaint *c = sl_complain(desk, SL_RULE_ZONE_TWICE, "%d of %d zones have more than one clip", twice, exam->zones);
        if (c && missing)
            c->grade = SL_GRADE_WEAK; /* one of two may be the missing one, misnamed */
    }
    if (!*exam->question)
        sl_complain(desk, SL_RULE_QUESTION, "exam-info.json states none");
}

/* ---- what to scan again ---- */

/* Scores the zone leaves open: what a new clip can settle. */
static double open_range(const sl_zone_score *zone)
{
    return zone->score < 0 ? 3 : zone->high - zone->low;
}

static const sl_zone_score *score_of(const sl_exam *exam, const sl_zone *zone)
{
    for (int i = 0; zone && i < exam->zones; i++)
        if (exam->zone[i].zone == zone)
            return &exam->zone[i];
    return NULL;
}

/* A better clip of the zone exists already. */
static bool served(const sl_exam *exam, int clip)
{
    const sl_zone *zone = exam->clip[clip].zone;
    for (int i = 0; zone && i < exam->clips; i++)
        if (i != clip && exam->clip[i].zone == zone && exam->clip[i].result.state == SL_CLIP_READ &&
            (!exam->clip[i].audit.complaints || exam->clip[i].audit.worst < SL_GRADE_RESCAN))
            return true;
    return false;
}

const sl_audit_rule *sl_rescan_rule(const sl_rescan *rescan)
{
    return rescan->complaint ? rescan->complaint->rule : sl_audit_rule_of(SL_RULE_ZONE_MISSING);
}

const char *sl_rescan_found(const sl_rescan *rescan)
{
    return rescan->complaint ? rescan->complaint->found : "no clip of it";
}

static int by_worth(const void *a, const void *b)
{
    const sl_rescan *x = a, *y = b;
    if (x->adds != y->adds)
        return x->adds > y->adds ? -1 : 1;
    bool deep_x = x->zone && is_deep(x->zone), deep_y = y->zone && is_deep(y->zone);
    if (deep_x != deep_y)
        return deep_x ? -1 : 1;
    return x->order - y->order;
}

static sl_status list_rescans(sl_exam *exam, sl_arena *arena, sl_error *error)
{
    exam->rescan = SL_NEW(arena, exam->zones + exam->clips + 1, sl_rescan);
    if (!exam->rescan)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the rescan list was made.");
    exam->rescans = 0;
    for (int i = 0; i < exam->zones; i++)
        if (!exam->zone[i].clips)
            exam->rescan[exam->rescans++] = (sl_rescan){exam->zone[i].zone, -1, NULL, open_range(&exam->zone[i]), i};
    for (int i = 0; i < exam->clips; i++) {
        const sl_exam_clip *clip = &exam->clip[i];
        if (!clip->audit.complaints || clip->audit.worst < SL_GRADE_RESCAN || served(exam, i))
            continue;
        const sl_zone_score *score = score_of(exam, clip->zone);
        exam->rescan[exam->rescans++] = (sl_rescan){clip->zone, i, &clip->audit.complaint[0], score ? open_range(score) : 0,
                                                    exam->zones + i};
    }
    qsort(exam->rescan, (size_t)exam->rescans, sizeof *exam->rescan, by_worth);
    return SL_OK;
}

sl_status sl_exam_audit(sl_exam *exam, sl_rules rules, sl_arena *arena, sl_error *error)
{
    exam->rules = rules;
    for (int i = 0; i < exam->clips; i++) {
        sl_exam_clip *clip = &exam->clip[i];
        sl_audit_purpose purpose = sl_zone_purpose(clip->zone, rules);
        sl_status status = sl_audit_clip(&clip->result, &purpose, arena, &clip->audit, error);
        if (status != SL_OK)
            return status;
        sl_audit_desk desk = {.result = &clip->result, .purpose = purpose, .arena = arena, .audit = &clip->audit};
        judge_name(clip, &desk);
        judge_copies(exam, i, &desk);
        if (desk.failed)
            return sl_fail(error, SL_MEMORY, "Memory ran out while the clips' acquisition was judged.");
        sl_audit_sort(&clip->audit);
    }
    sl_audit_desk desk = {.arena = arena, .audit = &exam->audit};
    exam->audit = (sl_audit){0};
    judge_zones(exam, &desk);
    sl_audit_sort(&exam->audit);
    return list_rescans(exam, arena, error);
}
