/* What people write in a table: yes and no in any usual spelling, and the titles of columns. */
#ifndef SL_AGREE_WORDS_H
#define SL_AGREE_WORDS_H

#include "reading/reading.h"

typedef enum sl_word {
    SL_WORD_NONE,      /* nothing is stated: empty, n/a ... */
    SL_WORD_NO,
    SL_WORD_YES,
    SL_WORD_UNSURE,    /* stated as not to be told */
    SL_WORD_UNKNOWN    /* no word this program knows */
} sl_word;

sl_word sl_word_of(const char *text);

/* A whole number or decimal (a comma as decimal mark too), nothing else around it; NAN otherwise. */
double sl_number_of(const char *text);

/* The finding a column's title names, or NULL. `noted` is set when the title says that only striking findings were
 * noted, so that "no" need not mean absent. */
const sl_finding_info *sl_finding_of_title(const char *title, bool *noted);

bool sl_title_is_clip(const char *title);
bool sl_title_is_person(const char *title);

#endif
