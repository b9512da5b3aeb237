#include "node/queue.h"

#include "core/file.h"
#include "core/text.h"
#include "core/utf8.h"
#include "dicom/describe.h"
#include "store/sha256.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { VERSION = 1, APPLICATION = 0x534c5175 /* "SLQu" */, PATIENCE_MS = 20000, ROOM = 4096 };

struct sl_queue {
    char store[3000], folder[3072];
    sqlite3 *db;
};

static const char *const state_names[SL_QUEUE_STATES] = {"waits", "sent", "refused"};

const char *sl_queue_state_name(sl_queue_state state)
{
    return state_names[state];
}

const char *sl_queue_folder(const sl_queue *queue)
{
    return queue->store;
}

static sl_status trouble(const sl_queue *queue, sl_error *error)
{
    const int code = sqlite3_errcode(queue->db) & 0xff;
    if (code == SQLITE_FULL)
        return sl_fail(error, SL_IO, "There is no room left on the disk that holds the sending queue in %s; nothing was changed. Free some space and try again.",
                       queue->folder);
    if (code == SQLITE_CORRUPT || code == SQLITE_NOTADB)
        return sl_fail(error, SL_FORMAT, "The sending queue in %s is damaged (%s). Its objects lie beside it: move the folder away and queue them again.", queue->folder,
                       sqlite3_errstr(code));
    if (code == SQLITE_BUSY)
        return sl_fail(error, SL_IO, "Another program is writing to the sending queue in %s. Try again when it is done.", queue->folder);
    return sl_fail(error, SL_IO, "The sending queue in %s cannot be used: %s.", queue->folder, sqlite3_errmsg(queue->db));
}

static sl_status io(const char *doing, const char *path, int cause, sl_error *error)
{
    return sl_fail(error, SL_IO, "%s cannot be %s: %s.%s", path, doing, strerror(cause), cause == ENOSPC ? " Free some space and try again; nothing was queued." : "");
}

/* ---- SQL ---- */

/* `kinds` has a letter a value: t text, i int64_t. */
static sqlite3_stmt *ask(sl_queue *queue, const char *sql, const char *kinds, const char *const *text, const int64_t *number)
{
    sqlite3_stmt *row = NULL;
    int code = sqlite3_prepare_v2(queue->db, sql, -1, &row, NULL);
    for (int i = 0; kinds[i] && code == SQLITE_OK; i++)
        code = kinds[i] == 't' ? sqlite3_bind_text(row, i + 1, *text++, -1, SQLITE_TRANSIENT) : sqlite3_bind_int64(row, i + 1, *number++);
    if (code == SQLITE_OK)
        return row;
    sqlite3_finalize(row);
    return NULL;
}

#define TEXTS(...) ((const char *const[]){__VA_ARGS__})
#define NUMBERS(...) ((const int64_t[]){__VA_ARGS__})

static sl_status run(sl_queue *queue, sl_error *error, const char *sql, const char *kinds, const char *const *text, const int64_t *number)
{
    sqlite3_stmt *row = ask(queue, sql, kinds, text, number);
    int code = SQLITE_ERROR;
    while (row && (code = sqlite3_step(row)) == SQLITE_ROW)
        ;
    sl_status status = code == SQLITE_DONE ? SL_OK : trouble(queue, error);
    sqlite3_finalize(row);
    return status;
}

/* The first number a query gives; `otherwise` where it gives none. */
static int64_t number_of(sl_queue *queue, int64_t otherwise, const char *sql, const char *kinds, const char *const *text, const int64_t *number)
{
    sqlite3_stmt *row = ask(queue, sql, kinds, text, number);
    const int64_t found = row && sqlite3_step(row) == SQLITE_ROW && sqlite3_column_type(row, 0) == SQLITE_INTEGER ? sqlite3_column_int64(row, 0) : otherwise;
    sqlite3_finalize(row);
    return found;
}

static sl_status begin(sl_queue *queue, sl_error *error)
{
    return run(queue, error, "BEGIN IMMEDIATE", "", NULL, NULL);
}

static sl_status end(sl_queue *queue, sl_status status, sl_error *error)
{
    if (status == SL_OK)
        status = run(queue, error, "COMMIT", "", NULL, NULL);
    if (status != SL_OK && !sqlite3_get_autocommit(queue->db))
        run(queue, NULL, "ROLLBACK", "", NULL, NULL);
    return status;
}

/* ---- files ---- */

static void place(const sl_queue *queue, const char *hash, char path[ROOM])
{
    snprintf(path, ROOM, "%s/%.64s.dcm", queue->folder, hash);
}

