#include "serve/says.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "exam/zones.h"
#include "reading/borders.h"
#include "reading/reading.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_BYTES = 16 << 20, MOST_TEXT = 4000, MOST_ENTRIES_AT_ONCE = 200 };

struct sl_says {
    char *out, *path;
    json_t *entries; /* array, entry i has n = i + 1 */
    long long size;  /* of the file as it was read */
    int damaged;
    bool cut; /* the last line has no end: the next entry begins a line of its own */
};

static void take_line(sl_says *says, const char *line, size_t length)
{
    json_t *entry = json_loadb(line, length, 0, NULL);
    if (!json_is_object(entry)) {
        says->damaged += length > 0;
        json_decref(entry);
        return;
    }
    json_object_set_new(entry, "n", json_integer((json_int_t)json_array_size(says->entries) + 1));
    json_array_append_new(says->entries, entry);
}

/* Reads the journal anew when the file grew by another hand. */
static sl_status refresh(sl_says *says, sl_error *error)
{
    struct stat facts;
    if (stat(says->path, &facts)) {
        if (says->size) /* the folder was moved or emptied: what is in memory stands */
            return sl_fail(error, SL_IO, "%s is gone. Put the folder back where it was.", says->path);
        return SL_OK;
    }
    if (facts.st_size == says->size)
        return SL_OK;
    sl_arena arena = {0};
    char *bytes;
    size_t length;
    sl_status status = sl_file_read(says->path, MOST_BYTES, &arena, &bytes, &length, error);
    if (status == SL_OK) {
        json_array_clear(says->entries);
        says->damaged = 0;
        for (char *at = bytes, *end = bytes + length; at < end;) {
            char *stop = memchr(at, '\n', (size_t)(end - at));
            take_line(says, at, (size_t)((stop ? stop : end) - at));
            at = stop ? stop + 1 : end;
        }
        says->size = (long long)length;
        says->cut = length && bytes[length - 1] != '\n';
    }
    sl_arena_free(&arena);
    return status;
}

sl_status sl_says_open(const char *out, sl_says **says, sl_error *error)
{
    sl_says *self = calloc(1, sizeof *self);
    if (self) {
        self->entries = json_array();
        self->out = strdup(out);
        if (asprintf(&self->path, "%s/says.jsonl", out) < 0)
            self->path = NULL;
    }
    if (!self || !self->entries || !self->out || !self->path) {
        sl_says_close(&self);
        return sl_fail(error, SL_MEMORY, "Memory ran out while %s was opened.", out);
    }
    sl_status status = refresh(self, error);
    if (status != SL_OK)
        sl_says_close(&self);
    *says = self;
    return status;
}

void sl_says_close(sl_says **says)
{
    if (!*says)
        return;
    json_decref((*says)->entries);
    free((*says)->out);
    free((*says)->path);
    free(*says);
    *says = NULL;
}

static bool short_text(const json_t *value, size_t most)
{
    return json_is_string(value) && json_string_length(value) <= most;
}

static sl_status check_find(const json_t *entry, sl_error *error)
{
    const sl_finding_info *info = sl_finding_info_by_key(sl_json_text(entry, "code"));
    const json_t *say = json_object_get(entry, "say");
    if (!info)
        return sl_fail(error, SL_USAGE, "There is no finding of that name.");
    if (json_is_null(say))
        return SL_OK;
    if (!json_is_object(say))
        return sl_fail(error, SL_USAGE, "%s: the statement is missing.", info->name);
    const char *answer = sl_json_text(say, "answer");
    if (*answer && strcmp(answer, "present") && strcmp(answer, "absent") && strcmp(answer, "uncertain"))
        return sl_fail(error, SL_USAGE, "%s: the answer is present, absent or uncertain.", info->name);
    static const char *const numbers[] = {"value", "low", "high"};
    for (int i = 0; i < 3; i++) {
        const json_t *field = json_object_get(say, numbers[i]);
        double value = json_number_value(field);
        if (field && !json_is_null(field) && (!json_is_number(field) || !(value >= info->low && value <= info->high)))
            return sl_fail(error, SL_USAGE, "%s must lie between %g and %g.", info->name, info->low, info->high);
    }
    const json_t *note = json_object_get(say, "note");
    if (note && !short_text(note, MOST_TEXT))
        return sl_fail(error, SL_LIMIT, "%s: the note is too long.", info->name);
    return SL_OK;
}

