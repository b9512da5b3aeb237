#include "store/inner.h"

#include "core/file.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static sl_status copy_database(sl_store *store, const char *folder, sl_error *error)
{
    char path[4096];
    sqlite3 *copy = NULL;
    snprintf(path, sizeof path, "%s/store.db", folder);
    int code = sqlite3_open_v2(path, &copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);
    sqlite3_backup *backup = code == SQLITE_OK ? sqlite3_backup_init(copy, "main", store->db, "main") : NULL;
    if (code == SQLITE_OK)
        code = backup ? sqlite3_backup_step(backup, -1) : sqlite3_errcode(copy);
    if (backup) {
        int end = sqlite3_backup_finish(backup);
        code = code == SQLITE_DONE ? end : code;
    }
    sqlite3_close(copy); /* closing the last connection writes everything to the one file */
    return code == SQLITE_OK ? SL_OK : sl_store_trouble(store, code, error);
}

static sl_status copy_files(sl_store *store, const char *folder, sl_error *error)
{
    char from[4096], to[4096];
    sqlite3_stmt *ask = sl_store_ask(store, error, "SELECT hash FROM file ORDER BY hash", "");
    int got = ask ? 1 : -1;
    sl_status status = SL_OK;
    while (status == SL_OK && got > 0 && (got = sl_store_next(store, ask, error)) > 0) {
        const char *hash = (const char *)sqlite3_column_text(ask, 0);
        snprintf(to, sizeof to, "%s/files/%.2s", folder, hash);
        if (mkdir(to, 0700) && errno != EEXIST)
            status = sl_store_io("made", to, errno, error);
        else if (!sl_store_place(store, hash, from, sizeof from) ||
                 snprintf(to, sizeof to, "%s/files/%.2s/%s", folder, hash, hash) >= (int)sizeof to)
            status = sl_fail(error, SL_USAGE, "The path %.80s... is too long. Choose a shorter one.", folder);
        else
            status = sl_store_copy(from, to, hash, error);
    }
    sqlite3_finalize(ask);
    return got < 0 ? SL_IO : status;
}

/* A new folder beside `folder` that takes its name when it is complete. */
static sl_status make_part(const char *folder, char *part, size_t room, sl_error *error)
{
    char inner[4096];
    struct stat facts;
    if (snprintf(part, room, "%s.part", folder) >= (int)room || strlen(folder) > 3000)
        return sl_fail(error, SL_USAGE, "The path %.80s... is too long. Choose a shorter one.", folder);
    if (!stat(folder, &facts) && rmdir(folder)) /* an empty folder is fine */
        return sl_fail(error, SL_IO, "%s is there already. Name a folder that is not, so that nothing is overwritten.", folder);
    sl_store_remove_folder(part);
    static const char *const names[] = {"files", "pending"};
    for (int i = 0; i < 2; i++) {
        snprintf(inner, sizeof inner, "%s/%s", part, names[i]);
        sl_status status = sl_folder_make(inner, error);
        if (status != SL_OK)
            return status;
    }
    chmod(part, 0700);
    return SL_OK;
}

sl_status sl_store_backup(sl_store *store, const char *folder, sl_error *error)
{
    char part[4096];
    sl_status status = make_part(folder, part, sizeof part, error);
    if (status != SL_OK)
        return status;
    status = sl_store_lock(store, error); /* nobody forgets or adds in between */
    if (status == SL_OK) {
        status = copy_database(store, part, error);
        if (status == SL_OK)
            status = copy_files(store, part, error);
        sl_store_unlock(store);
    }
    if (status == SL_OK)
        sl_store_sync_folder(part);
    if (status == SL_OK && rename(part, folder))
        status = sl_store_io("written", folder, errno, error);
    if (status != SL_OK)
        sl_store_remove_folder(part);
    return status;
}

/* ---- back ---- */

typedef struct first_problem {
    char text[300];
} first_problem;

static void keep_first(void *context, const char *sentence)
{
    first_problem *first = context;
    if (!first->text[0])
        snprintf(first->text, sizeof first->text, "%s", sentence);
}

static sl_status take_backup(const char *backup, const char *part, sl_error *error)
{
    sl_store *copy;
    sl_store_state state;
    first_problem first = {{0}};
    sl_status status = sl_store_open(&(sl_store_options){.folder = backup}, &copy, error);
    if (status != SL_OK)
        return status;
    status = sl_store_check(copy, keep_first, &first, &state, error);
    if (status != SL_OK && first.text[0])
        sl_fail(error, status, "The backup in %s is not whole, so it was not put back: %s", backup, first.text);
    if (status == SL_OK)
        status = copy_database(copy, part, error);
    if (status == SL_OK)
        status = copy_files(copy, part, error);
    sl_store_close(copy);
    return status;
}

/* The store that is there goes aside, under its lock so that no program is writing to it. */
static sl_status move_aside(const char *folder, char *aside, size_t room, sl_error *error)
{
    struct stat facts;
    time_t now = time(NULL);
    struct tm parts;
    char stamp[32];
    aside[0] = 0;
    if (stat(folder, &facts))
        return SL_OK;
    gmtime_r(&now, &parts);
    strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &parts);
    if (snprintf(aside, room, "%s.before-%s", folder, stamp) >= (int)room)
        return sl_fail(error, SL_USAGE, "The path %.80s... is too long.", folder);
    sl_store *old;
    sl_status locked = sl_store_open(&(sl_store_options){.folder = folder}, &old, NULL);
    if (locked == SL_OK && (locked = sl_store_lock(old, error)) != SL_OK) {
        sl_store_close(old);
        return locked;
    }
    int failed = rename(folder, aside), cause = errno; /* a damaged one cannot be opened and moves all the same */
    sl_store_close(locked == SL_OK ? old : NULL);
    return failed ? sl_store_io("moved aside", folder, cause, error) : SL_OK;
}

sl_status sl_store_restore(const char *backup, const char *folder, char *aside, size_t room, sl_error *error)
{
    char part[4096];
    aside[0] = 0;
    if (strlen(folder) > 3000)
        return sl_fail(error, SL_USAGE, "The path %.80s... is too long. Choose a shorter one.", folder);
    snprintf(part, sizeof part, "%s.restored", folder);
    char made[4200];
    snprintf(made, sizeof made, "%s.part", part);
    rmdir(part);
    sl_status status = make_part(part, made, sizeof made, error);
    if (status == SL_OK)
        status = take_backup(backup, made, error);
    if (status == SL_OK)
        status = move_aside(folder, aside, room, error);
    if (status == SL_OK && rename(made, folder))
        status = sl_store_io("put in place", folder, errno, error);
    if (status != SL_OK)
        sl_store_remove_folder(made);
    return status;
}
