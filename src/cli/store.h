/* The words of `strandline store`, shared by its two files. */
#ifndef SL_CLI_STORE_H
#define SL_CLI_STORE_H

#include "cli/command.h"
#include "cli/options.h"
#include "store/store.h"

enum { SL_STORE_WORDS = 512 };

typedef struct sl_store_words {
    const char *word[SL_STORE_WORDS]; /* "add" and what follows */
    int words;
    const char *store, *who, *report, *person, *local_id, *out;
    bool yes, signed_too;
} sl_store_words;

extern const sl_command sl_command_store;

#endif