static sl_status check_borders(const json_t *entry, sl_error *error)
{
    sl_border_kind kind;
    sl_border_hand hand;
    if (!sl_border_by_key(sl_json_text(entry, "code"), &kind))
        return sl_fail(error, SL_USAGE, "Borders are those of the dome or of the muscle: name one of these.");
    const json_t *say = json_object_get(entry, "say");
    return json_is_null(say) ? SL_OK : sl_border_hand_from_json(say, kind, &hand, error);
}

static sl_status check_entry(const sl_says *says, const json_t *entry, sl_error *error)
{
    const char *kind = sl_json_text(entry, "kind");
    const json_t *say = json_object_get(entry, "say");
    if (!json_is_object(entry) || !short_text(json_object_get(entry, "uid"), 64) || !*sl_json_text(entry, "uid") ||
        !short_text(json_object_get(entry, "tab"), 64) || !json_is_integer(json_object_get(entry, "seen")))
        return sl_fail(error, SL_USAGE, "An entry lacks its uid, tab or seen.");
    bool about_clip = !strcmp(kind, "find") || !strcmp(kind, "zone") || !strcmp(kind, "borders");
    if (about_clip && (!short_text(json_object_get(entry, "clip"), 1024) || !*sl_json_text(entry, "clip")))
        return sl_fail(error, SL_USAGE, "An entry does not say which clip it is about.");
    if (!strcmp(kind, "find"))
        return check_find(entry, error);
    if (!strcmp(kind, "borders"))
        return check_borders(entry, error);
    if (!strcmp(kind, "zone"))
        return short_text(say, 64) && (!*json_string_value(say) || sl_zone_by_key(json_string_value(say)))
                   ? SL_OK
                   : sl_fail(error, SL_USAGE, "There is no zone of that name.");
    if (!strcmp(kind, "conclude"))
        return short_text(say, MOST_TEXT) ? SL_OK : sl_fail(error, SL_LIMIT, "The conclusion is too long: at most %d letters.", MOST_TEXT);
    if (!strcmp(kind, "sign"))
        return json_is_null(say) || short_text(json_object_get(say, "name"), 120)
                   ? SL_OK
                   : sl_fail(error, SL_USAGE, "A signature needs a name of at most 120 letters.");
    if (!strcmp(kind, "undo") || !strcmp(kind, "redo")) {
        json_int_t of = json_integer_value(json_object_get(entry, "of"));
        return of >= 1 && of <= (json_int_t)json_array_size(says->entries)
                   ? SL_OK
                   : sl_fail(error, SL_USAGE, "There is no entry of that number to take back.");
    }
    return sl_fail(error, SL_USAGE, "Entries of that kind are not known.");
}

static bool is_kept(const sl_says *says, const char *uid)
{
    for (size_t i = json_array_size(says->entries); i-- > 0;)
        if (!strcmp(sl_json_text(json_array_get(says->entries, i), "uid"), uid))
            return true;
    return false;
}

/* Only the fields that are known, so that a journal holds nothing else. */
static json_t *clean(const json_t *entry, long long n)
{
    static const char *const keys[] = {"uid", "tab", "seen", "kind", "clip", "code", "say", "of", "by"};
    char at[32];
    sl_now(at, sizeof at);
    json_t *made = json_pack("{s:I,s:s}", "n", (json_int_t)n, "at", at);
    for (size_t i = 0; made && i < sizeof keys / sizeof *keys; i++) {
        json_t *value = json_object_get(entry, keys[i]);
        if (value)
            json_object_set(made, keys[i], value);
    }
    return made;
}

static sl_status write_all(int file, const char *bytes, size_t length)
{
    while (length) {
        ssize_t wrote = write(file, bytes, length);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0)
            return SL_IO;
        bytes += wrote;
        length -= (size_t)wrote;
    }
    return SL_OK;
}

