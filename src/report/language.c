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

/* The phrase that is this clause in English, among reasons, notes and units. */
static const char *same_clause(const sl_language *say, const char *english, size_t length)
{
    for (int i = 0; i < SL_PHRASES; i++) {
        const char *own = languages[0].text[i];
        bool kind = !strncmp(phrase_keys[i], "reason.", 7) || !strncmp(phrase_keys[i], "note.", 5) || !strncmp(phrase_keys[i], "unit.", 5);
        if (kind && strlen(own) == length && !strncmp(own, english, length))
            return say->text[i];
    }
    return NULL;
}

const char *sl_say_stated(const sl_language *say, const char *english, char *text, size_t room)
{
    const char *whole = say == &languages[0] ? english : same_clause(say, english, strlen(english));
    if (whole) {
        snprintf(text, room, "%s", whole);
        return text;
    }
    size_t used = 0;
    text[0] = 0;
    for (const char *at = english; *at && used + 1 < room;) {
        const char *end = strstr(at, "; ");
        size_t length = end ? (size_t)(end - at) : strlen(at);
        const char *clause = same_clause(say, at, length);
        int put = clause ? snprintf(text + used, room - used, "%s%s", used ? "; " : "", clause)
                         : snprintf(text + used, room - used, "%s%.*s", used ? "; " : "", (int)length, at);
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
