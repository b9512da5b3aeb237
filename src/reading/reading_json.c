/* A reading as JSON, one way and back. Keys of findings are those of the table; a finding's number is rounded to six
 * decimals, beams and depths to four (a 128th of the width is 0.008). */
#include "core/json.h"
#include "core/units.h"
#include "reading/reading.h"

#include <stddef.h>
#include <stdio.h>
#include <string.h>

static const char *const author_kinds[] = {"program", "person", "labels", "simulator"};
static const char *const kinds[] = {"answer", "ordered", "count", "amount"};

enum { MOST_EVIDENCES = 100000, MOST_POINTS = 100000 };

/* ---- out ---- */

static json_t *pair(double first, double second, int decimals)
{
    json_t *array = json_array();
    json_array_append_new(array, sl_json_number(first, decimals));
    json_array_append_new(array, sl_json_number(second, decimals));
    return array;
}

static json_t *evidence_to_json(const sl_evidence *evidence)
{
    json_t *object = json_object();
    if (evidence->label)
        json_object_set_new(object, "label", json_string(evidence->label));
    json_object_set_new(object, "frames", pair(evidence->first_frame, evidence->last_frame, 0));
    json_object_set_new(object, "times_s", pair(evidence->first_time_s, evidence->last_time_s, 4));
    json_object_set_new(object, "beams", pair(evidence->first_beam, evidence->last_beam, 4));
    json_object_set_new(object, "depths", pair(evidence->first_depth, evidence->last_depth, 4));
    if (evidence->points > 0) {
        json_t *line = json_array();
        for (int i = 0; i < evidence->points; i++)
            json_array_append_new(line, pair(evidence->beam[i], evidence->depth[i], 4));
        json_object_set_new(object, "line", line);
    }
    return object;
}

static json_t *finding_to_json(const sl_finding *finding)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    json_t *object = json_object();
    json_object_set_new(object, "finding", json_string(info->key));
    json_object_set_new(object, "kind", json_string(kinds[info->kind]));
    if (info->unit[0])
        json_object_set_new(object, "unit", json_string(info->unit));
    json_object_set_new(object, "known", json_boolean(finding->known));
    if (info->kind == SL_KIND_ANSWER)
        json_object_set_new(object, "answer", json_string(sl_answer_name(finding->answer)));
    json_object_set_new(object, "value", sl_json_number(finding->value, 6));
    json_object_set_new(object, "interval", pair(finding->low, finding->high, 6));
    json_object_set_new(object, "confidence", sl_json_number(finding->confidence, 4));
    json_object_set_new(object, "reason", json_string(finding->reason ? finding->reason : ""));
    json_t *list = json_array();
    for (int i = 0; i < finding->evidences; i++)
        json_array_append_new(list, evidence_to_json(&finding->evidence[i]));
    json_object_set_new(object, "evidence", list);
    return object;
}

json_t *sl_reading_to_json(const sl_reading *reading)
{
    json_t *object = json_object();
    json_object_set_new(object, "by", json_string(author_kinds[reading->by]));
    json_object_set_new(object, "author", json_string(reading->author));
    json_object_set_new(object, "clip", json_string(reading->clip));
    json_object_set_new(object, "method", json_string(reading->method ? reading->method : ""));
    json_t *list = json_array();
    for (int i = 0; i < reading->findings; i++)
        json_array_append_new(list, finding_to_json(&reading->finding[i]));
    json_object_set_new(object, "findings", list);
    return object;
}

/* ---- back ---- */

/* Index of the text in names, or -1. */
static int index_of(const char *text, const char *const *names, int count)
{
    for (int i = 0; text && i < count; i++)
        if (!strcmp(text, names[i]))
            return i;
    return -1;
}

/* Pair of numbers, each of which may be null; absent: NAN. */
static sl_status pair_from(const json_t *object, const char *where, const char *key, double *first, double *second,
                           sl_error *error)
{
    *first = *second = SL_UNKNOWN;
    const json_t *array = json_object_get(object, key);
    if (!array)
        return SL_OK;
    if (!json_is_array(array) || json_array_size(array) != 2)
        return sl_fail(error, SL_FORMAT, "%s.%s must be two numbers in brackets.", where, key);
    double *to[2] = {first, second};
    for (size_t i = 0; i < 2; i++) {
        const json_t *item = json_array_get(array, i);
        if (json_is_number(item))
            *to[i] = json_number_value(item);
        else if (!json_is_null(item))
            return sl_fail(error, SL_FORMAT, "%s.%s must hold numbers or null.", where, key);
    }
    return SL_OK;
}

static int frame_from(double value)
{
    return sl_known(value) && value >= 0 && value < 2e9 ? (int)value : 0;
}

static sl_status line_from(const json_t *line, const char *where, sl_arena *arena, sl_evidence *evidence,
                           sl_error *error)
{
    if (!json_is_array(line) || json_array_size(line) > MOST_POINTS)
        return sl_fail(error, SL_FORMAT, "%s.line must be a list of [beam, depth] pairs (at most %d).", where,
                       MOST_POINTS);
    int points = (int)json_array_size(line);
    double *beam = SL_NEW(arena, points + 1, double), *depth = SL_NEW(arena, points + 1, double);
    if (!beam || !depth)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", where);
    for (int i = 0; i < points; i++) {
        const json_t *point = json_array_get(line, (size_t)i);
        if (!json_is_array(point) || json_array_size(point) != 2 || !json_is_number(json_array_get(point, 0)) ||
            !json_is_number(json_array_get(point, 1)))
            return sl_fail(error, SL_FORMAT, "%s.line must be a list of [beam, depth] pairs.", where);
        beam[i] = json_number_value(json_array_get(point, 0));
        depth[i] = json_number_value(json_array_get(point, 1));
    }
    evidence->points = points;
    evidence->beam = beam;
    evidence->depth = depth;
    return SL_OK;
}

