#include "dicomweb/match.h"

#include <ctype.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

typedef struct piece {
    const char *at;
    size_t length;
} piece;

static bool is_same(char a, char b, bool fold)
{
    return a == b || (fold && tolower((unsigned char)a) == tolower((unsigned char)b));
}

static const char *next_letter(const char *at, const char *end)
{
    at++;
    while (at < end && ((unsigned char)*at & 0xc0) == 0x80)
        at++;
    return at;
}

/* One star is remembered: what it took is made longer where the rest does not fit. */
static bool is_like(piece key, piece value, bool fold)
{
    const char *k = key.at, *k_end = k + key.length, *v = value.at, *v_end = v + value.length, *star = NULL, *from = NULL;
    while (v < v_end) {
        if (k < k_end && *k == '*') {
            star = ++k;
            from = v;
        } else if (k < k_end && *k == '?') {
            k++;
            v = next_letter(v, v_end);
        } else if (k < k_end && is_same(*k, *v, fold)) {
            k++;
            v++;
        } else if (star) {
            k = star;
            v = from = next_letter(from, v_end);
        } else
            return false;
    }
    while (k < k_end && *k == '*')
        k++;
    return k == k_end;
}

static piece bare(piece name)
{
    while (name.length && (name.at[name.length - 1] == '^' || name.at[name.length - 1] == ' '))
        name.length--;
    return name;
}

static bool is_name(piece key, piece value)
{
    for (const char *at = value.at, *end = at + value.length; at <= end;) {
        const char *group = memchr(at, '=', (size_t)(end - at));
        size_t length = (size_t)((group ? group : end) - at);
        if (is_like(bare(key), bare((piece){at, length}), true))
            return true;
        at += length + 1;
    }
    return is_like(bare(key), bare(value), true);
}

static bool is_listed(piece key, piece value)
{
    for (const char *at = key.at, *end = at + key.length; at < end;) {
        size_t length = 0;
        while (at + length < end && at[length] != ',' && at[length] != '\\')
            length++;
        if (length == value.length && !memcmp(at, value.at, length))
            return true;
        at += length + 1;
    }
    return false;
}

/* Digits of a date or time, filled up to `room` - 1 of them. */
static void digits(piece text, char fill, char *to, size_t room)
{
    size_t used = 0;
    for (size_t i = 0; i < text.length && used < room - 1; i++)
        if (isdigit((unsigned char)text.at[i]))
            to[used++] = text.at[i];
    while (used < room - 1)
        to[used++] = fill;
    to[used] = 0;
}

static bool is_within(piece key, piece value, size_t room)
{
    char first[16], last[16], have[16];
    const char *dash = memchr(key.at, '-', key.length);
    piece from = {key.at, dash ? (size_t)(dash - key.at) : key.length};
    piece to = dash ? (piece){dash + 1, key.length - from.length - 1} : from;
    if (!value.length)
        return false;
    digits(value, '0', have, room);
    digits(from, '0', first, room);
    digits(to, '9', last, room);
    return strcmp(first, have) <= 0 && strcmp(have, last) <= 0;
}

static bool is_equal(piece key, piece value)
{
    return key.length == value.length && !memcmp(key.at, value.at, key.length);
}

/* Numbers are written in more than one way: "1", "01", "+1". */
static bool is_number(piece key, piece value)
{
    char text[2][32], *end[2];
    double number[2];
    const piece *each[2] = {&key, &value};
    for (int i = 0; i < 2; i++) {
        if (!each[i]->length || each[i]->length >= sizeof text[i])
            return false;
        memcpy(text[i], each[i]->at, each[i]->length);
        text[i][each[i]->length] = 0;
        number[i] = strtod(text[i], &end[i]);
        if (*end[i])
            return is_equal(key, value);
    }
    return number[0] == number[1];
}

bool sl_match(sl_match_kind kind, const char *key, const char *value)
{
    enum { DATE = 9, TIME = 13 }; /* YYYYMMDD; HHMMSSFFFFFF */
    piece asked = {key, strlen(key)};
    if (!asked.length)
        return true;
    for (const char *at = value;; at++) {
        piece one = {at, strcspn(at, "\\")};
        bool found = kind == SL_MATCH_TEXT     ? is_like(asked, one, false)
                     : kind == SL_MATCH_NAME   ? is_name(asked, one)
                     : kind == SL_MATCH_UID    ? is_listed(asked, one)
                     : kind == SL_MATCH_DATE   ? is_within(asked, one, DATE)
                     : kind == SL_MATCH_TIME   ? is_within(asked, one, TIME)
                     : kind == SL_MATCH_NUMBER ? is_number(asked, one)
                                               : is_equal(asked, one);
        if (found)
            return true;
        at += one.length;
        if (!*at)
            return false;
    }
}
