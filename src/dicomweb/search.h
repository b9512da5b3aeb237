/* Searching what arrived by the web (QIDO-RS, PS3.18 10.6): attributes to match and to return, as the address has them. */
#ifndef SL_DICOMWEB_SEARCH_H
#define SL_DICOMWEB_SEARCH_H

#include "core/text.h"
#include "store/objects.h"

enum { SL_SEARCH_MOST = 1000, SL_SEARCH_KEYS = 32, SL_SEARCH_FIELDS = 128 }; /* answers, attributes matched, attributes asked for, at most */

typedef enum sl_search_level { SL_SEARCH_STUDIES, SL_SEARCH_SERIES, SL_SEARCH_INSTANCES } sl_search_level;

typedef struct sl_search_key {
    uint32_t sequence, tag; /* sequence 0: none */
    const char *value;
} sl_search_key;

typedef struct sl_search {
    sl_search_level level;
    const char *study, *series; /* from the address; NULL: any */
    const char *root;           /* address below which objects are found, without '/' at its end */
    int keys, fields;
    sl_search_key key[SL_SEARCH_KEYS];
    uint32_t field[SL_SEARCH_FIELDS];
    bool all_fields;
    long limit, offset;         /* limit 0: SL_SEARCH_MOST */
    char unsupported[400];      /* what was asked for and is not done, for a Warning; "" */
} sl_search;

/* One "name=value" of the address. SL_USAGE with a sentence. Values must outlive the search. */
sl_status sl_search_add(sl_search *search, const char *name, const char *value, sl_error *error);

typedef struct sl_search_outcome {
    int matches;  /* in all */
    int returned;
} sl_search_outcome;

/* Writes the answer, an array of DICOM JSON objects. */
sl_status sl_search_run(const sl_search *search, sl_store *store, sl_text *json, sl_search_outcome *outcome, sl_error *error);

#endif
