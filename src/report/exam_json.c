/* exam.json (docs/exam.schema.json), written clip by clip. */
#include "report/report.h"

#include "core/json.h"
#include "report/audit_json.h"
#include "report/outfile.h"
#include "report/record.h"
#include "report/synthesis_json.h"
#include "report/volumes_json.h"
#include "report/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static json_t *head(const sl_exam *exam)
{
    json_t *root = json_object(), *examination = json_object(), *zones = json_array(), *remarks = json_array();
    json_object_set_new(root, "strandline", json_string(SL_VERSION));
    json_object_set_new(root, "format", json_integer(1));
    json_object_set_new(root, "caution", json_string(sl_words_caution));
    json_object_set_new(examination, "title", json_string(exam->title));
    json_object_set_new(examination, "date", json_string(exam->date));
    json_object_set_new(examination, "person", json_string(exam->person));
    json_object_set_new(examination, "question", json_string(exam->question));
    json_object_set_new(examination, "invented", json_boolean(exam->invented));
    json_object_set_new(examination, "breathing", exam->breathing ? json_string(sl_breathing_key(exam->breathing)) : json_null());
    json_object_set_new(examination, "protocol", json_string(exam->protocol ? exam->protocol->key : ""));
    json_object_set_new(root, "examination", examination);
    json_t *total = json_object();
    json_object_set_new(total, "score", exam->zones_scored ? json_integer(exam->total) : json_null());
    json_object_set_new(total, "of", json_integer(exam->total_of));
    json_object_set_new(total, "zones_scored", json_integer(exam->zones_scored));
    json_object_set_new(total, "zones", json_integer(exam->zones));
    json_object_set_new(total, "low", sl_json_number(exam->total_low, 2));
    json_object_set_new(total, "high", sl_json_number(exam->total_high, 2));
    json_object_set_new(root, "total", total);
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone_score *zone = &exam->zone[i];
        json_t *item = json_object();
        json_object_set_new(item, "zone", json_string(zone->zone->key));
        json_object_set_new(item, "name", json_string(zone->zone->name));
        json_object_set_new(item, "score", zone->score >= 0 ? json_integer(zone->score) : json_null());
        json_object_set_new(item, "low", sl_json_number(zone->low, 2));
        json_object_set_new(item, "high", sl_json_number(zone->high, 2));
        json_object_set_new(item, "clips", json_integer(zone->clips));
        json_object_set_new(item, "from", zone->decisive >= 0 ? json_string(exam->clip[zone->decisive].where) : json_null());
        json_array_append_new(zones, item);
    }
    json_object_set_new(root, "zones", zones);
    json_t *acquisition = json_object();
    json_object_set_new(acquisition, "rules", json_string(sl_rules_name(exam->rules)));
    json_object_set_new(acquisition, "complaints", sl_audit_to_json(&exam->audit, false));
    json_object_set_new(acquisition, "rescan", sl_rescan_to_json(exam));
    json_object_set_new(root, "audit", acquisition);
    if (exam->synthesis)
        json_object_set_new(root, "synthesis", sl_synthesis_to_json(exam, exam->synthesis));
    if (exam->change)
        json_object_set_new(root, "change", sl_change_to_json(exam->change));
    for (int i = 0; i < exam->remarks; i++)
        json_array_append_new(remarks, json_string(exam->remark[i]));
    json_object_set_new(root, "remarks", remarks);
    return root;
}

/* What a hand set of the diaphragm's borders, beside the program's reading, which stays as it was. */
static json_t *by_hand_to_json(const sl_exam_clip *clip)
{
    json_t *list = json_array();
    for (sl_border_kind kind = 0; kind < SL_BORDER_KINDS; kind++) {
        const sl_hand_borders *one = &clip->by_hand[kind];
        if (!one->hand)
            continue;
        json_t *object = json_pack("{s:s,s:s,s:s,s:s}", "borders", sl_border_key(kind), "by", "person", "author", one->author, "at", one->at ? one->at : "");
        json_object_set_new(object, "set", sl_border_hand_to_json(one->hand));
        json_t *figures = one->figures ? sl_border_figures_to_json(kind, one->figures) : NULL;
        static const char *const parts[] = {"breaths", "findings"}; /* the path itself is in the record */
        for (int i = 0; i < 2; i++) {
            json_t *part = json_object_get(figures, parts[i]);
            json_object_set_new(object, parts[i], part ? json_incref(part) : json_array());
        }
        json_decref(figures);
        json_array_append_new(list, object);
    }
    return list;
}

/* Fields of the examination first, then the result's own. */
static json_t *clip_to_json(const sl_exam *exam, const sl_exam_clip *clip, const sl_clip_result *result)
{
    json_t *object = json_object(), *body = sl_result_to_json(result);
    char content[24];
    snprintf(content, sizeof content, "%016llx", (unsigned long long)clip->content);
    json_object_set_new(object, "clip", json_string(clip->name));
    json_object_set_new(object, "path", json_string(clip->where));
    json_object_set_new(object, "stem", json_string(clip->stem));
    json_object_set_new(object, "content", json_string(content));
    json_object_set_new(object, "zone", clip->zone ? json_string(clip->zone->key) : json_null());
    json_object_set_new(object, "zone_from", json_string(clip->zone_from));
    json_object_set_new(object, "stated_depth_cm",
                        clip->stated_depth_cm > 0 ? sl_json_number(clip->stated_depth_cm, 3) : json_null());
    json_object_set_new(object, "posture", clip->posture ? json_string(sl_posture_key(clip->posture)) : json_null());
    json_object_set_new(object, "effusion_volume", sl_volumes_to_json(exam, clip, result));
    json_object_set_new(object, "notes", json_string(clip->notes));
    json_object_set_new(object, "audit", sl_audit_to_json(&clip->audit, true));
    json_object_update(object, body);
    json_object_set_new(object, "diaphragm_by_hand", by_hand_to_json(clip));
    json_decref(body);
    return object;
}

/* Adds a value as text, indented; `tail` bytes at its end are left off. */
static bool add(sl_outfile *out, json_t *value, size_t tail)
{
    char *text = value ? json_dumps(value, JSON_INDENT(1) | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10)) : NULL;
    bool fine = text && sl_outfile_write(out, text, strlen(text) - tail);
    free(text);
    json_decref(value);
    return fine;
}

sl_status sl_report_json(const sl_exam *exam, const char *out, const char *path, sl_error *error)
{
    sl_outfile file;
    sl_status status = sl_outfile_open(&file, path, error);
    if (status != SL_OK)
        return status;
    static const char opening[] = ",\n \"clips\": [", closing[] = "\n]}\n";
    bool fine = add(&file, head(exam), 2) && sl_outfile_write(&file, opening, sizeof opening - 1);
    for (int i = 0; i < exam->clips && fine; i++) {
        sl_arena arena = {0};
        sl_record record;
        const char *record_path = sl_record_path(&arena, out, &exam->clip[i]);
        const sl_clip_result *result = &exam->clip[i].result; /* what is known without a record: why it failed */
        if (record_path && sl_record_load(record_path, &arena, &record, NULL) == SL_OK &&
            record.key.content == exam->clip[i].content)
            result = &record.result;
        fine = sl_outfile_write(&file, i ? ",\n" : "\n", i ? 2 : 1) && add(&file, clip_to_json(exam, &exam->clip[i], result), 0);
        sl_arena_free(&arena);
    }
    fine = fine && sl_outfile_write(&file, closing, sizeof closing - 1);
    if (!fine && !file.cause) {
        sl_outfile_close(&file, false, NULL);
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path);
    }
    return sl_outfile_close(&file, true, error);
}