static sl_status evidence_from(const json_t *object, const char *where, sl_arena *arena, sl_evidence *evidence,
                               sl_error *error)
{
    if (!json_is_object(object))
        return sl_fail(error, SL_FORMAT, "%s.evidence must be a list of objects.", where);
    double first, last;
    sl_status status = pair_from(object, where, "frames", &first, &last, error);
    if (status != SL_OK)
        return status;
    evidence->first_frame = frame_from(first);
    evidence->last_frame = frame_from(last);
    if ((status = pair_from(object, where, "times_s", &evidence->first_time_s, &evidence->last_time_s, error)) ||
        (status = pair_from(object, where, "beams", &evidence->first_beam, &evidence->last_beam, error)) ||
        (status = pair_from(object, where, "depths", &evidence->first_depth, &evidence->last_depth, error)))
        return status;
    const json_t *line = json_object_get(object, "line");
    if (line && (status = line_from(line, where, arena, evidence, error)) != SL_OK)
        return status;
    const char *label = json_string_value(json_object_get(object, "label"));
    if (label && !(evidence->label = sl_arena_text(arena, label)))
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", where);
    return SL_OK;
}

static sl_status finding_from(const json_t *object, const char *where, sl_arena *arena, sl_reading *reading,
                              sl_error *error)
{
    const char *key = json_string_value(json_object_get(object, "finding"));
    const sl_finding_info *info = sl_finding_info_by_key(key);
    if (!info)
        return sl_fail(error, SL_FORMAT, "%s.finding: %s is not a finding this program knows.", where,
                       key ? key : "(nothing)");
    if (sl_reading_get(reading, info->code))
        return sl_fail(error, SL_FORMAT, "%s: %s is stated twice.", where, key);
    sl_finding *finding = sl_reading_put(reading, info->code);
    char place[160];
    snprintf(place, sizeof place, "%s.%s", where, key);

    const json_t *value = json_object_get(object, "value");
    if (json_is_number(value)) {
        finding->value = json_number_value(value);
        if (!(finding->value >= info->low && finding->value <= info->high))
            return sl_fail(error, SL_FORMAT, "%s.value must lie between %g and %g.", place, info->low, info->high);
    } else if (value && !json_is_null(value)) {
        return sl_fail(error, SL_FORMAT, "%s.value must be a number or null.", place);
    }
    sl_status status = pair_from(object, place, "interval", &finding->low, &finding->high, error);
    if (status != SL_OK)
        return status;
    const json_t *confidence = json_object_get(object, "confidence");
    if (confidence && !json_is_null(confidence) &&
        (status = sl_json_real_in(object, place, "confidence", 0, 1, true, &finding->confidence, error)) != SL_OK)
        return status;
    if (info->kind == SL_KIND_ANSWER) {
        static const char *const answers[] = {"uncertain", "absent", "present"};
        const json_t *answer = json_object_get(object, "answer");
        int index = answer ? index_of(json_string_value(answer), answers, 3) : 0;
        if (index < 0)
            return sl_fail(error, SL_FORMAT, "%s.answer must be present, absent or uncertain.", place);
        finding->answer = (sl_answer)index;
    }
    const json_t *known = json_object_get(object, "known");
    finding->known = known ? json_is_true(known)
                           : sl_known(finding->value) || (info->kind == SL_KIND_ANSWER && finding->answer);
    const char *reason = json_string_value(json_object_get(object, "reason"));
    if (reason && !(finding->reason = sl_arena_text(arena, reason)))
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", where);

    const json_t *list = json_object_get(object, "evidence");
    size_t count = json_array_size(list);
    if (list && (!json_is_array(list) || count > MOST_EVIDENCES))
        return sl_fail(error, SL_FORMAT, "%s.evidence must be a list of at most %d.", place, MOST_EVIDENCES);
    if (!count)
        return SL_OK;
    sl_evidence *evidence = SL_NEW(arena, count, sl_evidence);
    if (!evidence)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", where);
    for (size_t i = 0; i < count; i++)
        if ((status = evidence_from(json_array_get(list, i), place, arena, &evidence[i], error)) != SL_OK)
            return status;
    finding->evidences = (int)count;
    finding->evidence = evidence;
    return SL_OK;
}

sl_status sl_reading_from_json(const json_t *json, const char *where, sl_arena *arena, sl_reading **reading,
                               sl_error *error)
{
    *reading = NULL;
    if (!json_is_object(json))
        return sl_fail(error, SL_FORMAT, "%s is not a reading: an object was expected.", where);
    int by = index_of(json_string_value(json_object_get(json, "by")), author_kinds, 4);
    if (by < 0)
        return sl_fail(error, SL_FORMAT, "%s.by must be program, person, labels or simulator.", where);
    const char *method = json_string_value(json_object_get(json, "method"));
    sl_reading *made = sl_reading_new(arena, (sl_author_kind)by, json_string_value(json_object_get(json, "author")),
                                      json_string_value(json_object_get(json, "clip")));
    if (!made || (method && !(made->method = sl_arena_text(arena, method))))
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", where);
    const json_t *list = json_object_get(json, "findings");
    if (!json_is_array(list))
        return sl_fail(error, SL_FORMAT, "%s.findings must be a list.", where);
    for (size_t i = 0; i < json_array_size(list); i++) {
        sl_status status = finding_from(json_array_get(list, i), where, arena, made, error);
        if (status != SL_OK)
            return status;
    }
    *reading = made;
    return SL_OK;
}
