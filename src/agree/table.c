#include "agree/table.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { PIECE = 1 << 20, LONGEST = 16 << 20 }; /* bytes read at once; bytes of the longest row */

typedef struct reader {
    const char *path;
    sl_table_titles titles;
    sl_table_row row;
    void *context;
    char *title_row;     /* the bytes of the first row with its line break; NULL before it is known */
    size_t title_length;
    int number;          /* of the last row handed out */
} reader;

/* Where the last whole row within `bytes` ends (after its line break), or 0; line breaks within quotes do not count. */
static size_t rows_end(const char *bytes, size_t length, bool only_first)
{
    bool quoted = false;
    size_t end = 0;
    for (size_t i = 0; i < length; i++) {
        if (bytes[i] == '"')
            quoted = !quoted;
        if (bytes[i] == '\n' && !quoted) {
            end = i + 1;
            if (only_first)
                break;
        }
    }
    return end;
}

/* Hands out the rows of `bytes`, which hold whole rows only. The titles go before each piece, so that the separator is
 * found the same way in every one. */
static sl_status hand_out(reader *r, const char *bytes, size_t length, sl_error *error)
{
    sl_arena arena = {0};
    char *piece = SL_NEW(&arena, r->title_length + length + 1, char);
    if (!piece)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", r->path);
    memcpy(piece, r->title_row, r->title_length);
    memcpy(piece + r->title_length, bytes, length);
    sl_csv csv;
    sl_status status = sl_csv_parse(piece, r->title_length + length, r->path, &arena, &csv, error);
    if (status == SL_OK && r->number == 0 && r->titles)
        status = r->titles(r->context, &csv, error);
    if (r->number == 0)
        r->number = 1;
    for (int i = 1; status == SL_OK && i < csv.rows; i++)
        status = r->row(r->context, &csv, i, ++r->number, error);
    sl_arena_free(&arena);
    return status;
}

static sl_status take_titles(reader *r, char *bytes, size_t *length, bool at_end, sl_error *error)
{
    size_t skip = *length >= 3 && !memcmp(bytes, "\xef\xbb\xbf", 3) ? 3 : 0;
    while (skip < *length && (bytes[skip] == '\n' || bytes[skip] == '\r'))
        skip++;
    size_t end = rows_end(bytes + skip, *length - skip, true);
    if (!end && !at_end)
        return SL_OK;
    if (!end)
        end = *length - skip;
    if (!end)
        return sl_fail(error, SL_FORMAT, "%s is empty: it needs a first row with the titles of its columns.", r->path);
    r->title_row = malloc(end + 1);
    if (!r->title_row)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", r->path);
    memcpy(r->title_row, bytes + skip, end);
    if (r->title_row[end - 1] != '\n')
        r->title_row[end] = '\n';
    r->title_length = end + (r->title_row[end - 1] != '\n');
    *length -= skip + end;
    memmove(bytes, bytes + skip + end, *length);
    return SL_OK;
}

static sl_status read_on(reader *r, FILE *file, sl_error *error)
{
    size_t room = PIECE, length = 0;
    char *bytes = malloc(room);
    bool at_end = false;
    sl_status status = bytes ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", r->path);
    while (status == SL_OK && !at_end) {
        if (length == room) { /* one row is longer than what was read */
            char *more = room < LONGEST ? realloc(bytes, room * 2) : NULL;
            if (!more) {
                status = sl_fail(error, SL_LIMIT, "%s holds a row of more than %d MiB after row %d: is a quotation "
                                                  "mark never closed?", r->path, LONGEST >> 20, r->number);
                break;
            }
            bytes = more;
            room *= 2;
        }
        size_t got = fread(bytes + length, 1, room - length, file);
        at_end = got < room - length;
        length += got;
        if (at_end && ferror(file))
            status = sl_fail(error, SL_IO, "%s could not be read to its end.", r->path);
        if (status == SL_OK && memchr(bytes + length - got, 0, got))
            status = sl_fail(error, SL_FORMAT, "%s is not a text table: it holds zero bytes. Save it as CSV in UTF-8.",
                             r->path);
        if (status == SL_OK && !r->title_row)
            status = take_titles(r, bytes, &length, at_end, error);
        if (status != SL_OK || !r->title_row)
            continue;
        size_t whole = at_end ? length : rows_end(bytes, length, false);
        if (!whole && !at_end)
            continue;
        status = hand_out(r, bytes, whole, error);
        length -= whole;
        memmove(bytes, bytes + whole, length);
    }
    free(bytes);
    return status;
}

sl_status sl_table_read(const char *path, sl_table_titles titles, sl_table_row row, void *context, sl_error *error)
{
    FILE *file = fopen(path, "rb");
    struct stat facts;
    if (!file)
        return sl_fail(error, SL_IO, "%s could not be opened: %s.", path, strerror(errno));
    if (fstat(fileno(file), &facts) || S_ISDIR(facts.st_mode)) {
        fclose(file);
        return sl_fail(error, SL_IO, "%s is a folder, not a table. Name the CSV file in it.", path);
    }
    reader r = {path, titles, row, context, NULL, 0, 0};
    sl_status status = read_on(&r, file, error);
    free(r.title_row);
    fclose(file);
    return status;
}
