/* An examination back from what `read` wrote: exam.json and the records beside it. */
#include "report/report.h"

#include "core/json.h"
#include "exam/rescan.h"
#include "report/record.h"
#include "report/synthesis_json.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const char *text_of(const json_t *object, const char *key, sl_arena *arena)
{
    const char *copy = sl_arena_text(arena, sl_json_text(object, key));
    return copy ? copy : "";
}

static sl_status load_clip(const json_t *json, const char *where, sl_arena *arena, sl_exam_clip *clip, sl_error *error)
{
    const json_t *depth = json_object_get(json, "stated_depth_cm");
    *clip = (sl_exam_clip){.path = "", .name = text_of(json, "clip", arena), .where = text_of(json, "path", arena),
                           .stem = text_of(json, "stem", arena), .zone = sl_zone_by_key(json_string_value(json_object_get(json, "zone"))),
                           .zone_from = text_of(json, "zone_from", arena), .notes = text_of(json, "notes", arena),
                           .posture = sl_posture_by_key(json_string_value(json_object_get(json, "posture"))),
                           .stated_depth_cm = json_is_number(depth) ? json_number_value(depth) : 0};
    const char *content = json_string_value(json_object_get(json, "content"));
    if (!content || sscanf(content, "%" SCNx64, &clip->content) != 1 || !*clip->name || !*clip->stem || strchr(clip->stem, '/'))
        return sl_fail(error, SL_FORMAT, "%s does not say which clip is which: it is damaged or from an older version. Read the clips again.",
                       where);
    return sl_result_from_json(json, where, arena, &clip->result, error);
}

/* A scheme of the user's own lives on in the zones that were counted. */
static void own_protocol(const json_t *root, sl_arena *arena, sl_exam *exam)
{
    const json_t *zones = json_object_get(root, "zones");
    const char *key = text_of(json_object_get(root, "examination"), "protocol", arena);
    sl_protocol *own = sl_protocol_by_key(key) || !*key || !strcmp(key, "as-scanned") ? NULL : SL_NEW(arena, 1, sl_protocol);
    for (size_t i = 0; own && i < json_array_size(zones) && own->zones < SL_ZONES_MOST; i++) {
        const sl_zone *zone = sl_zone_by_key(json_string_value(json_object_get(json_array_get(zones, i), "zone")));
        if (zone)
            own->zone[own->zones++] = zone;
    }
    if (own) {
        own->key = own->name = key;
        exam->own_protocol = own;
    }
}

sl_status sl_report_load(const char *out, sl_arena *arena, sl_exam *exam, sl_error *error)
{
    *exam = (sl_exam){.title = "", .date = "", .person = "", .question = "", .stated_protocol = ""};
    const char *path = sl_path_join(arena, out, "exam.json");
    json_t *root = path ? sl_json_load(path, error) : NULL;
    if (!root)
        return path ? error->status : sl_fail(error, SL_MEMORY, "Memory ran out.");
    const json_t *head = json_object_get(root, "examination"), *clips = json_object_get(root, "clips"),
                 *remarks = json_object_get(root, "remarks");
    exam->title = text_of(head, "title", arena);
    exam->date = text_of(head, "date", arena);
    exam->person = text_of(head, "person", arena);
    exam->question = text_of(head, "question", arena);
    exam->invented = json_is_true(json_object_get(head, "invented"));
    exam->breathing = sl_breathing_by_key(json_string_value(json_object_get(head, "breathing")));
    const char *protocol = text_of(head, "protocol", arena);
    exam->stated_protocol = sl_protocol_by_key(protocol) ? protocol : "";
    size_t count = json_array_size(clips), said = json_array_size(remarks);
    exam->clip = SL_NEW(arena, count + 1, sl_exam_clip);
    exam->remark = SL_NEW(arena, said + 1, const char *);
    sl_status status = exam->clip && exam->remark ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK && !count)
        status = sl_fail(error, SL_FORMAT, "%s holds no clip.", path);
    for (size_t i = 0; i < count && status == SL_OK; i++)
        status = load_clip(json_array_get(clips, i), path, arena, &exam->clip[exam->clips++], error);
    for (size_t i = 0; i < said && status == SL_OK; i++) {
        const char *remark = json_string_value(json_array_get(remarks, i));
        const char *copy = remark ? sl_arena_text(arena, remark) : NULL;
        if (copy)
            exam->remark[exam->remarks++] = copy;
    }
    const char *whose = json_string_value(json_object_get(json_object_get(root, "audit"), "rules"));
    int rules = whose ? sl_rules_find(whose) : -1;
    if (status == SL_OK)
        status = sl_change_from_json(json_object_get(root, "change"), arena, &exam->change, error);
    own_protocol(root, arena, exam);
    json_decref(root);
    if (status == SL_OK)
        status = sl_exam_score(exam, arena, error);
    if (status == SL_OK)
        status = sl_exam_audit(exam, rules < 0 ? SL_RULES_PRACTICE : (sl_rules)rules, arena, error);
    return status == SL_OK ? sl_exam_sum_up(exam, arena, error) : status;
}
