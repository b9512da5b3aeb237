/* Scenario files: JSON to a checked chest. */
#include "as_file.h"
#include "chest/scenario.h"

#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[64];
    int file = sl_fuzz_file(data, size, path);
    sl_scenario scenario;
    sl_error error;
    if (file >= 0 && !sl_scenario_load(path, &scenario, &error))
        json_decref(sl_scenario_to_json(&scenario));
    if (file >= 0)
        close(file);
    return 0;
}
