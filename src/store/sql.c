#include "store/inner.h"

#include "core/units.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

sl_status sl_store_trouble(sl_store *store, int code, sl_error *error)
{
    const char *folder = store->folder;
    switch (code & 0xff) {
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return sl_fail(error, SL_FORMAT,
                       "The store in %s is damaged (%s). Nothing was changed. Keep the folder as it is and put a backup in "
                       "its place with: strandline store restore BACKUP.",
                       folder, sqlite3_errstr(code));
    case SQLITE_FULL:
        return sl_fail(error, SL_IO,
                       "There is no room left on the disk that holds the store in %s; nothing was changed. Free some space "
                       "and try again.",
                       folder);
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return sl_fail(error, SL_IO,
                       "Another program is writing to the store in %s; nothing was changed. Try again when it is done.",
                       folder);
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_CANTOPEN:
    case SQLITE_AUTH:
        return sl_fail(error, SL_IO, "The store in %s cannot be opened for writing (%s). Ask for permission to that place.",
                       folder, sqlite3_errstr(code));
    case SQLITE_NOMEM:
        return sl_fail(error, SL_MEMORY, "Memory ran out while working on the store in %s.", folder);
    case SQLITE_CONSTRAINT: /* a trigger's own sentence, or a rule of a table */
        return sl_fail(error, SL_USAGE, "The store in %s refuses this: %s.", folder, sqlite3_errmsg(store->db));
    case SQLITE_IOERR:
        return sl_fail(error, SL_IO, "The disk that holds the store in %s reported a fault (%s); nothing was changed.", folder,
                       sqlite3_errstr(code));
    default:
        return sl_fail(error, SL_IO, "The store in %s cannot do this: %s.", folder, sqlite3_errmsg(store->db));
    }
}

static sqlite3_stmt *ask_with(sl_store *store, sl_error *error, const char *sql, const char *kinds, va_list values)
{
    sqlite3_stmt *ask = NULL;
    int code = sqlite3_prepare_v2(store->db, sql, -1, &ask, NULL);
    for (int i = 0; kinds[i] && code == SQLITE_OK; i++) {
        if (kinds[i] == 't')
            code = sqlite3_bind_text(ask, i + 1, va_arg(values, const char *), -1, SQLITE_TRANSIENT);
        else if (kinds[i] == 'i')
            code = sqlite3_bind_int64(ask, i + 1, va_arg(values, int64_t));
        else {
            double number = va_arg(values, double);
            code = sl_known(number) ? sqlite3_bind_double(ask, i + 1, number) : sqlite3_bind_null(ask, i + 1);
        }
    }
    if (code == SQLITE_OK)
        return ask;
    sl_store_trouble(store, code, error);
    sqlite3_finalize(ask);
    return NULL;
}

sqlite3_stmt *sl_store_ask(sl_store *store, sl_error *error, const char *sql, const char *kinds, ...)
{
    va_list values;
    va_start(values, kinds);
    sqlite3_stmt *ask = ask_with(store, error, sql, kinds, values);
    va_end(values);
    return ask;
}

int sl_store_next(sl_store *store, sqlite3_stmt *ask, sl_error *error)
{
    int code = sqlite3_step(ask);
    if (code == SQLITE_ROW)
        return 1;
    if (code == SQLITE_DONE)
        return 0;
    sl_store_trouble(store, code, error);
    return -1;
}

sl_status sl_store_run(sl_store *store, sl_error *error, const char *sql, const char *kinds, ...)
{
    sl_error own = {.status = SL_OK};
    va_list values;
    va_start(values, kinds);
    sqlite3_stmt *ask = ask_with(store, &own, sql, kinds, values);
    va_end(values);
    int more = 1;
    while (ask && more > 0)
        more = sl_store_next(store, ask, &own);
    sqlite3_finalize(ask);
    if (own.status != SL_OK && error)
        *error = own;
    return own.status;
}

const char *sl_store_text(sqlite3_stmt *row, int column, sl_arena *arena)
{
    const char *text = (const char *)sqlite3_column_text(row, column);
    return text ? sl_arena_text(arena, text) : "";
}

