/* JSON files from outside: readings, and the user's own scheme of zones. */
#include "as_file.h"
#include "core/json.h"
#include "exam/zones.h"
#include "reading/reading.h"

#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    sl_arena arena = {0};
    sl_reading *reading = NULL;
    const sl_protocol *protocol;
    sl_error error;
    json_t *json = json_loadb((const char *)data, size, JSON_REJECT_DUPLICATES, NULL);
    if (json && !sl_reading_from_json(json, "input", &arena, &reading, &error))
        json_decref(sl_reading_to_json(reading));
    json_decref(json);
    char path[64];
    int file = sl_fuzz_file(data, size, path);
    if (file >= 0) {
        (void)sl_protocol_load(path, &arena, &protocol, &error);
        close(file);
    }
    sl_arena_free(&arena);
    return 0;
}
