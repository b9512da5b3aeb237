#include "serve/bench.h"

#include "chest/chest.h"
#include "chest/figures.h"
#include "chest/scenario.h"
#include "chest/scenario_table.h"
#include "core/json.h"
#include "core/units.h"
#include "serve/api.h"
#include "serve/assets.h"
#include "serve/invented.h"
#include "serve/tasks.h"

#include <libdeflate.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sl_live {
    pthread_mutex_t lock;
    json_t *chests;          /* array of scenarios, from the program itself */
    sl_scenario *scenario;   /* of `chest`; NULL before the first picture */
    sl_chest *chest;
};

/* What may be turned on the bench: paths of the scenario table. */
static const char *const knobs[] = {
    "controls.depth_mm",      "probe.freq_mhz",          "controls.focus_mm",          "controls.gain_db",
    "controls.depth_gain_db_cm", "controls.dynamic_range_db", "controls.compound_angles", "controls.harmonics",
    "controls.persistence_frames", "controls.frame_rate_hz", "wall.tilt_deg", "motion.sliding_mm", "controls.grey_map"};
enum { KNOBS = sizeof knobs / sizeof *knobs };

static json_t *unpack(const sl_asset *asset)
{
    char *bytes = malloc(asset->unpacked + 1);
    struct libdeflate_decompressor *unpacker = libdeflate_alloc_decompressor();
    size_t got = 0;
    json_t *json = NULL;
    if (bytes && unpacker &&
        libdeflate_gzip_decompress(unpacker, asset->bytes, asset->length, bytes, asset->unpacked, &got) == LIBDEFLATE_SUCCESS)
        json = json_loadb(bytes, got, 0, NULL);
    libdeflate_free_decompressor(unpacker);
    free(bytes);
    return json;
}

sl_live *sl_live_new(void)
{
    sl_live *live = calloc(1, sizeof *live);
    if (!live)
        return NULL;
    live->chests = unpack(&sl_scenarios_asset);
    if (!json_is_array(live->chests)) {
        json_decref(live->chests);
        live->chests = json_array();
    }
    pthread_mutex_init(&live->lock, NULL);
    return live;
}

void sl_live_free(sl_live **live)
{
    if (!*live)
        return;
    sl_chest_free(&(*live)->chest);
    free((*live)->scenario);
    json_decref((*live)->chests);
    pthread_mutex_destroy(&(*live)->lock);
    free(*live);
    *live = NULL;
}

static const sl_field *field_of(const char *path)
{
    for (int g = 0; g < sl_scenario_group_count; g++) {
        const sl_group *group = &sl_scenario_groups[g];
        size_t length = strlen(group->key);
        if (strncmp(path, group->key, length) || path[length] != '.')
            continue;
        for (int f = 0; f < group->fields; f++)
            if (!strcmp(group->field[f].key, path + length + 1))
                return &group->field[f];
    }
    return NULL;
}

static json_t *list(const sl_live *live)
{
    json_t *chests = json_array(), *controls = json_array();
    size_t at;
    json_t *one;
    json_array_foreach(live->chests, at, one)
    {
        sl_scenario scenario;
        if (sl_scenario_from_json(one, "scenario", &scenario, NULL) != SL_OK)
            continue;
        json_t *all = sl_scenario_to_json(&scenario), *values = json_object();
        for (int k = 0; k < KNOBS; k++) {
            const char *dot = strchr(knobs[k], '.');
            char group[32];
            snprintf(group, sizeof group, "%.*s", (int)(dot - knobs[k]), knobs[k]);
            json_t *value = json_object_get(json_object_get(all, group), dot + 1);
            if (value)
                json_object_set(values, knobs[k], value);
        }
        json_t *chest = json_pack("{s:s,s:s,s:s,s:i,s:o}", "name", scenario.name, "title", scenario.title, "note", scenario.note,
                                  "frames", (int)(scenario.controls.duration_s * scenario.controls.frame_rate_hz), "values", values);
        if (chest)
            json_array_append_new(chests, chest);
        json_decref(all);
    }
    for (int k = 0; k < KNOBS; k++) {
        const sl_field *field = field_of(knobs[k]);
        if (!field)
            continue;
        json_t *names = json_array();
        for (const char *const *name = field->type == SL_FIELD_CHOICE ? field->names : NULL; name && *name; name++)
            json_array_append_new(names, json_string(*name));
        static const char *const types[] = {"real", "int", "bool", "choice"};
        json_t *control = json_pack("{s:s,s:s,s:f,s:f,s:o,s:s}", "path", knobs[k], "type", types[field->type], "low", field->low,
                                    "high", field->high, "names", names, "meaning", field->meaning);
        if (control)
            json_array_append_new(controls, control);
    }
    return json_pack("{s:o,s:o,s:o}", "chests", chests, "controls", controls, "tasks", sl_tasks_json());
}

