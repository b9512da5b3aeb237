/* Complaints about the acquisition and the rescan list, in exam.json. */
#include "report/audit_json.h"

#include "core/json.h"
#include "core/units.h"

static json_t *pair(double a, double b, int decimals)
{
    return json_pack("[o,o]", sl_json_number(a, decimals), sl_json_number(b, decimals));
}

static json_t *complaint_to_json(const sl_complaint *c, bool placed)
{
    json_t *object = json_object();
    json_object_set_new(object, "rule", json_string(c->rule->key));
    json_object_set_new(object, "complaint", json_string(c->rule->name));
    json_object_set_new(object, "grade", json_string(sl_grade_name(c->grade)));
    json_object_set_new(object, "suspected", json_boolean(c->suspected));
    json_object_set_new(object, "found", json_string(c->found));
    json_object_set_new(object, "reason", json_string(c->rule->reason));
    json_object_set_new(object, "remedy", json_string(c->rule->remedy));
    json_object_set_new(object, "source", json_string(c->source));
    json_object_set_new(object, "value", sl_json_number(c->value, 4));
    json_object_set_new(object, "unit", json_string(c->unit));
    json_object_set_new(object, "asked", pair(c->low, c->high, 4));
    if (placed) {
        json_t *frames = json_pack("[i,i]", c->where.first_frame, c->where.last_frame);
        json_object_set_new(object, "frames", frames);
        json_object_set_new(object, "beams", pair(c->where.first_beam, c->where.last_beam, 4));
        json_object_set_new(object, "depths", pair(c->where.first_depth, c->where.last_depth, 4));
    }
    return object;
}

json_t *sl_audit_to_json(const sl_audit *audit, bool of_a_clip)
{
    json_t *list = json_array();
    for (int i = 0; i < audit->complaints; i++)
        json_array_append_new(list, complaint_to_json(&audit->complaint[i], of_a_clip));
    return list;
}

json_t *sl_rescan_to_json(const sl_exam *exam)
{
    json_t *list = json_array();
    for (int i = 0; i < exam->rescans; i++) {
        const sl_rescan *r = &exam->rescan[i];
        json_t *object = json_object();
        json_object_set_new(object, "zone", r->zone ? json_string(r->zone->key) : json_null());
        json_object_set_new(object, "clip", r->clip >= 0 ? json_string(exam->clip[r->clip].where) : json_null());
        json_object_set_new(object, "rule", json_string(sl_rescan_rule(r)->key));
        json_object_set_new(object, "found", json_string(sl_rescan_found(r)));
        json_object_set_new(object, "remedy", json_string(sl_rescan_rule(r)->remedy));
        json_object_set_new(object, "score_left_open", sl_json_number(r->adds, 2));
        json_array_append_new(list, object);
    }
    return list;
}
