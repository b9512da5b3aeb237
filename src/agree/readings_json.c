/* Readings in JSON: exam.json ("clips", each with its "reading"), a file of reads ("readings"), a list of readings, or
 * one reading. */
#include "agree/statements.h"
#include "core/json.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

bool sl_is_json(const char *path)
{
    size_t length = strlen(path);
    return length > 5 && !strcasecmp(path + length - 5, ".json");
}

static const char *text_of(const json_t *object, const char *key)
{
    return json_string_value(json_object_get(object, key));
}

static sl_status visit_one(const json_t *item, size_t index, const char *path, sl_arena *keep, sl_reading_visit visit,
                           void *context, sl_error *error)
{
    char where[300];
    sl_arena own = {0}, *arena = keep ? keep : &own;
    snprintf(where, sizeof where, "%.200s, reading %zu", path, index + 1);
    /* an examination's clip holds its reading beside file name and status */
    const json_t *inner = json_object_get(item, "reading");
    const char *status = text_of(item, "status"), *reason = text_of(item, "reason");
    const char *name = text_of(item, "clip");
    for (const char *const *key = (const char *const[]){"name", "file", "path", NULL}; !name && *key; key++)
        name = text_of(item, *key);
    bool wrapped = inner || status;
    const json_t *body = wrapped ? inner : item;
    sl_status result = SL_OK;
    if (!json_is_object(item)) {
        result = sl_fail(error, SL_FORMAT, "%s is not an object.", where);
    } else if (!json_is_object(body)) {
        if (!name)
            result = sl_fail(error, SL_FORMAT, "%s names no clip.", where);
        else
            result = visit(context, NULL, name, reason && *reason ? reason : "the clip was not read", error);
    } else {
        sl_reading *reading = NULL;
        result = sl_reading_from_json(body, where, arena, &reading, error);
        if (result == SL_OK)
            result = visit(context, reading, name ? name : reading->clip,
                           wrapped && status && strcmp(status, "read") ? (reason && *reason ? reason : "not read") : NULL,
                           error);
    }
    sl_arena_free(&own);
    return result;
}

sl_status sl_readings_visit(const char *path, sl_arena *keep, sl_reading_visit visit, void *context, sl_error *error)
{
    json_t *root = sl_json_load(path, error);
    if (!root)
        return error ? error->status : SL_FORMAT;
    const json_t *list = json_is_array(root) ? root : json_object_get(root, "clips");
    if (!list)
        list = json_object_get(root, "readings");
    sl_status status = SL_OK;
    if (json_is_array(list)) {
        for (size_t i = 0; status == SL_OK && i < json_array_size(list); i++)
            status = visit_one(json_array_get(list, i), i, path, keep, visit, context, error);
    } else if (json_object_get(root, "findings")) {
        status = visit_one(root, 0, path, keep, visit, context, error);
    } else {
        status = sl_fail(error, SL_FORMAT, "%s holds no readings: neither clips nor readings nor findings.", path);
    }
    json_decref(root);
    return status;
}