char *sl_queue_path(const sl_queue *queue, const char *hash, sl_arena *arena)
{
    return sl_arena_printf(arena, "%s/%.64s.dcm", queue->folder, hash);
}

static bool sync_folder(const char *path)
{
    int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    const bool good = folder >= 0 && !fsync(folder);
    if (folder >= 0)
        close(folder);
    return good;
}

/* A fresh name for a file on the way. While its lock is held nobody takes it for left behind (tidy_one). */
static sl_status scratch(const sl_queue *queue, char *path, size_t room, int *descriptor, sl_error *error)
{
    struct stat facts;
    for (int i = 0; i < 100; i++) {
        uint64_t chance = 0;
        if (getrandom(&chance, sizeof chance, 0) < 0)
            chance = (uint64_t)getpid() << 32 | (uint64_t)i;
        snprintf(path, room, "%s/%016llx.part", queue->folder, (unsigned long long)chance);
        *descriptor = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        if (*descriptor < 0)
            return io("written", path, errno, error);
        if (!flock(*descriptor, LOCK_EX | LOCK_NB) && !fstat(*descriptor, &facts) && facts.st_nlink)
            return SL_OK;
        close(*descriptor); /* somebody tidied up between the two */
    }
    return io("written", path, EBUSY, error);
}

/* Whether an item still needs the object. */
static bool needed(sl_queue *queue, const char *hash)
{
    return number_of(queue, 1, "SELECT count(*) FROM item WHERE hash = ?1 AND state <> 1", "t", TEXTS(hash), NULL) != 0;
}

/* Under a transaction that writes nobody else puts an object in. */
static void drop_unneeded(sl_queue *queue, const char *hash)
{
    char path[ROOM];
    if (begin(queue, NULL) != SL_OK)
        return; /* the next start removes it */
    place(queue, hash, path);
    if (!needed(queue, hash))
        unlink(path);
    end(queue, SL_OK, NULL);
}

static void tidy_one(sl_queue *queue, const char *name)
{
    char path[ROOM], hash[SL_STORE_HASH];
    const size_t length = strlen(name);
    snprintf(path, sizeof path, "%s/%.200s", queue->folder, name);
    if (length == 21 && !strcmp(name + 16, ".part")) {
        int file = open(path, O_RDONLY | O_CLOEXEC);
        if (file >= 0 && !flock(file, LOCK_EX | LOCK_NB))
            unlink(path);
        if (file >= 0)
            close(file);
    } else if (length == 68 && !strcmp(name + 64, ".dcm")) {
        snprintf(hash, sizeof hash, "%.64s", name);
        if (!needed(queue, hash))
            unlink(path);
    }
}

static void tidy(sl_queue *queue)
{
    if (begin(queue, NULL) != SL_OK)
        return;
    DIR *folder = opendir(queue->folder);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        tidy_one(queue, entry->d_name);
    if (folder)
        closedir(folder);
    end(queue, SL_OK, NULL);
}

/* ---- opening ---- */

static sl_status prepare(sl_queue *queue, sl_error *error)
{
    /* FULL: a commit is on the disk when it returns. */
    static const char *const settings[] = {"PRAGMA synchronous = FULL", "PRAGMA trusted_schema = OFF", "PRAGMA cell_size_check = ON", "PRAGMA secure_delete = ON"};
    for (size_t i = 0; i < sizeof settings / sizeof *settings; i++)
        if (run(queue, error, settings[i], "", NULL, NULL) != SL_OK)
            return error ? error->status : SL_IO;
    sl_status status = begin(queue, error);
    if (status != SL_OK)
        return status;
    const int64_t version = number_of(queue, -1, "PRAGMA user_version", "", NULL, NULL);
    if (version > VERSION)
        status = sl_fail(error, SL_UNSUPPORTED, "The sending queue in %s was made by a newer version of this program. Use that one.", queue->folder);
    else if (version < 0)
        status = trouble(queue, error);
    else if (version == 0) {
        status = run(queue, error,
                     "CREATE TABLE item(id INTEGER PRIMARY KEY AUTOINCREMENT, hash TEXT NOT NULL, bytes INTEGER NOT NULL, uid TEXT NOT NULL, class_uid TEXT NOT NULL,"
                     " syntax TEXT NOT NULL, study_uid TEXT NOT NULL, name TEXT NOT NULL, destination TEXT NOT NULL, state INTEGER NOT NULL DEFAULT 0,"
                     " tries INTEGER NOT NULL DEFAULT 0, held INTEGER NOT NULL DEFAULT 0, next INTEGER NOT NULL, why TEXT NOT NULL DEFAULT '', put TEXT NOT NULL, done TEXT NOT NULL DEFAULT '',"
                     " UNIQUE(hash, destination))", "", NULL, NULL);
        if (status == SL_OK)
            status = run(queue, error, "CREATE INDEX item_due ON item(state, next)", "", NULL, NULL);
        char set[80];
        snprintf(set, sizeof set, "PRAGMA application_id = %d", APPLICATION);
        if (status == SL_OK)
            status = run(queue, error, set, "", NULL, NULL);
        snprintf(set, sizeof set, "PRAGMA user_version = %d", VERSION);
        if (status == SL_OK)
            status = run(queue, error, set, "", NULL, NULL);
    }
    return end(queue, status, error);
}