static sl_status append(sl_says *says, int file, const json_t *entries, sl_error *error)
{
    sl_status status = refresh(says, error);
    size_t before = json_array_size(says->entries);
    struct stat facts = {0};
    if (status == SL_OK && (fstat(file, &facts) || says->size > MOST_BYTES - 512 * 1024))
        status = sl_fail(error, SL_LIMIT, "%s has grown too large to add to.", says->path);
    for (size_t i = 0; i < json_array_size(entries) && status == SL_OK; i++) {
        const json_t *entry = json_array_get(entries, i);
        status = check_entry(says, entry, error);
        if (status == SL_OK && !is_kept(says, sl_json_text(entry, "uid")))
            json_array_append_new(says->entries, clean(entry, (long long)json_array_size(says->entries) + 1));
    }
    if (status == SL_OK && says->cut && write_all(file, "\n", 1) != SL_OK)
        status = sl_fail(error, SL_IO, "%s could not be written: %s. Make room and try again.", says->path, strerror(errno));
    for (size_t i = before; i < json_array_size(says->entries) && status == SL_OK; i++) {
        char *line = json_dumps(json_array_get(says->entries, i), JSON_COMPACT | JSON_REAL_PRECISION(10));
        size_t length = line ? strlen(line) : 0;
        if (!line)
            status = sl_fail(error, SL_MEMORY, "Memory ran out before the entry was kept.");
        else {
            line[length] = '\n'; /* in place of the closing zero */
            if (write_all(file, line, length + 1) != SL_OK)
                status = sl_fail(error, SL_IO, "%s could not be written: %s. Make room and try again.", says->path, strerror(errno));
        }
        free(line);
    }
    if (status == SL_OK && fsync(file))
        status = sl_fail(error, SL_IO, "%s could not be written: %s. Make room and try again.", says->path, strerror(errno));
    if (status != SL_OK) { /* all or none */
        while (json_array_size(says->entries) > before)
            json_array_remove(says->entries, json_array_size(says->entries) - 1);
        if (ftruncate(file, facts.st_size))
            says->size = -1;
        return status;
    }
    says->cut = false;
    if (!fstat(file, &facts))
        says->size = facts.st_size;
    return SL_OK;
}

sl_status sl_says_add(sl_says *says, const json_t *entries, sl_error *error)
{
    if (!json_is_array(entries) || json_array_size(entries) > MOST_ENTRIES_AT_ONCE)
        return sl_fail(error, SL_USAGE, "Entries come as a list of at most %d.", MOST_ENTRIES_AT_ONCE);
    sl_status status = sl_folder_make(says->out, error);
    if (status != SL_OK)
        return status;
    int file = open(says->path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (file < 0)
        return sl_fail(error, SL_IO, "%s could not be opened: %s.", says->path, strerror(errno));
    flock(file, LOCK_EX); /* another server on the same folder */
    status = append(says, file, entries, error);
    close(file);
    return status;
}

json_t *sl_says_all(sl_says *says)
{
    refresh(says, NULL);
    return json_pack("{s:I,s:i,s:O}", "last", (json_int_t)json_array_size(says->entries), "damaged", says->damaged, "entries",
                     says->entries);
}

static bool same_question(const json_t *a, const json_t *b)
{
    return !strcmp(sl_json_text(a, "kind"), sl_json_text(b, "kind")) && !strcmp(sl_json_text(a, "clip"), sl_json_text(b, "clip")) &&
           !strcmp(sl_json_text(a, "code"), sl_json_text(b, "code"));
}

json_t *sl_says_standing(sl_says *says)
{
    refresh(says, NULL);
    size_t count = json_array_size(says->entries);
    bool *undone = calloc(count + 1, sizeof *undone);
    json_t *standing = json_array();
    for (size_t i = 0; undone && i < count; i++) {
        const json_t *entry = json_array_get(says->entries, i);
        const char *kind = sl_json_text(entry, "kind");
        json_int_t of = json_integer_value(json_object_get(entry, "of"));
        if (of >= 1 && (size_t)of <= count && (!strcmp(kind, "undo") || !strcmp(kind, "redo")))
            undone[of - 1] = !strcmp(kind, "undo");
    }
    for (size_t i = 0; undone && i < count; i++) {
        const json_t *entry = json_array_get(says->entries, i);
        const char *kind = sl_json_text(entry, "kind");
        if (undone[i] || !strcmp(kind, "undo") || !strcmp(kind, "redo"))
            continue;
        bool replaced = false;
        for (size_t k = i + 1; k < count && !replaced; k++) {
            const json_t *later = json_array_get(says->entries, k);
            bool knew = json_integer_value(json_object_get(later, "seen")) > (json_int_t)i ||
                        !strcmp(sl_json_text(later, "tab"), sl_json_text(entry, "tab"));
            replaced = !undone[k] && knew && same_question(entry, later);
        }
        if (!replaced && !json_is_null(json_object_get(entry, "say")))
            json_array_append(standing, json_array_get(says->entries, i));
    }
    free(undone);
    return standing;
}
