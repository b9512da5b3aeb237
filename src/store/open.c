#include "store/inner.h"

#include "core/file.h"

#include <errno.h>
#include <fcntl.h>
#include <pwd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

char *sl_store_default_folder(sl_arena *arena)
{
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    if (data && *data == '/') /* the XDG base directory specification: a relative one is to be ignored */
        return sl_arena_printf(arena, "%s/strandline", data);
    return home && *home ? sl_arena_printf(arena, "%s/.local/share/strandline", home) : NULL;
}

static void name_user(const char *given, char *who, size_t room)
{
    char buffer[1024];
    struct passwd entry, *found = NULL;
    if (!given || !*given)
        getpwuid_r(getuid(), &entry, buffer, sizeof buffer, &found);
    if (found)
        snprintf(who, room, "%s", found->pw_name);
    else if (given && *given)
        snprintf(who, room, "%s", given);
    else
        snprintf(who, room, "user %u", (unsigned)getuid());
}

static sl_status make_folders(sl_store *store, sl_error *error)
{
    static const char *const names[] = {"files", "pending"};
    char path[4096];
    struct stat facts;
    bool fresh = stat(store->folder, &facts) != 0;
    sl_status status = sl_folder_make(store->folder, error);
    if (status == SL_OK && fresh)
        chmod(store->folder, 0700); /* nobody else's business */
    for (int i = 0; i < 2 && status == SL_OK; i++) {
        snprintf(path, sizeof path, "%s/%s", store->folder, names[i]);
        status = sl_folder_make(path, error);
    }
    return status;
}

static sl_status open_database(sl_store *store, const sl_store_options *options, sl_error *error)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/store.db", store->folder);
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | (options->make ? SQLITE_OPEN_CREATE : 0);
    int code = sqlite3_open_v2(path, &store->db, flags, options->vfs);
    if (code != SQLITE_OK)
        return sl_store_trouble(store, code, error);
    sqlite3_extended_result_codes(store->db, 1);
    sqlite3_busy_timeout(store->db, SL_STORE_PATIENCE_MS);
    /* FULL: a commit is on the disk when it returns. Replacing must not go round the triggers that forbid deleting. */
    static const char *const settings[] = {"PRAGMA synchronous = FULL", "PRAGMA foreign_keys = ON", "PRAGMA recursive_triggers = ON", "PRAGMA secure_delete = ON",
                                           "PRAGMA trusted_schema = OFF", "PRAGMA cell_size_check = ON"};
    sl_status status = SL_OK;
    for (size_t i = 0; i < sizeof settings / sizeof *settings && status == SL_OK; i++)
        status = sl_store_run(store, error, settings[i], "");
    return status;
}

sl_status sl_store_open(const sl_store_options *options, sl_store **opened, sl_error *error)
{
    sl_arena arena = {0};
    struct stat facts;
    char path[4096];
    *opened = NULL;
    sl_store *store = calloc(1, sizeof *store);
    if (!store)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    store->lock = -1;
    const char *folder = options->folder ? options->folder : sl_store_default_folder(&arena);
    sl_status status = SL_OK;
    if (!folder || !*folder)
        status = sl_fail(error, SL_USAGE, "It is not known where your data lies: say where the store is with --store DIR.");
    else if (snprintf(store->folder, sizeof store->folder, "%s", folder) >= (int)sizeof store->folder)
        status = sl_fail(error, SL_USAGE, "The store's path %.80s... is too long. Choose a shorter one.", folder);
    sl_arena_free(&arena);
    name_user(options->who, store->who, sizeof store->who);
    snprintf(path, sizeof path, "%s/store.db", store->folder);
    if (status == SL_OK && !options->make && !options->vfs && stat(path, &facts))
        status = sl_fail(error, SL_IO, "There is no store in %s yet. strandline store add, or strandline read --keep, makes it.",
                         store->folder);
    if (status == SL_OK && options->make)
        status = make_folders(store, error);
    if (status == SL_OK) {
        snprintf(path, sizeof path, "%s/lock", store->folder);
        store->lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
        if (store->lock < 0)
            status = sl_store_io("opened", path, errno, error);
    }
    if (status == SL_OK)
        status = open_database(store, options, error);
    if (status == SL_OK)
        status = sl_store_migrate(store, options->make, error);
    if (status != SL_OK) {
        sl_store_close(store);
        return status;
    }
    *opened = store;
    return SL_OK;
}

void sl_store_close(sl_store *store)
{
    if (!store)
        return;
    sqlite3_close(store->db);
    if (store->lock >= 0)
        close(store->lock);
    free(store);
}

const char *sl_store_folder(const sl_store *store)
{
    return store->folder;
}
