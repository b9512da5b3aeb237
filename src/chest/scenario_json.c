#include "chest/scenario_table.h"
#include "core/json.h"
#include "core/text.h"
#include "core/units.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double field_get(const sl_field *field, const void *base)
{
    const char *at = (const char *)base + field->offset;
    if (field->type == SL_FIELD_REAL)
        return *(const double *)(const void *)at;
    if (field->type == SL_FIELD_BOOL)
        return *(const bool *)(const void *)at;
    return *(const int *)(const void *)at;
}

static void field_set(const sl_field *field, void *base, double value)
{
    char *at = (char *)base + field->offset;
    if (field->type == SL_FIELD_REAL)
        *(double *)(void *)at = value;
    else if (field->type == SL_FIELD_BOOL)
        *(bool *)(void *)at = value != 0;
    else
        *(int *)(void *)at = (int)value;
}

static sl_status refuse_choice(const sl_field *field, const char *where, sl_error *error)
{
    char list[160] = "";
    for (const char *const *name = field->names; *name; name++)
        snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", name == field->names ? "" : ", ", *name);
    return sl_fail(error, SL_FORMAT, "%s.%s must be one of: %s (%s).", where, field->key, list, field->meaning);
}

static sl_status field_load(const sl_field *field, const json_t *value, const char *where, void *base, sl_error *error)
{
    if (field->type == SL_FIELD_CHOICE) {
        if (json_is_string(value))
            for (int i = 0; field->names[i]; i++)
                if (!strcmp(field->names[i], json_string_value(value))) {
                    field_set(field, base, i);
                    return SL_OK;
                }
        return refuse_choice(field, where, error);
    }
    if (field->type == SL_FIELD_BOOL) {
        if (!json_is_boolean(value))
            return sl_fail(error, SL_FORMAT, "%s.%s must be true or false (%s).", where, field->key, field->meaning);
        field_set(field, base, json_is_true(value));
        return SL_OK;
    }
    double number = json_is_number(value) ? json_number_value(value) : NAN;
    if (!(number >= field->low && number <= field->high) || (field->type == SL_FIELD_INT && number != floor(number)))
        return sl_fail(error, SL_FORMAT, "%s.%s must be a %snumber from %.10g to %.10g (%s)%s.", where, field->key,
                       field->type == SL_FIELD_INT ? "whole " : "", field->low, field->high, field->meaning,
                       json_is_number(value) ? "" : "; it is no number");
    field_set(field, base, number);
    return SL_OK;
}

static sl_status group_load(const sl_group *group, const json_t *object, const char *where, void *base, sl_error *error)
{
    if (!json_is_object(object))
        return sl_fail(error, SL_FORMAT, "%s must be an object in braces (%s).", where, group->meaning);
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)object, key, value) {
        const sl_field *field = NULL;
        for (int i = 0; i < group->fields && !field; i++)
            if (!strcmp(group->field[i].key, key))
                field = &group->field[i];
        if (!field)
            return sl_fail(error, SL_FORMAT, "%s has no field %.60s; docs/scenario.schema.json lists its fields.", where, key);
        sl_status status = field_load(field, value, where, base, error);
        if (status)
            return status;
    }
    return SL_OK;
}

