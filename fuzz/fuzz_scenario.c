/* Scenario files: JSON to a checked chest. What does not begin with '{' is lines "path=value", set upon a plain chest as the
 * command's --set and the page's controls do. */
#include "as_file.h"
#include "chest/scenario.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

static void set_lines(const uint8_t *data, size_t size)
{
    sl_scenario scenario;
    sl_error error;
    sl_scenario_defaults(&scenario);
    for (const uint8_t *at = data, *end = data + size; at < end;) {
        const uint8_t *stop = memchr(at, '\n', (size_t)(end - at));
        char line[256];
        snprintf(line, sizeof line, "%.*s", (int)((stop ? stop : end) - at), (const char *)at);
        char *value = strchr(line, '=');
        if (value) {
            *value = 0;
            (void)sl_scenario_set(&scenario, line, value + 1, &error);
        }
        at = stop ? stop + 1 : end;
    }
    (void)sl_scenario_check(&scenario, &error);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[64];
    sl_scenario scenario;
    sl_error error;
    if (size && data[0] != '{') {
        set_lines(data, size);
        return 0;
    }
    int file = sl_fuzz_file(data, size, path);
    if (file >= 0 && !sl_scenario_load(path, &scenario, &error))
        json_decref(sl_scenario_to_json(&scenario));
    if (file >= 0)
        close(file);
    return 0;
}
