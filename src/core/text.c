#include "core/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static bool make_room(sl_text *text, size_t more)
{
    if (text->failed)
        return false;
    if (text->length + more + 1 <= text->room)
        return true;
    size_t room = (text->length + more + 1) * 3 / 2 + 64;
    char *bytes = realloc(text->bytes, room);
    if (!bytes) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->room = room;
    return true;
}

void sl_text_add_bytes(sl_text *text, const char *piece, size_t length)
{
    if (!make_room(text, length))
        return;
    if (length) /* an empty piece may be NULL */
        memcpy(text->bytes + text->length, piece, length);
    text->length += length;
    text->bytes[text->length] = 0;
}

void sl_text_add(sl_text *text, const char *piece)
{
    sl_text_add_bytes(text, piece, strlen(piece));
}

void sl_text_printf(sl_text *text, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0 || !make_room(text, (size_t)length))
        return;
    va_start(args, format);
    vsnprintf(text->bytes + text->length, (size_t)length + 1, format, args);
    va_end(args);
    text->length += (size_t)length;
}

void sl_text_free(sl_text *text)
{
    free(text->bytes);
    *text = (sl_text){0};
}

void sl_csv_add(sl_text *text, const char *field, bool first)
{
    if (!first)
        sl_text_add_bytes(text, ",", 1);
    if (!strpbrk(field, ",\"\r\n") && field[0] != ' ' && (!*field || field[strlen(field) - 1] != ' ')) {
        sl_text_add(text, field);
        return;
    }
    sl_text_add_bytes(text, "\"", 1);
    for (const char *at = field; *at; at++) {
        if (*at == '"')
            sl_text_add_bytes(text, "\"", 1);
        sl_text_add_bytes(text, at, 1);
    }
    sl_text_add_bytes(text, "\"", 1);
}

static char pick_separator(const char *bytes, size_t length)
{
    bool semicolon = false, tab = false;
    for (size_t i = 0; i < length && bytes[i] != '\n'; i++) {
        if (bytes[i] == ',')
            return ',';
        semicolon |= bytes[i] == ';';
        tab |= bytes[i] == '\t';
    }
    return semicolon ? ';' : tab ? '\t' : ',';
}

sl_status sl_csv_parse(const char *bytes, size_t length, const char *name, sl_arena *arena, sl_csv *csv, sl_error *error)
{
    if (length >= 3 && !memcmp(bytes, "\xef\xbb\xbf", 3)) {
        bytes += 3;
        length -= 3;
    }
    if (memchr(bytes, 0, length))
        return sl_fail(error, SL_FORMAT, "%s is not a text table: it holds zero bytes. Save it as CSV in UTF-8.", name);
    const char separator = pick_separator(bytes, length);
    size_t fields = 1, rows = 1; /* upper bounds, to take the memory once */
    for (size_t i = 0; i < length; i++) {
        fields += bytes[i] == separator || bytes[i] == '\n';
        rows += bytes[i] == '\n';
    }
    char **all = SL_NEW(arena, fields + rows, char *);
    char *copy = SL_NEW(arena, length + fields + 1, char);
    csv->rows = 0;
    csv->fields = SL_NEW(arena, rows, int);
    csv->field = SL_NEW(arena, rows, char **);
    if (!all || !copy || !csv->fields || !csv->field)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", name);
    size_t at = 0, out = 0, used = 0;
    while (at < length) {
        char **row = all + used;
        int count = 0;
        bool row_ends = false;
        while (!row_ends) {
            char *start = copy + out;
            bool quoted = at < length && bytes[at] == '"';
            at += quoted;
            for (;; at++) {
                if (at >= length) {
                    if (quoted)
                        return sl_fail(error, SL_FORMAT, "%s, row %d: a quotation mark is opened and never closed.", name,
                                       csv->rows + 1);
                    row_ends = true;
                    break;
                }
                char c = bytes[at];
                if (quoted && c == '"') {
                    if (at + 1 < length && bytes[at + 1] == '"')
                        at++;
                    else {
                        quoted = false;
                        continue;
                    }
                } else if (!quoted && c == separator) {
                    at++;
                    break;
                } else if (!quoted && c == '\n') {
                    at++;
                    row_ends = true;
                    break;
                } else if (!quoted && c == '\r')
                    continue;
                copy[out++] = c;
            }
            copy[out++] = 0;
            row[count++] = start;
        }
        if (count == 1 && !row[0][0])
            continue; /* an empty line is no row */
        csv->field[csv->rows] = row;
        csv->fields[csv->rows++] = count;
        used += (size_t)count;
    }
    return SL_OK;
}

static bool same_word(const char *field, const char *name)
{
    while (*field == ' ')
        field++;
    size_t length = strlen(field);
    while (length && field[length - 1] == ' ')
        length--;
    return length == strlen(name) && !strncasecmp(field, name, length);
}

int sl_csv_column(const sl_csv *csv, const char *name)
{
    for (int i = 0; csv->rows && i < csv->fields[0]; i++)
        if (same_word(csv->field[0][i], name))
            return i;
    return -1;
}

const char *sl_csv_get(const sl_csv *csv, int row, int column)
{
    return row >= 0 && row < csv->rows && column >= 0 && column < csv->fields[row] ? csv->field[row][column] : "";
}

void sl_time_text(time_t moment, char *text, size_t room)
{
    struct tm parts;
    if (!gmtime_r(&moment, &parts) || !strftime(text, room, "%Y-%m-%dT%H:%M:%SZ", &parts))
        snprintf(text, room, "%s", "");
}

void sl_now(char *text, size_t room)
{
    sl_time_text(time(NULL), text, room);
}

char *sl_path_join(sl_arena *arena, const char *folder, const char *name)
{
    size_t length = strlen(folder);
    return sl_arena_printf(arena, "%s%s%s", folder, length && folder[length - 1] == '/' ? "" : "/", name);
}

const char *sl_path_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

const char *sl_path_extension(const char *path)
{
    const char *dot = strrchr(sl_path_name(path), '.');
    return dot ? dot + 1 : "";
}
