/* A file written in pieces that appears whole or not at all: pieces go to a neighbour, which takes the name at the end. */
#ifndef SL_REPORT_OUTFILE_H
#define SL_REPORT_OUTFILE_H

#include "core/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

typedef struct sl_outfile {
    FILE *file;
    int cause; /* errno of the first failure, 0 none */
    char path[4096], part[4096];
} sl_outfile;

sl_status sl_outfile_open(sl_outfile *out, const char *path, sl_error *error);
/* False after a failure; then and later nothing more is written. */
bool sl_outfile_write(sl_outfile *out, const void *bytes, size_t length);
/* Finishes: the file takes its name, or, when anything failed or `keep` is false, the part is removed. */
sl_status sl_outfile_close(sl_outfile *out, bool keep, sl_error *error);

#endif
