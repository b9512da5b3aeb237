#include "report/language.h"

#include <stdio.h>
#include <string.h>

struct sl_language {
    const char *code;
    const char *text[SL_PHRASES];
};

#include "report/language_words.inc"

enum { LANGUAGES = sizeof languages / sizeof *languages };

const sl_language *sl_language_of(const char *code)
{
    if (!code || !*code)
        return &languages[0];
    for (int i = 0; i < LANGUAGES; i++)
        if (!strcmp(languages[i].code, code))
            return &languages[i];
    return NULL;
}

const sl_language *sl_language_for(const sl_exam *exam)
{
    const sl_language *say = sl_language_of(exam->language);
    return say ? say : &languages[0];
}

const char *sl_language_code(const sl_language *say)
{
    return say->code;
}

const char *sl_language_codes(void)
{
    return SL_LANGUAGE_CODES;
}

const char *sl_say(const sl_language *say, sl_phrase phrase)
{
    return say->text[phrase];
}

const char *sl_say_in(const sl_language *say, sl_phrase phrase, char *text, size_t room, const char *const *value)
{
    size_t used = 0, count = 0;
    while (value[count])
        count++;
    for (const char *at = say->text[phrase]; *at && used + 1 < room;) {
        if (at[0] == '{' && at[1] >= '0' && at[1] <= '9' && at[2] == '}') {
            size_t which = (size_t)(at[1] - '0');
            int put = which < count ? snprintf(text + used, room - used, "%s", value[which]) : 0;
            used += put > 0 ? (size_t)put : 0;
            used = used < room ? used : room - 1;
            at += 3;
        } else
            text[used++] = *at++;
    }
    text[used] = 0;
    return text;
}

const char *sl_say_key(const sl_language *say, const char *key, const char *otherwise)
{
    int low = 0, high = SL_PHRASES - 1; /* sorted by the script, by bytes */
    while (low <= high) {
        int middle = (low + high) / 2, order = strcmp(key, phrase_keys[middle]);
        if (!order)
            return say->text[middle];
        if (order < 0)
            high = middle - 1;
        else
            low = middle + 1;
    }
    return otherwise;
}

enum { MOST_VALUES = 4, VALUE_ROOM = 40 };

/* Whether the clause is the pattern with something in its places {0}, {1} ..., in this order; takes what stands there. */
static bool fits(const char *pattern, const char *clause, size_t length, char value[MOST_VALUES][VALUE_ROOM])
{
    const char *end = clause + length;
    for (int taken = 0; *pattern;) {
        if (pattern[0] != '{') {
            if (clause == end || *pattern++ != *clause++)
                return false;
            continue;
        }
        pattern += 3;
        const char *from = clause;
        while (clause < end && *clause != *pattern) /* up to the letter that follows, or to the end */
            clause++;
        if (clause == from || taken == MOST_VALUES || clause - from >= VALUE_ROOM)
            return false;
        memcpy(value[taken], from, (size_t)(clause - from));
        value[taken++][clause - from] = 0;
    }
    return clause == end;
}

/* A clause that the reading states in English, in this language: among reasons, notes and units. False: it has none. */
static bool say_clause(const sl_language *say, const char *english, size_t length, char *text, size_t room)
{
    char value[MOST_VALUES][VALUE_ROOM];
    for (int i = 0; i < SL_PHRASES; i++) {
        bool kind = !strncmp(phrase_keys[i], "reason.", 7) || !strncmp(phrase_keys[i], "note.", 5) || !strncmp(phrase_keys[i], "unit.", 5);
        memset(value, 0, sizeof value);
        if (!kind || !fits(languages[0].text[i], english, length, value))
            continue;
        for (int k = 0; k < MOST_VALUES; k++) {
            char key[VALUE_ROOM + 8];
            snprintf(key, sizeof key, "value.%.*s", VALUE_ROOM - 1, value[k]);
            const char *word = sl_say_key(say, key, NULL);
            if (word) /* a word with a translation of its own */
                snprintf(value[k], VALUE_ROOM, "%s", word);
            char *point = strspn(value[k], "0123456789.-") == strlen(value[k]) ? strchr(value[k], '.') : NULL;
            if (point) /* of a number, not of a sentence */
                *point = say->text[SL_P_NUMBER_POINT][0];
        }
        sl_say_in(say, (sl_phrase)i, text, room, (const char *const[]){value[0], value[1], value[2], value[3], NULL});
        return true;
    }
    return false;
}

const char *sl_say_stated(const sl_language *say, const char *english, char *text, size_t room)
{
    if (say == &languages[0])
        snprintf(text, room, "%s", english);
    if (say == &languages[0] || say_clause(say, english, strlen(english), text, room))
        return text;
    size_t used = 0;
    text[0] = 0;
    for (const char *at = english; *at && used + 1 < room;) {
        char clause[600];
        const char *end = strstr(at, "; ");
        size_t length = end ? (size_t)(end - at) : strlen(at);
        if (!say_clause(say, at, length, clause, sizeof clause))
            snprintf(clause, sizeof clause, "%.*s", (int)length, at);
        int put = snprintf(text + used, room - used, "%s%s", used ? "; " : "", clause);
        used += put > 0 ? (size_t)put : 0;
        at += length + (end ? 2 : 0);
    }
    return text;
}

const char *sl_say_number(const sl_language *say, double value, int decimals, char text[32])
{
    snprintf(text, 32, "%.*f", decimals, value == 0 ? 0.0 : value);
    if (text[0] == '-' && strspn(text, "-0.") == strlen(text)) /* no minus before a zero */
        memmove(text, text + 1, strlen(text));
    char *point = strchr(text, '.');
    if (point)
        *point = say->text[SL_P_NUMBER_POINT][0];
    return text;
}

const char *sl_say_whole(int value, char text[32])
{
    snprintf(text, 32, "%d", value);
    return text;
}
