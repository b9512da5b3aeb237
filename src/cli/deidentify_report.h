/* What was done to each file, for those who keep the originals. */
#ifndef SL_CLI_DEIDENTIFY_REPORT_H
#define SL_CLI_DEIDENTIFY_REPORT_H

#include "clip/deidentify.h"

typedef struct sl_deid_result {
    const char *in;
    char name[32]; /* of the copy */
    sl_arena arena;
    sl_deid_notes notes;
    sl_status status;
    sl_error error;
} sl_deid_result;

/* NAME.csv, one row a change, and NAME.json, one object a file. */
sl_status sl_deid_report_write(const char *name, const sl_deid_result *result, int count, sl_error *error);

#endif