static sl_status list_load(const sl_group *group, const json_t *list, sl_scenario *scenario, sl_error *error)
{
    if (!json_is_array(list))
        return sl_fail(error, SL_FORMAT, "scenario.%s must be a list in brackets (%s).", group->key, group->meaning);
    size_t count = json_array_size(list);
    if (count > (size_t)group->most)
        return sl_fail(error, SL_FORMAT, "scenario.%s has %zu entries; at most %d are allowed.", group->key, count, group->most);
    char *first = (char *)scenario + group->offset;
    memset(first, 0, group->size * (size_t)group->most);
    *(int *)(void *)((char *)scenario + group->count_offset) = (int)count;
    for (size_t i = 0; i < count; i++) {
        char where[64];
        snprintf(where, sizeof where, "scenario.%s[%zu]", group->key, i);
        const json_t *item = json_array_get(list, i);
        /* In a list every number must be stated: there is no default place for a rib. */
        for (int f = 0; f < group->fields; f++)
            if (group->field[f].type == SL_FIELD_REAL && strcmp(group->field[f].key, "y_mm") &&
                strcmp(group->field[f].key, "bronchogram_move_mm") && strcmp(group->field[f].key, "shred") &&
                !json_object_get(item, group->field[f].key))
                return sl_fail(error, SL_FORMAT, "%s lacks the field %s: a number from %g to %g (%s).", where,
                               group->field[f].key, group->field[f].low, group->field[f].high, group->field[f].meaning);
        sl_status status = group_load(group, item, where, first + i * group->size, error);
        if (status)
            return status;
    }
    return SL_OK;
}

static sl_status text_load(const json_t *json, const char *key, bool required, size_t room, char *out, sl_error *error)
{
    const json_t *value = json_object_get(json, key);
    if (!value && !required)
        return SL_OK;
    if (!json_is_string(value) || strlen(json_string_value(value)) >= room)
        return sl_fail(error, SL_FORMAT, "scenario.%s must be a text of at most %zu letters.", key, room - 1);
    strcpy(out, json_string_value(value));
    return SL_OK;
}

static const sl_group *group_by_key(const char *key)
{
    for (int g = 0; g < sl_scenario_group_count; g++)
        if (!strcmp(sl_scenario_groups[g].key, key))
            return &sl_scenario_groups[g];
    return NULL;
}

sl_status sl_scenario_from_json(const json_t *json, const char *name, sl_scenario *scenario, sl_error *error)
{
    sl_scenario_defaults(scenario);
    if (!json_is_object(json))
        return sl_fail(error, SL_FORMAT, "%s is no scenario: it must be an object in braces.", name);
    sl_status status = text_load(json, "name", true, sizeof scenario->name, scenario->name, error);
    if (!status)
        status = text_load(json, "title", true, sizeof scenario->title, scenario->title, error);
    if (!status)
        status = text_load(json, "note", false, sizeof scenario->note, scenario->note, error);
    if (status)
        return status;
    /* The probe's kind first: depth, focus and beams default by it. */
    const json_t *probe = json_object_get(json, "probe");
    if (!json_is_object(probe) || !json_object_get(probe, "kind"))
        return sl_fail(error, SL_FORMAT, "scenario.probe.kind is missing: one of convex, linear, phased.");
    const sl_group *probe_group = group_by_key("probe");
    status = field_load(&probe_group->field[0], json_object_get(probe, "kind"), "scenario.probe", &scenario->probe, error);
    if (status)
        return status;
    sl_scenario_probe_defaults(scenario, scenario->probe.kind);
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)json, key, value) {
        if (!strcmp(key, "name") || !strcmp(key, "title") || !strcmp(key, "note") || !strcmp(key, "$schema"))
            continue;
        const sl_group *own = &sl_scenario_groups[0];
        bool done = false;
        for (int f = 0; f < own->fields && !done; f++)
            if (!strcmp(own->field[f].key, key)) {
                status = field_load(&own->field[f], value, "scenario", scenario, error);
                done = true;
            }
        const sl_group *group = done ? NULL : group_by_key(key);
        if (!done && (!group || !*group->key))
            return sl_fail(error, SL_FORMAT, "scenario has no field %.60s; docs/scenario.schema.json lists its fields.", key);
        if (!done && group->count_offset)
            status = list_load(group, value, scenario, error);
        else if (!done) {
            char where[64];
            snprintf(where, sizeof where, "scenario.%s", group->key);
            status = group_load(group, value, where, (char *)scenario + group->offset, error);
        }
        if (status)
            return status;
    }
    return sl_scenario_check(scenario, error);
}

