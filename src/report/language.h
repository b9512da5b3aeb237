/* The words of the report. They stand in words.en, words.de ... (same keys in each) and nowhere else in the drawing and
 * writing code; scripts/language_words.py makes phrases from them at build time. */
#ifndef SL_REPORT_LANGUAGE_H
#define SL_REPORT_LANGUAGE_H

#include "exam/exam.h"
#include "report/language_words.h"

#include <stddef.h>

typedef struct sl_language sl_language;

/* "en", "de"; NULL and "" are English. NULL when there is no such file of words. */
const sl_language *sl_language_of(const char *code);
/* The examination's language, English when it names none that is known. */
const sl_language *sl_language_for(const sl_exam *exam);
const char *sl_language_code(const sl_language *say);
/* The codes there are, "en, de", for a sentence. */
const char *sl_language_codes(void);

const char *sl_say(const sl_language *say, sl_phrase phrase);

/* The phrase with {0}, {1} ... filled in; `text` is returned. `value` ends with NULL. */
const char *sl_say_in(const sl_language *say, sl_phrase phrase, char *text, size_t room, const char *const *value);
#define SL_SAY(say, phrase, text, ...) sl_say_in(say, phrase, text, sizeof(text), (const char *const[]){__VA_ARGS__, NULL})

/* The phrase of a key made at run time ("finding.b_lines.name"), `otherwise` when there is none. */
const char *sl_say_key(const sl_language *say, const char *key, const char *otherwise);

/* What the reading states in English (a reason, a note, a unit), in this language where a file of words has it; clauses
 * joined by "; " one by one. Else as it is. */
const char *sl_say_stated(const sl_language *say, const char *english, char *text, size_t room);

/* A number with its decimals and the language's decimal point; a whole one. `text` is returned. */
const char *sl_say_number(const sl_language *say, double value, int decimals, char text[32]);
const char *sl_say_whole(int value, char text[32]);

#endif