int64_t sl_store_number(sl_store *store, int64_t otherwise, const char *sql, const char *kinds, const char *text)
{
    sqlite3_stmt *ask = *kinds ? sl_store_ask(store, NULL, sql, kinds, text) : sl_store_ask(store, NULL, sql, "");
    int64_t number = otherwise;
    if (ask && sqlite3_step(ask) == SQLITE_ROW && sqlite3_column_type(ask, 0) == SQLITE_INTEGER)
        number = sqlite3_column_int64(ask, 0);
    sqlite3_finalize(ask);
    return number;
}

sl_status sl_store_begin(sl_store *store, sl_error *error)
{
    sl_status status = sl_store_lock(store, error);
    if (status != SL_OK)
        return status;
    status = sl_store_run(store, error, "BEGIN IMMEDIATE", "");
    if (status != SL_OK)
        sl_store_unlock(store);
    return status;
}

sl_status sl_store_end(sl_store *store, sl_status status, sl_error *error)
{
    if (status == SL_OK)
        status = sl_store_run(store, error, "COMMIT", "");
    if (status != SL_OK && !sqlite3_get_autocommit(store->db))
        sl_store_run(store, NULL, "ROLLBACK", "");
    sl_store_unlock(store);
    return status;
}

int64_t sl_store_exam_id(sl_store *store, const char *uid, sl_error *error)
{
    size_t length = strlen(uid);
    if (length < 4 || length >= SL_STORE_UID || strspn(uid, "0123456789abcdef-") != length) {
        sl_fail(error, SL_USAGE, "\"%.60s\" is no examination: give its identifier, or at least the first four characters.", uid);
        return 0;
    }
    char pattern[SL_STORE_UID + 1];
    snprintf(pattern, sizeof pattern, "%s*", uid);
    sl_error own;
    sqlite3_stmt *ask = sl_store_ask(store, &own, "SELECT id FROM examination WHERE uid GLOB ?1 LIMIT 2", "t", pattern);
    int64_t id = 0;
    int found = 0, more = ask ? 1 : -1;
    while (more > 0 && (more = sl_store_next(store, ask, &own)) > 0) {
        id = sqlite3_column_int64(ask, 0);
        found++;
    }
    sqlite3_finalize(ask);
    if (more < 0) {
        if (error)
            *error = own;
        return 0;
    }
    if (found == 1)
        return id;
    if (found)
        sl_fail(error, SL_USAGE, "More than one examination begins with %s. Give more of its identifier.", uid);
    else
        sl_fail(error, SL_USAGE, "There is no examination %s in the store in %s. See: strandline store list.", uid, store->folder);
    return 0;
}

void sl_store_uid(char uid[SL_STORE_UID])
{
    uint8_t b[16] = {0};
    size_t got = 0;
    while (got < sizeof b) {
        ssize_t more = getrandom(b + got, sizeof b - got, 0);
        if (more > 0)
            got += (size_t)more;
    }
    b[6] = (uint8_t)((b[6] & 0x0f) | 0x40); /* RFC 4122, version 4 */
    b[8] = (uint8_t)((b[8] & 0x3f) | 0x80);
    snprintf(uid, SL_STORE_UID, "%02x%02x%02x%02x-%02x%02x-%02x%02x-%02x%02x-%02x%02x%02x%02x%02x%02x", b[0], b[1], b[2], b[3], b[4],
             b[5], b[6], b[7], b[8], b[9], b[10], b[11], b[12], b[13], b[14], b[15]);
}

void sl_store_now(char text[32])
{
    struct timespec now;
    struct tm parts;
    clock_gettime(CLOCK_REALTIME, &now);
    gmtime_r(&now.tv_sec, &parts);
    size_t used = strftime(text, 32, "%Y-%m-%dT%H:%M:%S", &parts);
    snprintf(text + used, 32 - used, ".%03dZ", (int)(now.tv_nsec / 1000000));
}
