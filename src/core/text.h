/* Growing text, paths, and CSV (RFC 4180). */
#ifndef SL_CORE_TEXT_H
#define SL_CORE_TEXT_H

#include "core/arena.h"
#include "core/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <time.h>

/* Growing text. Zeroed is empty and ready. When memory runs out `failed` is set and further appends do nothing. */
typedef struct sl_text {
    char *bytes; /* owned, always ends with a zero byte; NULL when empty */
    size_t length, room;
    bool failed;
} sl_text;

void sl_text_add(sl_text *text, const char *piece);
void sl_text_add_bytes(sl_text *text, const char *piece, size_t length);
void sl_text_printf(sl_text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));
void sl_text_free(sl_text *text);

/* One CSV field, quoted when it needs to be; `first` leaves out the comma before it. */
void sl_csv_add(sl_text *text, const char *field, bool first);

/* A CSV table in memory. Rows may have different numbers of fields. */
typedef struct sl_csv {
    int rows;
    int *fields;    /* how many in each row */
    char ***field;  /* field[row][column], never NULL; owned by the arena */
} sl_csv;

/* Parses `bytes` (UTF-8, with or without a byte order mark; commas, or semicolons or tabs when the first row has
 * those and no comma). `name` is for the sentence. */
sl_status sl_csv_parse(const char *bytes, size_t length, const char *name, sl_arena *arena, sl_csv *csv, sl_error *error);

/* Column of `name` in the first row, ignoring case and outer blanks, or -1. */
int sl_csv_column(const sl_csv *csv, const char *name);

/* The field or "" when the row has no such column (column -1 included). */
const char *sl_csv_get(const sl_csv *csv, int row, int column);

/* A moment, and now, in UTC: "2026-01-31T09:30:00Z". 21 bytes are enough; "" when it cannot be told. */
void sl_time_text(time_t moment, char *text, size_t room);
void sl_now(char *text, size_t room);

/* "folder/name" owned by the arena; the last part of a path (points into it); what follows the last dot of the name
 * or "". */
char *sl_path_join(sl_arena *arena, const char *folder, const char *name);
const char *sl_path_name(const char *path);
const char *sl_path_extension(const char *path);

#endif
