#include "agree/names.h"

#include <ctype.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

static uint64_t hash_of(const char *key)
{
    uint64_t h = UINT64_C(14695981039346656037); /* FNV-1a */
    for (; *key; key++)
        h = (h ^ (unsigned char)*key) * UINT64_C(1099511628211);
    return h;
}

static struct sl_name_slot *find(const sl_names *names, const char *key)
{
    size_t at = (size_t)(hash_of(key) & (uint64_t)(names->room - 1));
    while (names->slot[at].key && strcmp(names->slot[at].key, key))
        at = (at + 1) & (size_t)(names->room - 1);
    return &names->slot[at];
}

int sl_names_get(const sl_names *names, const char *key)
{
    if (!names->room)
        return -1;
    const struct sl_name_slot *slot = find(names, key);
    return slot->key ? slot->value : -1;
}

int sl_names_add(sl_names *names, const char *key, int value)
{
    if (2 * (names->count + 1) > names->room) {
        sl_names more = {names->arena, names->count, names->room ? 2 * names->room : 64, NULL};
        more.slot = SL_NEW(names->arena, more.room, struct sl_name_slot);
        if (!more.slot)
            return -1;
        for (int i = 0; i < names->room; i++)
            if (names->slot[i].key)
                *find(&more, names->slot[i].key) = names->slot[i];
        *names = more;
    }
    struct sl_name_slot *slot = find(names, key);
    if (!slot->key) {
        slot->key = sl_arena_text(names->arena, key);
        if (!slot->key)
            return -1;
        slot->value = value;
        names->count++;
    }
    return slot->value;
}

void sl_clip_key(const char *path, char *key, size_t room)
{
    const char *start = path;
    for (const char *at = path; *at; at++)
        if ((*at == '/' || *at == '\\') && at[1])
            start = at + 1;
    while (*start == ' ')
        start++;
    size_t length = strlen(start);
    while (length && (start[length - 1] == ' ' || start[length - 1] == '/'))
        length--;
    if (length >= room)
        length = room - 1;
    for (size_t i = 0; i < length; i++)
        key[i] = (char)(start[i] >= 'A' && start[i] <= 'Z' ? start[i] + 32 : start[i]);
    key[length] = 0;
}

bool sl_clip_stem(char *key)
{
    static const char *const extensions[] = {"mp4", "mov", "avi", "mpg", "mpeg", "m4v", "mkv", "webm", "wmv", "gif",
                                             "png", "jpg", "jpeg", "bmp", "tif", "tiff", "dcm", "dicom"};
    char *dot = strrchr(key, '.');
    for (size_t i = 0; dot && i < sizeof extensions / sizeof *extensions; i++)
        if (!strcmp(dot + 1, extensions[i])) {
            *dot = 0;
            return true;
        }
    return false;
}

static bool word_char(char c)
{
    return isalnum((unsigned char)c) || (unsigned char)c >= 0x80;
}

/* Length of a run of digits (or of letters and digits) at `at`. */
static size_t run(const char *at, bool digits_only)
{
    size_t n = 0;
    while (digits_only ? isdigit((unsigned char)at[n]) != 0 : word_char(at[n]))
        n++;
    return n;
}

static bool usual_person(const char *name, char *person, size_t room)
{
    static const char *const words[] = {"patient", "person", "subject", "participant", "volunteer", "case", "pat",
                                        "subj",    "pt",     "vol",     "sub"};
    for (size_t w = 0; w < sizeof words / sizeof *words; w++) {
        size_t length = strlen(words[w]);
        for (const char *at = name; *at; at++) {
            if ((at > name && word_char(at[-1])) || strncmp(at, words[w], length))
                continue;
            size_t gap = at[length] == '_' || at[length] == '-' || at[length] == ' ';
            size_t digits = run(at + length + gap, true);
            if (!digits || word_char(at[length + gap + digits]))
                continue;
            snprintf(person, room, "%.*s", (int)(length + gap + digits), at);
            return true;
        }
    }
    return false;
}

bool sl_person_in_name(const char *name, const char *pattern, char *person, size_t room)
{
    char key[512];
    sl_clip_key(name, key, sizeof key);
    sl_clip_stem(key);
    if (!pattern)
        return usual_person(key, person, room);
    char lower[256];
    snprintf(lower, sizeof lower, "%s", pattern);
    for (char *at = lower; *at; at++)
        *at = (char)tolower((unsigned char)*at);
    char *hole = strstr(lower, "<n>");
    size_t hole_length = hole ? 3 : 1;
    if (!hole)
        hole = strchr(lower, '*');
    if (!hole)
        return false;
    size_t before = (size_t)(hole - lower);
    const char *after = hole + hole_length;
    for (const char *at = key; *at; at++) {
        if (strncmp(at, lower, before))
            continue;
        size_t n = run(at + before, false);
        if (n && !strncmp(at + before + n, after, strlen(after))) {
            snprintf(person, room, "%.*s", (int)(before + n), at);
            return true;
        }
    }
    return false;
}

void sl_plain_word(const char *text, char *plain, size_t room)
{
    size_t out = 0;
    for (; *text && out + 1 < room; text++)
        if (word_char(*text))
            plain[out++] = (char)tolower((unsigned char)*text);
    plain[out] = 0;
}
