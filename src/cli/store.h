/* The words of `strandline store`, shared by its files. */
#ifndef SL_CLI_STORE_H
#define SL_CLI_STORE_H

#include "cli/command.h"
#include "cli/options.h"
#include "store/store.h"

enum { SL_STORE_WORDS = 512 };

typedef struct sl_store_job {
    const char *word[SL_STORE_WORDS]; /* "add" and what follows */
    int words;
    const char *folder, *who, *report, *person, *local_id, *out, *by, *text, *language, *paper;
    bool yes, signed_too;
    sl_store *store; /* open, but for restore */
} sl_store_job;

/* Wrong use unless as many words follow. */
sl_status sl_store_needs(const sl_store_job *job, int words, sl_error *error);

/* ---- store_sign.c ---- */
sl_status sl_store_do_sign(void *job, sl_error *error);
sl_status sl_store_do_addendum(void *job, sl_error *error);

/* ---- store_arrived.c ---- */
sl_status sl_store_do_arrived(void *job, sl_error *error);
sl_status sl_store_do_take(void *job, sl_error *error);
sl_status sl_store_do_drop(void *job, sl_error *error);

extern const sl_command sl_command_store;

#endif