/* The scenario that was asked for. */
sl_status sl_live_wanted(const sl_live *live, const json_t *asked, sl_scenario *scenario, sl_error *error)
{
    const char *name = json_string_value(json_object_get(asked, "chest"));
    const json_t *found = NULL;
    for (size_t i = 0; name && i < json_array_size(live->chests) && !found; i++) {
        const json_t *one = json_array_get(live->chests, i);
        const char *its = json_string_value(json_object_get(one, "name"));
        found = its && !strcmp(its, name) ? one : NULL;
    }
    if (!found)
        return sl_fail(error, SL_USAGE, "There is no chest of that name on the bench.");
    sl_status status = sl_scenario_from_json(found, name, scenario, error);
    const json_t *set = json_object_get(asked, "set");
    for (int k = 0; k < KNOBS && status == SL_OK; k++) {
        const json_t *value = json_object_get(set, knobs[k]);
        char text[64];
        if (!value)
            continue;
        if (json_is_string(value))
            snprintf(text, sizeof text, "%s", json_string_value(value));
        else if (json_is_boolean(value))
            snprintf(text, sizeof text, "%s", json_is_true(value) ? "true" : "false");
        else
            snprintf(text, sizeof text, "%.9g", json_number_value(value));
        status = sl_scenario_set(scenario, knobs[k], text, error);
    }
    json_int_t height = json_integer_value(json_object_get(asked, "height"));
    scenario->controls.picture_height = height >= 120 && height <= 720 ? (int)height : 360;
    double most = sl_scenario_frame_rate_most_hz(scenario);
    if (scenario->controls.frame_rate_hz > most) /* the machine would do the same: the sound takes its time */
        scenario->controls.frame_rate_hz = floor(most * 10) / 10;
    return status == SL_OK ? sl_scenario_check(scenario, error) : status;
}

static json_t *figures_json(sl_chest *chest, int frame)
{
    sl_figure figure[SL_FIGURES];
    json_t *list = json_array();
    sl_chest_figures(chest, frame, figure);
    for (int i = 0; i < SL_FIGURES; i++) {
        json_t *one = json_pack("{s:s,s:s,s:i,s:o}", "name", figure[i].name, "unit", figure[i].unit, "decimals",
                                figure[i].decimals, "value", sl_json_number(figure[i].value, 4));
        if (one)
            json_array_append_new(list, one);
    }
    return list;
}

/* With the lock held. Bytes are malloc'ed. */
static sl_status draw(sl_live *live, const json_t *asked, unsigned char **bytes, size_t *length, sl_error *error)
{
    sl_scenario *scenario = malloc(sizeof *scenario);
    sl_status status = scenario ? sl_live_wanted(live, asked, scenario, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK && !(live->scenario && !memcmp(live->scenario, scenario, sizeof *scenario))) {
        sl_chest *chest = NULL;
        status = sl_chest_new_like(scenario, live->chest, &chest, error);
        if (status == SL_OK) {
            sl_chest_free(&live->chest);
            free(live->scenario);
            live->chest = chest;
            live->scenario = scenario;
            scenario = NULL;
        }
    }
    free(scenario);
    if (status != SL_OK)
        return status;
    json_int_t frame = json_integer_value(json_object_get(asked, "frame"));
    int index = (int)(frame < 0 ? 0 : frame % sl_chest_frames(live->chest));
    sl_gray picture;
    status = sl_chest_frame(live->chest, index, &picture, error);
    if (status != SL_OK)
        return status;
    json_t *head = sl_chest_head(live->chest, &picture);
    json_object_set_new(head, "pleura_mm", sl_json_number(sl_scenario_pleura_mm(live->scenario), 3));
    json_object_set_new(head, "figures", figures_json(live->chest, index));
    size_t room = 0;
    *bytes = NULL;
    *length = !head ? 0 : sl_chest_piece(head, index / sl_chest_frame_rate_hz(live->chest), index, &picture, bytes, &room);
    return *length ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
}

enum MHD_Result sl_live_answer(sl_request *request)
{
    sl_live *live = request->server->bench;
    if (request->get)
        return sl_reply_json(request, 200, list(live));
    json_t *asked = sl_request_json(request);
    if (!json_is_object(asked)) {
        json_decref(asked);
        return sl_reply_error(request, 400, "What the bench should show could not be read as JSON.");
    }
    if (json_object_get(asked, "task")) {
        enum MHD_Result result = sl_task_answer(request, asked);
        json_decref(asked);
        return result;
    }
    unsigned char *bytes = NULL;
    size_t length = 0;
    sl_error error;
    pthread_mutex_lock(&live->lock);
    sl_status status = draw(live, asked, &bytes, &length, &error);
    pthread_mutex_unlock(&live->lock);
    json_decref(asked);
    if (status != SL_OK)
        return sl_reply_error(request, 400, "%s", error.text);
    return sl_reply(request, 200, "application/octet-stream",
                    MHD_create_response_from_buffer(length, bytes, MHD_RESPMEM_MUST_FREE));
}
