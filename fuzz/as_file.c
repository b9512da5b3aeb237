#include "as_file.h"

#include <stdio.h>
#include <sys/mman.h>
#include <unistd.h>

int sl_fuzz_file(const uint8_t *data, size_t size, char path[64])
{
    int file = memfd_create("input", 0);
    if (file < 0)
        return -1;
    for (size_t at = 0; at < size;) {
        ssize_t put = write(file, data + at, size - at);
        if (put <= 0) {
            close(file);
            return -1;
        }
        at += (size_t)put;
    }
    snprintf(path, 64, "/proc/self/fd/%d", file);
    return file;
}