sl_status sl_scenario_load(const char *path, sl_scenario *scenario, sl_error *error)
{
    json_t *json = sl_json_load(path, error);
    if (!json)
        return error ? error->status : SL_FORMAT;
    sl_error inner = {0};
    sl_status status = sl_scenario_from_json(json, path, scenario, &inner);
    json_decref(json);
    return status ? sl_fail(error, status, "%s: %s", sl_path_name(path), inner.text) : SL_OK;
}

/* A number as few digits as bring it back exactly enough for a person: 9 significant. */
static json_t *tidy_number(double value)
{
    if (value == floor(value) && fabs(value) < 1e15)
        return json_integer((json_int_t)value);
    char text[40];
    snprintf(text, sizeof text, "%.9g", value);
    return json_real(strtod(text, NULL));
}

static json_t *group_to_json(const sl_group *group, const void *base)
{
    json_t *object = json_object();
    for (int f = 0; f < group->fields; f++) {
        const sl_field *field = &group->field[f];
        double value = field_get(field, base);
        json_t *item = field->type == SL_FIELD_CHOICE ? json_string(field->names[(int)value])
                       : field->type == SL_FIELD_BOOL ? json_boolean(value != 0)
                                                      : tidy_number(value);
        json_object_set_new(object, field->key, item);
    }
    return object;
}

json_t *sl_scenario_to_json(const sl_scenario *scenario)
{
    json_t *root = json_object();
    json_object_set_new(root, "name", json_string(scenario->name));
    json_object_set_new(root, "title", json_string(scenario->title));
    json_object_set_new(root, "note", json_string(scenario->note));
    for (int g = 0; g < sl_scenario_group_count; g++) {
        const sl_group *group = &sl_scenario_groups[g];
        const char *base = (const char *)scenario + group->offset;
        if (group->count_offset) {
            json_t *list = json_array();
            int count = *(const int *)(const void *)((const char *)scenario + group->count_offset);
            for (int i = 0; i < count; i++)
                json_array_append_new(list, group_to_json(group, base + (size_t)i * group->size));
            json_object_set_new(root, group->key, list);
        } else if (*group->key) {
            json_object_set_new(root, group->key, group_to_json(group, base));
        } else {
            json_t *own = group_to_json(group, base);
            json_object_update(root, own);
            json_decref(own);
        }
    }
    return root;
}

static json_t *group_schema(const sl_group *group)
{
    json_t *object = json_pack("{s:s, s:b}", "type", "object", "additionalProperties", 0);
    if (*group->meaning)
        json_object_set_new(object, "description", json_string(group->meaning));
    json_t *properties = json_object();
    for (int f = 0; f < group->fields; f++) {
        const sl_field *field = &group->field[f];
        json_t *item = json_object();
        json_object_set_new(item, "description", json_string(field->meaning));
        if (field->type == SL_FIELD_CHOICE) {
            json_t *names = json_array();
            for (const char *const *name = field->names; *name; name++)
                json_array_append_new(names, json_string(*name));
            json_object_set_new(item, "enum", names);
        } else if (field->type == SL_FIELD_BOOL) {
            json_object_set_new(item, "type", json_string("boolean"));
        } else {
            json_object_set_new(item, "type", json_string(field->type == SL_FIELD_INT ? "integer" : "number"));
            json_object_set_new(item, "minimum", tidy_number(field->low));
            json_object_set_new(item, "maximum", tidy_number(field->high));
        }
        json_object_set_new(properties, field->key, item);
    }
    json_object_set_new(object, "properties", properties);
    return object;
}

