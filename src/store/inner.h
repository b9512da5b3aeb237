/* What the files of this folder share. */
#ifndef SL_STORE_INNER_H
#define SL_STORE_INNER_H

#include "store/sha256.h"
#include "store/store.h"

#include <sqlite3.h>
#include <stdbool.h>
#include <stddef.h>

enum { SL_STORE_APPLICATION = 0x534c5374 }; /* "SLSt": SQLite's application_id of our files */
enum { SL_STORE_PATIENCE_MS = 10000 };      /* how long to wait for another program */

struct sl_store {
    char folder[3072];
    char who[160];
    sqlite3 *db;
    int lock; /* file descriptor of folder/lock */
    int held; /* how often this handle holds the lock */
};

/* Of the table `file`: nothing that is kept uses it. */
#define SL_STORE_UNUSED                                                                                                      \
    "NOT EXISTS(SELECT 1 FROM clip c WHERE c.hash = file.hash) AND NOT EXISTS(SELECT 1 FROM document d WHERE d.hash = file.hash) " \
    "AND NOT EXISTS(SELECT 1 FROM report_document r WHERE r.hash = file.hash) AND NOT EXISTS(SELECT 1 FROM object o WHERE o.hash = file.hash)"

/* ---- sql.c ---- */

/* A sentence for what SQLite said; returns its status. */
sl_status sl_store_trouble(sl_store *store, int code, sl_error *error);

/* Prepares and binds: `kinds` has a letter a value: t text (NULL: null), i int64_t, d double (unknown: null).
 * NULL on failure, with the sentence. The caller finalizes. */
sqlite3_stmt *sl_store_ask(sl_store *store, sl_error *error, const char *sql, const char *kinds, ...);

/* Steps on; 1 a row, 0 the end, -1 failed with the sentence. */
int sl_store_next(sl_store *store, sqlite3_stmt *ask, sl_error *error);

/* Runs a statement that gives no rows. */
sl_status sl_store_run(sl_store *store, sl_error *error, const char *sql, const char *kinds, ...);

/* Column as text in the arena, "" for null; NULL when memory is out. */
const char *sl_store_text(sqlite3_stmt *row, int column, sl_arena *arena);

/* The one number a query gives, `otherwise` when it gives none or fails. */
int64_t sl_store_number(sl_store *store, int64_t otherwise, const char *sql, const char *kinds, const char *text);

sl_status sl_store_begin(sl_store *store, sl_error *error); /* the lock, then BEGIN IMMEDIATE */
/* Commits when `status` is SL_OK, else rolls back; gives the lock back; returns the final status. */
sl_status sl_store_end(sl_store *store, sl_status status, sl_error *error);

/* The id of the examination whose uid begins so; 0 with a sentence when none or several. */
int64_t sl_store_exam_id(sl_store *store, const char *uid, sl_error *error);

void sl_store_uid(char uid[SL_STORE_UID]);

/* ---- list.c ---- */

/* Rows of a query as an array in the arena; `take` fills one item. Finalizes `ask`, which may be NULL (its sentence is there). */
typedef sl_status (*sl_store_take)(sqlite3_stmt *row, sl_arena *arena, void *item);
sl_status sl_store_gather(sl_store *store, sqlite3_stmt *ask, size_t size, sl_store_take take, sl_arena *arena, const void **list, int *count,
                          sl_error *error);
/* Columns first .. first + count - 1 as texts of the arena. False when memory is out. */
bool sl_store_texts(sqlite3_stmt *row, sl_arena *arena, int first, int count, const char **const *into);

/* ---- schema.c ---- */

/* Brings an opened database to this program's version; refuses newer and foreign ones. */
sl_status sl_store_migrate(sl_store *store, bool make, sl_error *error);

/* ---- files.c ---- */

/* One program at a time writes: waits for the others, then clears away what an interrupted one left. Nests. */
sl_status sl_store_lock(sl_store *store, sl_error *error);
void sl_store_unlock(sl_store *store);

/* A batch of files on their way in or out. Its list lies in pending/ until it is closed: when the program dies before,
 * the next one removes every file of the list that no record names. */
typedef struct sl_store_batch {
    sl_store *store;
    char list[3200];
    int file;    /* descriptor of the list, -1: none */
} sl_store_batch;

sl_status sl_store_batch_open(sl_store *store, sl_store_batch *batch, sl_error *error);
/* Copies a file in (unless its content is there), synced, under its hash. */
sl_status sl_store_batch_put(sl_store_batch *batch, const char *path, char hash[SL_STORE_HASH], int64_t *bytes,
                             sl_error *error);
/* Moves a file in whose hash and size are known and whose bytes are on the disk; it must lie on the store's file system. */
sl_status sl_store_batch_move(sl_store_batch *batch, const char *path, const char *hash, int64_t bytes, sl_error *error);
/* Names a file that is to go. */
sl_status sl_store_batch_name(sl_store_batch *batch, const char *hash, sl_error *error);
/* Removes the files of the list that no record names, then the list. */
void sl_store_batch_close(sl_store_batch *batch);

/* Path of a kept file. False when it is too long. */
bool sl_store_place(const sl_store *store, const char *hash, char *path, size_t room);
bool sl_store_is_hash(const char *text);

sl_status sl_store_sync_folder(const char *path);
sl_status sl_store_io(const char *doing, const char *path, int cause, sl_error *error);
/* Copies a file to a new place, synced; checks its content against `hash` unless NULL. */
sl_status sl_store_copy(const char *from, const char *to, const char *hash, sl_error *error);

/* ---- sign.c ---- */

/* The statement a signature is made over, rebuilt from the records of a signed report; owned by the caller (free). */
char *sl_store_statement(sl_store *store, int64_t report, sl_error *error);

#endif