sl_status sl_queue_open(const char *folder, sl_queue **opened, sl_error *error)
{
    char path[ROOM];
    struct stat facts;
    *opened = NULL;
    sl_queue *queue = calloc(1, sizeof *queue);
    if (!queue)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_status status = SL_OK;
    if (snprintf(queue->store, sizeof queue->store, "%s", folder) >= (int)sizeof queue->store)
        status = sl_fail(error, SL_USAGE, "The store's path %.80s... is too long. Choose a shorter one.", folder);
    snprintf(queue->folder, sizeof queue->folder, "%s/sending", queue->store);
    const bool fresh = stat(queue->store, &facts) != 0;
    if (status == SL_OK)
        status = sl_folder_make(queue->folder, error);
    if (status == SL_OK && fresh)
        chmod(queue->store, 0700); /* nobody else's business */
    if (status == SL_OK)
        chmod(queue->folder, 0700);
    snprintf(path, sizeof path, "%s/queue.db", queue->folder);
    if (status == SL_OK && sqlite3_open_v2(path, &queue->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK)
        status = trouble(queue, error);
    if (status == SL_OK) {
        sqlite3_busy_timeout(queue->db, PATIENCE_MS);
        status = prepare(queue, error);
    }
    if (status != SL_OK) {
        sl_queue_close(queue);
        return status;
    }
    sync_folder(queue->store);
    tidy(queue);
    *opened = queue;
    return SL_OK;
}

void sl_queue_close(sl_queue *queue)
{
    if (!queue)
        return;
    sqlite3_close(queue->db);
    free(queue);
}

/* ---- putting in ---- */

/* Records an object that lies in place, or says that it is known. */
static sl_status record(sl_queue *queue, const char *name, const sl_dicom_words *words, const char *hash, int64_t bytes, const char *destination, bool again,
                        sl_queue_fate *fate, int64_t *id, sl_error *error)
{
    char now[32];
    const int64_t state = number_of(queue, -1, "SELECT state FROM item WHERE hash = ?1 AND destination = ?2", "tt", TEXTS(hash, destination), NULL);
    sl_status status = SL_OK;
    sl_now(now, sizeof now);
    *fate = state == SL_QUEUE_WAITS ? SL_QUEUE_WAITED : state == SL_QUEUE_SENT && !again ? SL_QUEUE_DONE : SL_QUEUED;
    if (state < 0)
        status = run(queue, error,
                     "INSERT INTO item(hash, uid, class_uid, syntax, study_uid, name, destination, put, bytes, next) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)", "ttttttttii",
                     TEXTS(hash, words->uid, words->class_uid, words->syntax, words->study_uid, name, destination, now), NUMBERS(bytes, (int64_t)time(NULL)));
    else if (*fate == SL_QUEUED)
        status = run(queue, error, "UPDATE item SET state = 0, tries = 0, why = '', done = '', put = ?3, name = ?4, next = ?5 WHERE hash = ?1 AND destination = ?2", "tttti",
                     TEXTS(hash, destination, now, name), NUMBERS((int64_t)time(NULL)));
    if (id)
        *id = number_of(queue, 0, "SELECT id FROM item WHERE hash = ?1 AND destination = ?2", "tt", TEXTS(hash, destination), NULL);
    return status;
}

/* The copy `part` goes to its place, unless its content is there. */
static sl_status settle_in(sl_queue *queue, const char *part, const char *hash, int64_t bytes, sl_error *error)
{
    char path[ROOM];
    struct stat facts;
    place(queue, hash, path);
    if (!stat(path, &facts) && facts.st_size == bytes)
        return SL_OK;
    if (rename(part, path))
        return io("written", path, errno, error);
    return sync_folder(queue->folder) ? SL_OK : io("written", path, errno, error);
}

/* Whether it need not be copied at all. */
static bool known(sl_queue *queue, const char *path, const char *destination, bool again, sl_queue_fate *fate, int64_t *id)
{
    char hash[SL_STORE_HASH];
    int64_t bytes;
    if (sl_sha256_from(path, 0, hash, &bytes, NULL) != SL_OK)
        return false;
    const int64_t state = number_of(queue, -1, "SELECT state FROM item WHERE hash = ?1 AND destination = ?2", "tt", TEXTS(hash, destination), NULL);
    *fate = state == SL_QUEUE_WAITS ? SL_QUEUE_WAITED : SL_QUEUE_DONE;
    if (id)
        *id = number_of(queue, 0, "SELECT id FROM item WHERE hash = ?1 AND destination = ?2", "tt", TEXTS(hash, destination), NULL);
    return state == SL_QUEUE_WAITS || (state == SL_QUEUE_SENT && !again);
}

sl_status sl_queue_put(sl_queue *queue, const char *path, const char *destination, bool again, sl_queue_fate *fate, int64_t *id, sl_error *error)
{
    char part[ROOM], hash[SL_STORE_HASH];
    int64_t bytes = 0;
    int file = -1;
    sl_dicom_words *words = malloc(sizeof *words);
    if (!words)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (access(path, R_OK) == 0 && sl_dicom_describe(path, words, NULL) != SL_OK) { /* before much is copied */
        free(words);
        return sl_fail(error, SL_FORMAT, "%s is no DICOM object with the identifiers that sending needs; it is not queued.", path);
    }
    if (known(queue, path, destination, again, fate, id)) {
        free(words);
        return SL_OK;
    }
    sl_status status = scratch(queue, part, sizeof part, &file, error);
    if (status != SL_OK) {
        free(words);
        return status;
    }
    status = sl_sha256_copy(path, file, part, hash, &bytes, error);
    if (status == SL_OK && fsync(file))
        status = io("written", part, errno, error);
    if (status == SL_OK && sl_dicom_describe(part, words, NULL) != SL_OK) /* of the copy: it cannot change any more */
        status = sl_fail(error, SL_FORMAT, "%s is no DICOM object with the identifiers that sending needs; it is not queued.", path);
    sl_arena arena = {0};
    const char *name = sl_utf8_valid(&arena, sl_path_name(path));
    if (status == SL_OK)
        status = begin(queue, error);
    if (status == SL_OK) {
        status = record(queue, name ? name : "", words, hash, bytes, destination, again, fate, id, error);
        if (status == SL_OK && *fate == SL_QUEUED)
            status = settle_in(queue, part, hash, bytes, error);
        status = end(queue, status, error);
    }
    unlink(part); /* where it was not moved */
    close(file);
    free(words);
    sl_arena_free(&arena);
    return status;
}

/* ---- looking ---- */

#define COLUMNS "id, bytes, state, tries, next, hash, uid, class_uid, syntax, study_uid, name, destination, put, done, why"

static bool take(sqlite3_stmt *row, sl_arena *arena, sl_queue_item *item)
{
    const char **text[] = {&item->hash, &item->uid, &item->class_uid, &item->syntax, &item->study_uid, &item->name, &item->destination, &item->put, &item->done, &item->why};
    *item = (sl_queue_item){.id = sqlite3_column_int64(row, 0), .bytes = sqlite3_column_int64(row, 1), .tries = sqlite3_column_int(row, 3), .next = sqlite3_column_int64(row, 4)};
    const int state = sqlite3_column_int(row, 2);
    item->state = state >= 0 && state < SL_QUEUE_STATES ? (sl_queue_state)state : SL_QUEUE_REFUSED;
    for (int i = 0; i < 10; i++)
        if (!(*text[i] = sl_arena_text(arena, (const char *)sqlite3_column_text(row, 5 + i))))
            return false;
    return true;
}

#define MATCH "(?1 = '' OR study_uid = ?1) AND (?2 = '' OR destination = ?2) AND (?3 < 0 OR state = ?3) AND (?4 = 0 OR next <= ?4)"
#define LATEST " AND (?5 = 0 OR state <> 1 OR id IN (SELECT id FROM item WHERE state = 1 ORDER BY done DESC, id DESC LIMIT ?5))"

sl_status sl_queue_list(sl_queue *queue, const sl_queue_query *query, sl_arena *arena, const sl_queue_item **list, int *count, sl_error *error)
{
    const char *const text[] = {query->study_uid ? query->study_uid : "", query->destination ? query->destination : ""};
    const int64_t number[] = {query->state, query->due, query->most_sent};
    *list = NULL;
    *count = 0;
    sl_status status = begin(queue, error); /* the number and the rows are of one moment */
    if (status != SL_OK)
        return status;
    const int64_t rows = number_of(queue, 0, "SELECT count(*) FROM item WHERE " MATCH LATEST, "ttiii", text, number);
    sl_queue_item *item = SL_NEW(arena, rows ? rows : 1, sl_queue_item);
    sqlite3_stmt *row = ask(queue, "SELECT " COLUMNS " FROM item WHERE " MATCH LATEST " ORDER BY id", "ttiii", text, number);
    int code = row && item ? SQLITE_ROW : SQLITE_ERROR;
    while (code == SQLITE_ROW && (code = sqlite3_step(row)) == SQLITE_ROW)
        if (*count >= rows || !take(row, arena, &item[(*count)++]))
            code = SQLITE_NOMEM;
    status = code == SQLITE_DONE ? SL_OK : code == SQLITE_NOMEM || !item ? sl_fail(error, SL_MEMORY, "Memory ran out.") : trouble(queue, error);
    sqlite3_finalize(row);
    *list = item;
    return end(queue, status, error);
}

sl_status sl_queue_count(sl_queue *queue, int count[SL_QUEUE_STATES], sl_error *error)
{
    for (int i = 0; i < SL_QUEUE_STATES; i++) {
        const int64_t found = number_of(queue, -1, "SELECT count(*) FROM item WHERE state = ?1", "i", NULL, NUMBERS(i));
        if (found < 0)
            return trouble(queue, error);
        count[i] = (int)found;
    }
    return SL_OK;
}

int64_t sl_queue_next(sl_queue *queue)
{
    return number_of(queue, 0, "SELECT min(next) FROM item WHERE state = 0", "", NULL, NULL);
}

/* ---- changing ---- */

sl_status sl_queue_retry(sl_queue *queue, int64_t id, int *changed, sl_error *error)
{
    const int64_t number[] = {id, (int64_t)time(NULL)};
    sl_status status = run(queue, error, "UPDATE item SET state = 0, done = '', next = ?2, tries = 0 WHERE (?1 = 0 OR id = ?1) AND state <> 1", "ii", NULL, number);
    *changed = status == SL_OK ? sqlite3_changes(queue->db) : 0;
    return status;
}

sl_status sl_queue_forget(sl_queue *queue, int64_t id, sl_error *error)
{
    char hash[SL_STORE_HASH] = "";
    sqlite3_stmt *row = ask(queue, "SELECT hash FROM item WHERE id = ?1", "i", NULL, NUMBERS(id));
    if (row && sqlite3_step(row) == SQLITE_ROW)
        snprintf(hash, sizeof hash, "%s", (const char *)sqlite3_column_text(row, 0));
    sqlite3_finalize(row);
    if (!*hash)
        return sl_fail(error, SL_USAGE, "There is no item %lld in the sending queue. See: strandline send --list.", (long long)id);
    sl_status status = run(queue, error, "DELETE FROM item WHERE id = ?1", "i", NULL, NUMBERS(id));
    if (status == SL_OK)
        drop_unneeded(queue, hash);
    return status;
}

int sl_queue_claim(sl_queue *queue)
{
    char path[ROOM];
    snprintf(path, sizeof path, "%s/sender", queue->folder);
    int file = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (file >= 0 && flock(file, LOCK_EX | LOCK_NB)) {
        close(file);
        file = -1;
    }
    return file;
}

sl_status sl_queue_settle(sl_queue *queue, const sl_queue_item *item, sl_queue_state state, const char *why, int64_t next, bool held, sl_error *error)
{
    char now[32] = "";
    if (state != SL_QUEUE_WAITS)
        sl_now(now, sizeof now);
    /* Nothing happens where it was forgotten meanwhile. */
    sl_status status = run(queue, error, "UPDATE item SET state = ?4, why = ?2, done = ?3, tries = tries + 1, next = ?5, held = ?6 WHERE hash = ?1 AND id = ?7", "tttiiii",
                           TEXTS(item->hash, why, now), NUMBERS(state, next, held, item->id));
    if (status == SL_OK && state == SL_QUEUE_SENT)
        drop_unneeded(queue, item->hash);
    return status;
}

sl_status sl_queue_release(sl_queue *queue, const char *destination, int64_t now, sl_error *error)
{
    return run(queue, error, "UPDATE item SET next = ?2, held = 0 WHERE destination = ?1 AND state = 0 AND held = 1 AND next > ?2", "ti", TEXTS(destination), NUMBERS(now));
}