json_t *sl_scenario_schema(void)
{
    json_t *root = group_schema(&sl_scenario_groups[0]);
    json_object_set_new(root, "$schema", json_string("https://json-schema.org/draft/2020-12/schema"));
    json_object_set_new(root, "title", json_string("strandline scenario: a chest, a probe and its controls"));
    json_object_set_new(root, "description",
                        json_string("Made by `strandline simulate --schema`. Lengths mm, times s. Absent fields take "
                                    "the defaults of the stated probe; what only fields together can say is checked on "
                                    "loading."));
    json_object_set_new(root, "required", json_pack("[s,s,s]", "name", "title", "probe"));
    json_t *properties = json_object_get(root, "properties");
    json_object_set_new(properties, "$schema", json_pack("{s:s}", "type", "string"));
    json_object_set_new(properties, "name", json_pack("{s:s,s:i}", "type", "string", "maxLength", 63));
    json_object_set_new(properties, "title", json_pack("{s:s,s:i}", "type", "string", "maxLength", 159));
    json_object_set_new(properties, "note", json_pack("{s:s,s:i}", "type", "string", "maxLength", 399));
    for (int g = 1; g < sl_scenario_group_count; g++) {
        const sl_group *group = &sl_scenario_groups[g];
        json_t *schema = group_schema(group);
        if (!strcmp(group->key, "probe"))
            json_object_set_new(schema, "required", json_pack("[s]", "kind"));
        if (group->count_offset)
            schema = json_pack("{s:s, s:i, s:o}", "type", "array", "maxItems", group->most, "items", schema);
        json_object_set_new(properties, group->key, schema);
    }
    return root;
}

/* The field at a path like "controls.depth_mm" or "traps[2].q", its group and its place in a list; NULL = none. */
static const sl_field *find_field(const char *path, char group_key[32], const sl_group **group, int *index)
{
    const char *dot = strrchr(path, '.');
    *index = 0;
    *group_key = 0;
    if (dot && (size_t)(dot - path) < 32) {
        memcpy(group_key, path, (size_t)(dot - path));
        group_key[dot - path] = 0;
        char *bracket = strchr(group_key, '[');
        if (bracket) {
            *index = (int)strtol(bracket + 1, NULL, 10);
            *bracket = 0;
        }
    }
    *group = group_by_key(group_key);
    const char *key = dot ? dot + 1 : path;
    for (int f = 0; *group && f < (*group)->fields; f++)
        if (!strcmp((*group)->field[f].key, key))
            return &(*group)->field[f];
    return NULL;
}

const char *sl_scenario_meaning(const char *path)
{
    char group_key[32];
    const sl_group *group;
    int index;
    const sl_field *field = find_field(path, group_key, &group, &index);
    return field ? field->meaning : "";
}

sl_status sl_scenario_set(sl_scenario *scenario, const char *path, const char *value, sl_error *error)
{
    char group_key[32];
    const sl_group *group;
    int index;
    const sl_field *field = find_field(path, group_key, &group, &index);
    if (!field)
        return sl_fail(error, SL_USAGE, "There is no control %.80s; names are like controls.depth_mm, probe.freq_mhz, "
                       "traps[0].q: docs/scenario.schema.json lists them.", path);
    if (group->count_offset && (index < 0 || index >= *(int *)(void *)((char *)scenario + group->count_offset)))
        return sl_fail(error, SL_USAGE, "The scenario has no %s[%d].", group->key, index);
    void *base = (char *)scenario + group->offset + (size_t)index * group->size;
    json_t *json = NULL;
    char *end;
    errno = 0;
    double number = strtod(value, &end);
    if (field->type == SL_FIELD_CHOICE)
        json = json_string(value);
    else if (field->type == SL_FIELD_BOOL)
        json = json_boolean(!strcmp(value, "true") || !strcmp(value, "on") || !strcmp(value, "1"));
    else if (*value && !*end && !errno && isfinite(number))
        json = json_real(number);
    else
        json = json_null();
    sl_status status = field_load(field, json, *group_key ? group_key : "scenario", base, error);
    json_decref(json);
    return status;
}

