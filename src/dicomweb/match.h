/* Attribute matching (PS3.4 C.2.2.2): whether a value is what a key asks for. */
#ifndef SL_DICOMWEB_MATCH_H
#define SL_DICOMWEB_MATCH_H

#include <stdbool.h>

typedef enum sl_match_kind {
    SL_MATCH_TEXT, /* '*' and '?' stand for letters */
    SL_MATCH_NAME, /* the same without regard to capitals, empty components at the end left out; any of its component groups */
    SL_MATCH_UID,  /* a list, separated by ',' or '\' */
    SL_MATCH_DATE, /* "A-B", "A-", "-B" are ranges, both ends within */
    SL_MATCH_TIME, /* the same; a shorter time stands for all within it */
    SL_MATCH_NUMBER,
    SL_MATCH_EXACT
} sl_match_kind;

/* An empty key asks nothing. `value` may hold several, separated by '\': one must match. */
bool sl_match(sl_match_kind kind, const char *key, const char *value);

#endif
