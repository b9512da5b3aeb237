#include "report/volumes_json.h"

#include "core/json.h"
#include "exam/fluid.h"

json_t *sl_volumes_to_json(const sl_exam *exam, const sl_exam_clip *clip, const sl_clip_result *result)
{
    sl_exam_fluid fluid;
    if (!sl_exam_fluid_of(exam, clip, result, &fluid))
        return json_null();
    json_t *object = json_object(), *list = json_array();
    json_object_set_new(object, "separation_mm", sl_json_number(fluid.separation_mm, 2));
    json_object_set_new(object, "least_ml", sl_json_number(fluid.least_ml, 0));
    json_object_set_new(object, "most_ml", sl_json_number(fluid.most_ml, 0));
    json_object_set_new(object, "large", json_string(fluid.large));
    for (int i = 0; i < SL_VOLUMES; i++) {
        const sl_volume *v = &fluid.volume[i];
        json_t *item = json_object();
        json_object_set_new(item, "name", json_string(v->name));
        json_object_set_new(item, "formula", json_string(v->formula));
        json_object_set_new(item, "reported_error", json_string(v->error));
        json_object_set_new(item, "source", json_string(v->source));
        json_object_set_new(item, "applies", json_boolean(v->applies));
        json_object_set_new(item, "why_not", json_string(v->why_not));
        json_object_set_new(item, "ml", sl_json_number(v->ml, 0));
        json_object_set_new(item, "low_ml", sl_json_number(v->low_ml, 0));
        json_object_set_new(item, "high_ml", sl_json_number(v->high_ml, 0));
        json_array_append_new(list, item);
    }
    json_object_set_new(object, "formulas", list);
    return object;
}
