/* Glue for Jansson: numbers with a fixed number of decimals, reading with a sentence that names the field. */
#ifndef SL_CORE_JSON_H
#define SL_CORE_JSON_H

#include "core/error.h"

#include <jansson.h>
#include <stdbool.h>

/* A number rounded to `decimals`, or JSON null when it is not finite. New reference. */
json_t *sl_json_number(double value, int decimals);

/* Loads a JSON file of at most 64 MiB. New reference or NULL. */
json_t *sl_json_load(const char *path, sl_error *error);

/* Writes with 2 blanks of indent, keys in the order they were set, a line break at the end. */
sl_status sl_json_save(const json_t *root, const char *path, sl_error *error);

/* Field `key` as text, the object's own; "" when it is absent or no text. */
const char *sl_json_text(const json_t *object, const char *key);

/* Field `key` of `object` as a number within [low, high]. When the field is absent `*value` stays as it is, and that
 * is an error only if `required`. `where` names the object in the sentence, e.g. "scenario.probe". */
sl_status sl_json_real_in(const json_t *object, const char *where, const char *key, double low, double high,
                          bool required, double *value, sl_error *error);

#endif
