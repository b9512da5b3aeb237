/* A plan as JSON, for the page and for scripts. */
#include "acoustics/planner.h"

#include "acoustics/planner_rules.h"
#include "core/json.h"

static json_t *number(double value)
{
    return sl_json_number(value, 3);
}

static json_t *setting_json(const sl_plan_setting *s)
{
    json_t *out = json_object();
    json_object_set_new(out, "probe", json_string(s->probe->name));
    json_object_set_new(out, "depth_mm", number(s->depth_mm));
    json_object_set_new(out, "needed_mm", number(s->need_mm));
    json_object_set_new(out, "freq_mhz", number(s->freq_mhz));
    json_object_set_new(out, "focus_mm", number(s->focus_mm));
    json_object_set_new(out, "focal_zone_mm", number(s->focal_zone_mm));
    json_object_set_new(out, "aperture_mm", number(s->aperture_mm));
    json_object_set_new(out, "f_number", number(s->f_number));
    json_object_set_new(out, "axial_mm", number(s->axial_mm));
    json_object_set_new(out, "lateral_pleura_mm", number(s->lateral_pleura_mm));
    json_object_set_new(out, "lateral_focus_mm", number(s->lateral_focus_mm));
    json_object_set_new(out, "lateral_far_mm", number(s->lateral_far_mm));
    json_object_set_new(out, "slice_pleura_mm", number(s->slice_pleura_mm));
    json_object_set_new(out, "penetration_mm", number(s->penetration_mm));
    json_object_set_new(out, "frame_rate_most_hz", number(s->frame_rate_hz));
    json_object_set_new(out, "frame_rate_needed_hz", number(s->frame_rate_need_hz));
    json_object_set_new(out, "reaches", json_boolean(s->reaches));
    json_object_set_new(out, "fits", json_boolean(s->fits));
    return out;
}

static json_t *line_json(const sl_plan_line *line)
{
    json_t *out = json_object();
    json_object_set_new(out, "topic", json_string(line->topic));
    json_object_set_new(out, "choice", json_string(line->choice));
    json_object_set_new(out, "value", number(line->value));
    json_object_set_new(out, "unit", json_string(line->unit));
    json_object_set_new(out, "formula", json_string(line->formula));
    json_object_set_new(out, "source", json_string(line->source));
    json_object_set_new(out, "otherwise", json_string(line->otherwise));
    json_object_set_new(out, "chosen_by_user", json_boolean(line->chosen_by_user));
    return out;
}

static json_t *alternative_json(const sl_plan_alternative *alternative)
{
    json_t *out = setting_json(&alternative->setting);
    json_object_set_new(out, "rules", json_string(sl_rules_names[alternative->rules]));
    json_object_set_new(out, "chosen", json_boolean(alternative->chosen));
    json_object_set_new(out, "depth_source", json_string(alternative->depth_source));
    json_object_set_new(out, "focus_source", json_string(alternative->focus_source));
    return out;
}

json_t *sl_plan_json(const sl_plan *plan)
{
    json_t *out = json_object(), *lines = json_array(), *alternatives = json_array(), *checks = json_array(),
           *notes = json_array();
    json_object_set_new(out, "target", json_string(sl_target_name(plan->request.target)));
    json_object_set_new(out, "zone", json_string(sl_plan_place_name((sl_plan_place)plan->request.place)));
    json_object_set_new(out, "rules", json_string(sl_rules_names[plan->request.rules]));
    json_object_set_new(out, "wall_mm", number(plan->request.wall_mm));
    json_object_set_new(out, "extent_mm", number(plan->request.extent_mm));
    json_object_set_new(out, "setting", setting_json(&plan->setting));
    for (int i = 0; i < plan->lines; i++)
        json_array_append_new(lines, line_json(&plan->line[i]));
    for (int i = 0; i < SL_RULES; i++)
        json_array_append_new(alternatives, alternative_json(&plan->alternative[i]));
    for (int i = 0; i < plan->checks; i++) {
        json_t *check = json_object();
        json_object_set_new(check, "practice", json_string(plan->check[i].practice));
        json_object_set_new(check, "plan", json_string(plan->check[i].plan));
        json_object_set_new(check, "agrees",
                            plan->check[i].agrees < 0 ? json_null() : json_boolean(plan->check[i].agrees));
        json_object_set_new(check, "source", json_string("common practice, no source"));
        json_array_append_new(checks, check);
    }
    for (int i = 0; i < plan->notes; i++)
        json_array_append_new(notes, json_string(plan->note[i]));
    json_object_set_new(out, "lines", lines);
    json_object_set_new(out, "alternatives", alternatives);
    json_object_set_new(out, "common_practice", checks);
    json_object_set_new(out, "notes", notes);
    return out;
}
