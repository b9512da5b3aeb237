/* Answers of STOW-RS servers: JSON and XML. */
#include "as_file.h"
#include "node/stow_answer.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    sl_stow_answer answer;
    sl_stow_answer_read((const char *)data, size, "1.2.3.4712.77.1", &answer);
    return 0;
}
