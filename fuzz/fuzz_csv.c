/* CSV tables. */
#include "as_file.h"
#include "core/text.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    sl_arena arena = {0};
    sl_csv csv;
    sl_error error;
    if (!sl_csv_parse((const char *)data, size, "input", &arena, &csv, &error)) {
        int column = sl_csv_column(&csv, "zone");
        for (int row = 0; row < csv.rows; row++)
            (void)sl_csv_get(&csv, row, column);
    }
    sl_arena_free(&arena);
    return 0;
}
