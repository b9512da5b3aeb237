/* Zones in the words of file names and tables. A name is cut into words at anything that is no letter or digit and
 * where a small letter meets a capital; each word may give a side, a height, a column or a number. A zone comes out
 * only when what is said fits together; two sides or two columns in one name are no answer. */
#include "exam/zones.h"

#include <ctype.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

typedef enum { NO_HEIGHT, UPPER, MIDDLE, LOWER } height;
typedef enum { NO_COLUMN, ANTERIOR, LATERAL, POSTERIOR, POSTEROLATERAL, COSTOPHRENIC } column;

typedef struct said {
    sl_side side;
    height height;
    column column;
    int number;
    bool muddled; /* contradicts itself */
} said;

typedef struct word {
    const char *text;
    sl_side side;
    height height;
    column column;
} word;

/* English and a few neighbours' words; abbreviations of three letters are side, height, column. */
static const word words[] = {
    {"right", SL_SIDE_RIGHT, 0, 0}, {"rt", SL_SIDE_RIGHT, 0, 0}, {"r", SL_SIDE_RIGHT, 0, 0},
    {"rechts", SL_SIDE_RIGHT, 0, 0}, {"droite", SL_SIDE_RIGHT, 0, 0}, {"derecha", SL_SIDE_RIGHT, 0, 0},
    {"left", SL_SIDE_LEFT, 0, 0}, {"lt", SL_SIDE_LEFT, 0, 0}, {"l", SL_SIDE_LEFT, 0, 0},
    {"links", SL_SIDE_LEFT, 0, 0}, {"gauche", SL_SIDE_LEFT, 0, 0}, {"izquierda", SL_SIDE_LEFT, 0, 0},
    {"upper", 0, UPPER, 0}, {"up", 0, UPPER, 0}, {"superior", 0, UPPER, 0}, {"sup", 0, UPPER, 0},
    {"apical", 0, UPPER, 0}, {"apex", 0, UPPER, 0}, {"top", 0, UPPER, 0},
    {"middle", 0, MIDDLE, 0}, {"mid", 0, MIDDLE, 0},
    {"lower", 0, LOWER, 0}, {"low", 0, LOWER, 0}, {"inferior", 0, LOWER, 0}, {"inf", 0, LOWER, 0},
    {"basal", 0, LOWER, 0}, {"base", 0, LOWER, 0}, {"basilar", 0, LOWER, 0}, {"bottom", 0, LOWER, 0},
    {"anterior", 0, 0, ANTERIOR}, {"ant", 0, 0, ANTERIOR}, {"antero", 0, 0, ANTERIOR}, {"front", 0, 0, ANTERIOR},
    {"lateral", 0, 0, LATERAL}, {"lat", 0, 0, LATERAL}, {"axillary", 0, 0, LATERAL},
    {"posterior", 0, 0, POSTERIOR}, {"post", 0, 0, POSTERIOR}, {"postero", 0, 0, POSTERIOR},
    {"dorsal", 0, 0, POSTERIOR}, {"back", 0, 0, POSTERIOR},
    {"posterolateral", 0, 0, POSTEROLATERAL}, {"plaps", 0, 0, POSTEROLATERAL}, {"postlat", 0, 0, POSTEROLATERAL},
    {"costophrenic", 0, 0, COSTOPHRENIC},
    {"rua", SL_SIDE_RIGHT, UPPER, ANTERIOR}, {"rla", SL_SIDE_RIGHT, LOWER, ANTERIOR},
    {"rul", SL_SIDE_RIGHT, UPPER, LATERAL}, {"rll", SL_SIDE_RIGHT, LOWER, LATERAL},
    {"rbl", SL_SIDE_RIGHT, LOWER, LATERAL}, {"rup", SL_SIDE_RIGHT, UPPER, POSTERIOR},
    {"rmp", SL_SIDE_RIGHT, MIDDLE, POSTERIOR}, {"rlp", SL_SIDE_RIGHT, LOWER, POSTERIOR},
    {"rpl", SL_SIDE_RIGHT, 0, POSTEROLATERAL}, {"rplaps", SL_SIDE_RIGHT, 0, POSTEROLATERAL},
    {"lua", SL_SIDE_LEFT, UPPER, ANTERIOR}, {"lla", SL_SIDE_LEFT, LOWER, ANTERIOR},
    {"lul", SL_SIDE_LEFT, UPPER, LATERAL}, {"lll", SL_SIDE_LEFT, LOWER, LATERAL},
    {"lbl", SL_SIDE_LEFT, LOWER, LATERAL}, {"lup", SL_SIDE_LEFT, UPPER, POSTERIOR},
    {"lmp", SL_SIDE_LEFT, MIDDLE, POSTERIOR}, {"llp", SL_SIDE_LEFT, LOWER, POSTERIOR},
    {"lpl", SL_SIDE_LEFT, 0, POSTEROLATERAL}, {"lplaps", SL_SIDE_LEFT, 0, POSTEROLATERAL},
};

