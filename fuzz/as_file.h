/* Bytes as a file that lives in memory, for parsers that open paths. */
#ifndef SL_FUZZ_AS_FILE_H
#define SL_FUZZ_AS_FILE_H

#include <stddef.h>
#include <stdint.h>

/* Fills `path`; returns the descriptor to close, or -1. */
int sl_fuzz_file(const uint8_t *data, size_t size, char path[64]);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#endif
