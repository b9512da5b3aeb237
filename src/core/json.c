#include "core/json.h"

#include "core/arena.h"
#include "core/file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

json_t *sl_json_number(double value, int decimals)
{
    if (!isfinite(value))
        return json_null();
    double scale = pow(10.0, decimals);
    double rounded = fabs(value) < 1e15 / scale ? round(value * scale) / scale : value;
    if (rounded == 0)
        rounded = 0; /* no negative zero */
    return decimals == 0 && fabs(rounded) < 9e15 ? json_integer((json_int_t)rounded) : json_real(rounded);
}

json_t *sl_json_load(const char *path, sl_error *error)
{
    sl_arena arena = {0};
    char *bytes = NULL;
    size_t length = 0;
    json_t *root = NULL;
    if (sl_file_read(path, (size_t)64 << 20, &arena, &bytes, &length, error) == SL_OK) {
        json_error_t where;
        root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, &where);
        if (!root)
            sl_fail(error, SL_FORMAT, "%s is not valid JSON: line %d, %s.", path, where.line, where.text);
    }
    sl_arena_free(&arena);
    return root;
}

sl_status sl_json_save(const json_t *root, const char *path, sl_error *error)
{
    char *text = json_dumps(root, JSON_INDENT(2) | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
    if (!text)
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path);
    size_t length = strlen(text);
    text[length] = '\n'; /* the zero byte's place: the length is passed on */
    sl_status status = sl_file_write(path, text, length + 1, error);
    free(text);
    return status;
}

const char *sl_json_text(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

sl_status sl_json_real_in(const json_t *object, const char *where, const char *key, double low, double high,
                          bool required, double *value, sl_error *error)
{
    const json_t *field = json_object_get(object, key);
    if (!field) {
        if (!required)
            return SL_OK;
        return sl_fail(error, SL_FORMAT, "%s.%s is missing: it needs a number from %g to %g.", where, key, low, high);
    }
    if (!json_is_number(field))
        return sl_fail(error, SL_FORMAT, "%s.%s must be a number from %g to %g.", where, key, low, high);
    double number = json_number_value(field);
    if (!(number >= low && number <= high))
        return sl_fail(error, SL_FORMAT, "%s.%s is %g: it must lie between %g and %g.", where, key, number, low, high);
    *value = number;
    return SL_OK;
}
