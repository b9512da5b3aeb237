#include "store/inner.h"
#include "store/objects.h"

#include <dirent.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

typedef struct rounds {
    sl_store *store;
    sl_store_say say;
    void *context;
    sl_store_state *state;
} rounds;

static void complain(rounds *self, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void complain(rounds *self, const char *format, ...)
{
    char text[1400];
    va_list values;
    va_start(values, format);
    vsnprintf(text, sizeof text, format, values);
    va_end(values);
    self->state->problems++;
    if (self->say)
        self->say(self->context, text);
}

/* Each row of a query that should give none is a problem. */
static sl_status rows_are_problems(rounds *self, const char *sql, const char *before, const char *after,
                                   sl_error *error)
{
    enum { SAID = 20 };
    sqlite3_stmt *ask = sl_store_ask(self->store, error, sql, "");
    int got = ask ? 1 : -1, said = 0;
    while (got > 0 && (got = sl_store_next(self->store, ask, error)) > 0) {
        const char *text = (const char *)sqlite3_column_text(ask, 0);
        if (++said <= SAID)
            complain(self, "%s%s%s", before, text ? text : "", after);
    }
    sqlite3_finalize(ask);
    return got < 0 ? error->status : SL_OK;
}

static sl_status check_database(rounds *self, sl_error *error)
{
    sl_status status = rows_are_problems(self, "SELECT * FROM pragma_integrity_check WHERE integrity_check <> 'ok'",
                                         "The database is damaged: ", ". Restore a backup.", error);
    if (status == SL_OK)
        status = rows_are_problems(self, "SELECT \"table\" FROM pragma_foreign_key_check",
                                   "A record of ", " points to one that is not there.", error);
    if (status == SL_OK) /* a report is committed with its signature or not at all */
        status = rows_are_problems(self, "SELECT uid FROM report WHERE id NOT IN (SELECT report FROM signature)",
                                   "The report ", " has lost its signature.", error);
    if (status == SL_OK)
        status = rows_are_problems(self, "SELECT uid FROM report r WHERE NOT EXISTS(SELECT 1 FROM log l WHERE l.subject = r.uid AND l.what "
                                   "= 'report signed' AND l.detail = (SELECT hash FROM signature WHERE report = r.id))",
                                   "The log does not know the signature of the report ", ": it was made or changed by another program.", error);
    if (status == SL_OK)
        status = rows_are_problems(self, "SELECT l.subject FROM log l WHERE l.what = 'report signed' AND NOT EXISTS(SELECT 1 FROM report r "
                                   "WHERE r.uid = l.subject) AND NOT EXISTS(SELECT 1 FROM log f WHERE f.what = 'signed report forgotten' "
                                   "AND f.subject = l.subject)",
                                   "The signed report ", " is missing. Restore a backup.", error);
    return status;
}

static sl_status check_log(rounds *self, sl_error *error)
{
    char previous[SL_STORE_HASH] = "";
    int64_t wanted = 1;
    sqlite3_stmt *ask = sl_store_ask(self->store, error,
                                     "SELECT seq, previous, hash, strandline_chain(seq, at, who, what, subject, detail, previous) FROM log "
                                     "ORDER BY seq", "");
    int got = ask ? 1 : -1, broken = 0;
    while (got > 0 && (got = sl_store_next(self->store, ask, error)) > 0) {
        const char *before = (const char *)sqlite3_column_text(ask, 1), *hash = (const char *)sqlite3_column_text(ask, 2),
                   *should = (const char *)sqlite3_column_text(ask, 3);
        int64_t seq = sqlite3_column_int64(ask, 0);
        if (!broken && (seq != wanted || !before || strcmp(before, previous) || !hash || !should || strcmp(hash, should))) {
            complain(self, "The log was changed at line %lld: its chain of hashes breaks there.", (long long)seq);
            broken = 1;
        }
        snprintf(previous, sizeof previous, "%s", hash ? hash : "");
        wanted = seq + 1;
        self->state->log_lines++;
    }
    sqlite3_finalize(ask);
    snprintf(self->state->log_head, sizeof self->state->log_head, "%s", previous);
    return got < 0 ? error->status : SL_OK;
}

static sl_status check_signatures(rounds *self, sl_error *error)
{
    sqlite3_stmt *ask = sl_store_ask(self->store, error, "SELECT report, hash FROM signature ORDER BY report", "");
    int got = ask ? 1 : -1;
    while (got > 0 && (got = sl_store_next(self->store, ask, error)) > 0) {
        char hash[SL_STORE_HASH] = "";
        char *statement = sl_store_statement(self->store, sqlite3_column_int64(ask, 0), NULL);
        if (statement)
            sl_sha256(statement, strlen(statement), hash);
        const char *stood = (const char *)sqlite3_column_text(ask, 1);
        if (!statement || !stood || strcmp(stood, hash))
            complain(self, "What was signed as %.12s... is no longer what stands in the store. Restore a backup.", stood ? stood : "");
        free(statement);
        self->state->reports++;
    }
    sqlite3_finalize(ask);
    return got < 0 ? error->status : SL_OK;
}

/* A name for people: whose clip or document it is. */
static void owner(sl_store *store, const char *hash, char *text, size_t room)
{
    sqlite3_stmt *ask = sl_store_ask(store, NULL, "SELECT c.name || ' of ' || substr(e.uid, 1, 8) FROM clip c JOIN examination e ON e.id = "
                                     "c.examination WHERE c.hash = ?1 UNION ALL SELECT d.name || ' of ' || substr(e.uid, 1, 8) FROM document "
                                     "d JOIN examination e ON e.id = d.examination WHERE d.hash = ?1 UNION ALL SELECT r.name || ' of the "
                                     "report ' || substr(p.uid, 1, 8) FROM report_document r JOIN report p ON p.id = r.report WHERE r.hash = "
                                     "?1 UNION ALL SELECT 'An object of the study ' || study FROM object WHERE hash = ?1 LIMIT 1", "t", hash);
    bool found = ask && sl_store_next(store, ask, NULL) > 0;
    snprintf(text, room, "%s", found ? (const char *)sqlite3_column_text(ask, 0) : "a file that nothing uses");
    sqlite3_finalize(ask);
}

static sl_status check_files(rounds *self, sl_error *error)
{
    char path[4096], hash[SL_STORE_HASH], whose[400];
    struct stat facts;
    int64_t bytes;
    sqlite3_stmt *ask = sl_store_ask(self->store, error, "SELECT hash, bytes FROM file ORDER BY hash", "");
    int got = ask ? 1 : -1;
    while (got > 0 && (got = sl_store_next(self->store, ask, error)) > 0) {
        sl_error why;
        const char *name = (const char *)sqlite3_column_text(ask, 0);
        self->state->files++;
        if (!name || !sl_store_place(self->store, name, path, sizeof path))
            continue;
        owner(self->store, name, whose, sizeof whose);
        if (stat(path, &facts))
            complain(self, "%s is gone (%s). Put it back from a backup.", whose, path);
        else if (sl_sha256_copy(path, -1, "", hash, &bytes, &why) != SL_OK)
            complain(self, "%s cannot be read: %s", whose, why.text);
        else if (strcmp(hash, name) || bytes != sqlite3_column_int64(ask, 1))
            complain(self, "%s is not what was put there: its content has changed (%s). Put it back from a backup.", whose, path);
    }
    sqlite3_finalize(ask);
    return got < 0 ? error->status : SL_OK;
}

/* Files without a record: what an interrupted run left, or what someone put there. The first kind goes. */
static void tidy(rounds *self)
{
    char path[4096];
    for (int first = 0; first < 256; first++) {
        snprintf(path, sizeof path, "%s/files/%02x", self->store->folder, (unsigned)first);
        DIR *folder = opendir(path);
        for (struct dirent *entry; folder && (entry = readdir(folder));) {
            if (entry->d_name[0] == '.')
                continue;
            snprintf(path, sizeof path, "%s/files/%02x/%s", self->store->folder, (unsigned)first, entry->d_name);
            if (!sl_store_is_hash(entry->d_name))
                complain(self, "%s does not belong into the store. Move it elsewhere.", path);
            else if (sl_store_number(self->store, -1, "SELECT count(*) FROM file WHERE hash = ?1", "t", entry->d_name) == 0 &&
                     !unlink(path))
                self->state->tidied++;
        }
        if (folder)
            closedir(folder);
    }
}

/* Folders that a report was being drawn in when the program died. */
static void clear_desks(rounds *self)
{
    char path[4096];
    struct stat facts;
    const time_t long_ago = time(NULL) - 3600;
    DIR *folder = opendir(self->store->folder);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        if (!strncmp(entry->d_name, "desk-", 5) &&
            snprintf(path, sizeof path, "%s/%s", self->store->folder, entry->d_name) < (int)sizeof path && !stat(path, &facts) &&
            facts.st_mtime < long_ago) {
            sl_store_remove_folder(path);
            self->state->tidied++;
        }
    if (folder)
        closedir(folder);
}

sl_status sl_store_check(sl_store *store, sl_store_say say, void *context, sl_store_state *state, sl_error *error)
{
    *state = (sl_store_state){0};
    rounds self = {store, say, context, state};
    sl_error own = {.status = SL_OK};
    sl_status status = sl_store_lock(store, error);
    if (status != SL_OK)
        return status;
    status = sl_store_run(store, &own, "BEGIN", ""); /* one moment for all of it */
    if (status == SL_OK)
        status = check_database(&self, &own);
    if (status == SL_OK)
        status = check_log(&self, &own);
    if (status == SL_OK)
        status = check_signatures(&self, &own);
    if (status == SL_OK)
        status = check_files(&self, &own);
    if (status == SL_OK) {
        tidy(&self);
        clear_desks(&self);
        state->people = (int)sl_store_number(store, 0, "SELECT count(*) FROM person", "", NULL);
        state->exams = (int)sl_store_number(store, 0, "SELECT count(*) FROM examination", "", NULL);
        state->clips = (int)sl_store_number(store, 0, "SELECT count(*) FROM clip", "", NULL);
        state->objects = (int)sl_store_number(store, 0, "SELECT count(*) FROM object", "", NULL);
        sl_store_object_tidy(store);
    }
    if (!sqlite3_get_autocommit(store->db))
        sl_store_run(store, NULL, "ROLLBACK", "");
    sl_store_unlock(store);
    if (status == SL_OK && state->problems)
        status = sl_fail(&own, SL_FORMAT, "The store in %s has %d problem%s.", store->folder, state->problems,
                         state->problems == 1 ? "" : "s");
    if (error)
        *error = own;
    return status;
}