sl_status sl_scenario_check(const sl_scenario *scenario, sl_error *error)
{
    const sl_controls *c = &scenario->controls;
    const sl_probe *p = &scenario->probe;
    double pleura = sl_scenario_pleura_mm(scenario);
    if (scenario->seed != floor(scenario->seed))
        return sl_fail(error, SL_FORMAT, "scenario.seed must be a whole number from 0 to 2^53.");
    if (p->kind == SL_PROBE_CONVEX && !(p->radius_mm >= 5 && p->field_deg >= 15))
        return sl_fail(error, SL_FORMAT, "A convex probe needs probe.radius_mm from 5 to 120 and probe.field_deg from 15 to 110.");
    if (p->kind == SL_PROBE_PHASED && !(p->field_deg >= 15))
        return sl_fail(error, SL_FORMAT, "A phased probe needs probe.field_deg from 15 to 110.");
    if (p->kind == SL_PROBE_LINEAR && !(p->width_mm >= 10))
        return sl_fail(error, SL_FORMAT, "A linear probe needs probe.width_mm from 10 to 120.");
    if (c->crop_top_mm > 0.6 * c->depth_mm)
        return sl_fail(error, SL_FORMAT, "controls.crop_top_mm must be from 0 to %.1f: at most 0.6 of the depth of %.1f mm.",
                       0.6 * c->depth_mm, c->depth_mm);
    double most = sl_scenario_frame_rate_most_hz(scenario);
    if (c->frame_rate_hz > most)
        return sl_fail(error, SL_FORMAT, "controls.frame_rate_hz must be from 1 to %.1f: sound needs %.0f microseconds for "
                       "%.0f mm and back, for %d beams at %d angles, %d at a time.", most, 2 * c->depth_mm / 1.54,
                       c->depth_mm, c->beams, c->compound_angles, c->parallel_beams);
    double samples = c->depth_mm / (1.54 / (p->freq_mhz * (c->harmonics ? 2 : 1)) / 2) * c->beams;
    if (samples > 4e6)
        return sl_fail(error, SL_LIMIT, "controls.depth_mm times probe.freq_mhz times controls.beams make %.1f million "
                       "samples a frame; at most 4 million are allowed.", samples / 1e6);
    if (c->frame_rate_hz * c->duration_s > 6000)
        return sl_fail(error, SL_LIMIT, "controls.duration_s must be at most %.1f at this frame rate (6000 frames).",
                       6000 / c->frame_rate_hz);
    if (pleura > 0.9 * c->depth_mm)
        return sl_fail(error, SL_FORMAT, "The wall (skin, fat and muscle) is %.1f mm thick; at controls.depth_mm %.1f it "
                       "must be at most %.1f mm for the pleura to be in the picture.", pleura, c->depth_mm, 0.9 * c->depth_mm);
    for (int r = 0; r < scenario->ribs; r++) {
        const sl_rib *rib = &scenario->rib[r];
        if (rib->depth_mm < scenario->wall.skin_mm + 1)
            return sl_fail(error, SL_FORMAT, "scenario.ribs[%d].depth_mm must be from %.1f to %.1f: %.1f mm would lie inside the "
                           "probe or the skin.", r, scenario->wall.skin_mm + 1, pleura - 1, rib->depth_mm);
        if (rib->depth_mm > pleura - 1)
            return sl_fail(error, SL_FORMAT, "scenario.ribs[%d].depth_mm must be from %.1f to %.1f: ribs lie above the pleura.",
                           r, scenario->wall.skin_mm + 1, pleura - 1);
    }
    if (scenario->lung.interstitial_per_cm > 0 && scenario->lung.interstitial_from_mm >= scenario->lung.interstitial_to_mm)
        return sl_fail(error, SL_FORMAT, "lung.interstitial_from_mm must be less than lung.interstitial_to_mm (%.1f).",
                       scenario->lung.interstitial_to_mm);
    if (scenario->effusion.swing_mm > 2 * scenario->effusion.depth_mm)
        return sl_fail(error, SL_FORMAT, "effusion.swing_mm must be from 0 to %.1f, twice the fluid's depth.",
                       2 * scenario->effusion.depth_mm);
    return SL_OK;
}