static void add(said *all, sl_side side, height high, column col)
{
    if (side) {
        all->muddled |= all->side && all->side != side;
        all->side = side;
    }
    if (high) {
        all->muddled |= all->height && all->height != high;
        all->height = high;
    }
    if (col) {
        bool makes_pair = (all->column == POSTERIOR && col == LATERAL) || (all->column == LATERAL && col == POSTERIOR) ||
                          (all->column == POSTEROLATERAL && (col == LATERAL || col == POSTERIOR));
        all->muddled |= all->column && all->column != col && !makes_pair;
        all->column = makes_pair ? POSTEROLATERAL : col;
    }
}

static void add_number(said *all, int number)
{
    all->muddled |= all->number && all->number != number;
    all->number = number;
}

/* "r1", "l6", "2r", "r03": side and number in one word. */
static bool side_and_number(const char *token, said *all)
{
    sl_side side = token[0] == 'r' ? SL_SIDE_RIGHT : token[0] == 'l' ? SL_SIDE_LEFT : SL_SIDE_NONE;
    const char *digits = side ? token + 1 : token;
    if (side && *digits == '0')
        digits++;
    if (!isdigit((unsigned char)digits[0]) || digits[0] == '0')
        return false;
    if (!side && digits[1] && !digits[2]) /* "2r" */
        side = digits[1] == 'r' ? SL_SIDE_RIGHT : digits[1] == 'l' ? SL_SIDE_LEFT : SL_SIDE_NONE;
    else if (digits[1])
        return false;
    if (!side)
        return false;
    add(all, side, NO_HEIGHT, NO_COLUMN);
    add_number(all, digits[0] - '0');
    return true;
}

static const sl_zone *conclude(const said *all, const sl_protocol *scheme)
{
    if (all->muddled || !all->side)
        return NULL;
    if (!all->column && !all->height && all->number)
        return all->number <= scheme->numbers ? sl_zone_of(all->side, scheme->place[all->number - 1]) : NULL;
    const char *place = NULL;
    switch (all->column) {
    case NO_COLUMN:
        break;
    case ANTERIOR:
        place = all->height == UPPER ? "upper anterior" : all->height == LOWER ? "lower anterior" : "anterior";
        break;
    case LATERAL:
        place = all->height == UPPER ? "upper lateral" : all->height == LOWER ? "basal lateral" : "lateral";
        break;
    case POSTERIOR:
        place = all->height == UPPER    ? "upper posterior"
                : all->height == LOWER  ? "lower posterior"
                : all->height == MIDDLE ? "middle posterior"
                                        : "posterior";
        break;
    case POSTEROLATERAL:
        place = "posterolateral";
        break;
    case COSTOPHRENIC:
        place = "basal lateral";
        break;
    }
    if (all->height == MIDDLE && all->column != POSTERIOR)
        return NULL; /* no scheme here knows a middle height elsewhere */
    return place ? sl_zone_of(all->side, place) : NULL;
}

/* Next word, in small letters, into token; returns where to go on, NULL at the end. */
static const char *next_word(const char *at, char *token, size_t room)
{
    while (*at && !isalnum((unsigned char)*at))
        at++;
    if (!*at)
        return NULL;
    size_t length = 0;
    const char *start = at;
    for (; isalnum((unsigned char)*at); at++) {
        if (at > start && islower((unsigned char)at[-1]) && isupper((unsigned char)*at))
            break; /* RightUpper */
        if (length + 1 < room)
            token[length++] = (char)tolower((unsigned char)*at);
    }
    token[length] = 0;
    return at;
}

const sl_zone *sl_zone_in_words(const char *text, const sl_protocol *scheme)
{
    said all = {0};
    char token[32];
    bool side_before = false, counting_word = false; /* the word before was a side; was "zone", "point", "area" */
    if (!scheme)
        scheme = sl_protocol_by_key("12-zones");
    for (const char *at = text; at && (at = next_word(at, token, sizeof token));) {
        bool is_number = strlen(token) == 1 && token[0] >= '1' && token[0] <= '9';
        if (is_number && (side_before || counting_word))
            add_number(&all, token[0] - '0');
        counting_word = !strcmp(token, "zone") || !strcmp(token, "point") || !strcmp(token, "area");
        side_before = false;
        bool found = false;
        for (size_t i = 0; i < sizeof words / sizeof *words && !found; i++) {
            if (strcmp(words[i].text, token))
                continue;
            add(&all, words[i].side, words[i].height, words[i].column);
            side_before = words[i].side && !words[i].column;
            found = true;
        }
        if (!found)
            side_and_number(token, &all);
    }
    return conclude(&all, scheme);
}

void sl_zone_words(const char *text, char *kept, size_t room)
{
    char token[32];
    size_t used = 0;
    kept[0] = 0;
    for (const char *at = text; (at = next_word(at, token, sizeof token));) {
        said ignored = {0};
        bool known = (strlen(token) == 1 && token[0] >= '1' && token[0] <= '9') || !strcmp(token, "zone") || !strcmp(token, "point") ||
                     !strcmp(token, "area") || side_and_number(token, &ignored);
        for (size_t i = 0; i < sizeof words / sizeof *words && !known; i++)
            known = !strcmp(words[i].text, token);
        size_t length = strlen(token);
        if (!known || used + length + 2 > room)
            continue;
        if (used)
            kept[used++] = ' ';
        memcpy(kept + used, token, length + 1);
        used += length;
    }
}
