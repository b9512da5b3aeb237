/* Readings in JSON. */
#include "as_file.h"
#include "core/json.h"
#include "reading/reading.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    sl_arena arena = {0};
    sl_reading *reading = NULL;
    sl_error error;
    json_t *json = json_loadb((const char *)data, size, JSON_REJECT_DUPLICATES, NULL);
    if (json && !sl_reading_from_json(json, "input", &arena, &reading, &error))
        json_decref(sl_reading_to_json(reading));
    json_decref(json);
    sl_arena_free(&arena);
    return 0;
}
