#include "store/inner.h"

#include "core/file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

sl_status sl_store_io(const char *doing, const char *path, int cause, sl_error *error)
{
    const char *remedy = cause == ENOSPC || cause == EDQUOT ? " Nothing was changed. Free some space and try again."
                         : cause == EACCES || cause == EPERM || cause == EROFS
                             ? " Ask for permission to that place or choose another."
                             : "";
    return sl_fail(error, SL_IO, "%s could not be %s: %s.%s", path, doing, strerror(cause), remedy);
}

bool sl_store_is_hash(const char *text)
{
    return strlen(text) == 64 && strspn(text, "0123456789abcdef") == 64;
}

bool sl_store_place(const sl_store *store, const char *hash, char *path, size_t room)
{
    return snprintf(path, room, "%s/files/%.2s/%s", store->folder, hash, hash) < (int)room;
}

sl_status sl_store_sync_folder(const char *path)
{
    int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder < 0)
        return SL_IO;
    int failed = fsync(folder);
    close(folder);
    return failed ? SL_IO : SL_OK;
}

void sl_store_remove_folder(const char *path)
{
    char inner[4096];
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        if (!strcmp(entry->d_name, ".") || !strcmp(entry->d_name, "..") ||
            snprintf(inner, sizeof inner, "%s/%s", path, entry->d_name) >= (int)sizeof inner)
            continue;
        if (unlink(inner))
            sl_store_remove_folder(inner);
    }
    if (folder)
        closedir(folder);
    rmdir(path);
}

/* ---- one writer at a time ---- */

/* Removes the files of a list that no record names, then the list. */
static void settle(sl_store *store, const char *list)
{
    char line[80], path[4096];
    FILE *file = fopen(list, "r");
    while (file && fgets(line, sizeof line, file)) {
        line[strcspn(line, "\n")] = 0;
        if (!sl_store_is_hash(line)) /* the last line, cut short: its file was not there yet */
            continue;
        if (sl_store_number(store, -1, "SELECT count(*) FROM file WHERE hash = ?1", "t", line) == 0 &&
            sl_store_place(store, line, path, sizeof path))
            unlink(path);
    }
    if (file) {
        fclose(file);
        unlink(list);
    }
}

/* Calls `settle` for every list, and removes half-copied files. Under the lock nobody else is writing. */
static void clear_pending(sl_store *store)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/pending", store->folder);
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        size_t length = strlen(entry->d_name);
        if (entry->d_name[0] == '.' || snprintf(path, sizeof path, "%s/pending/%s", store->folder, entry->d_name) >= (int)sizeof path)
            continue;
        if (length > 5 && !strcmp(entry->d_name + length - 5, ".list"))
            settle(store, path);
        else
            unlink(path);
    }
    if (folder)
        closedir(folder);
}

sl_status sl_store_lock(sl_store *store, sl_error *error)
{
    if (store->held++)
        return SL_OK;
    const struct timespec pause = {0, 20 * 1000000};
    for (int waited = 0; flock(store->lock, LOCK_EX | LOCK_NB); waited += 20) {
        if ((errno != EWOULDBLOCK && errno != EINTR) || waited >= SL_STORE_PATIENCE_MS) {
            store->held = 0;
            return sl_store_trouble(store, SQLITE_BUSY, error);
        }
        nanosleep(&pause, NULL);
    }
    clear_pending(store);
    return SL_OK;
}

void sl_store_unlock(sl_store *store)
{
    if (store->held && !--store->held)
        flock(store->lock, LOCK_UN);
}

/* ---- files in and out ---- */

sl_status sl_store_batch_open(sl_store *store, sl_store_batch *batch, sl_error *error)
{
    char uid[SL_STORE_UID];
    sl_store_uid(uid);
    *batch = (sl_store_batch){.store = store, .file = -1};
    snprintf(batch->list, sizeof batch->list, "%s/pending/%s.list", store->folder, uid);
    batch->file = open(batch->list, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    return batch->file < 0 ? sl_store_io("written", batch->list, errno, error) : SL_OK;
}

sl_status sl_store_batch_name(sl_store_batch *batch, const char *hash, sl_error *error)
{
    char line[SL_STORE_HASH + 1], folder[3200];
    snprintf(line, sizeof line, "%s\n", hash);
    if (write(batch->file, line, SL_STORE_HASH) != SL_STORE_HASH || fsync(batch->file))
        return sl_store_io("written", batch->list, errno, error);
    snprintf(folder, sizeof folder, "%s/pending", batch->store->folder);
    sl_store_sync_folder(folder);
    return SL_OK;
}

/* Renames `part`, whose bytes are on the disk, to its place; `*there`: the content is kept already, and `part` is left. */
static sl_status put_in_place(sl_store_batch *batch, const char *part, const char *hash, int64_t bytes, bool *there, sl_error *error)
{
    char place[4096], folder[4096];
    struct stat facts;
    if (!sl_store_place(batch->store, hash, place, sizeof place))
        return sl_fail(error, SL_USAGE, "The store's path %.80s... is too long. Choose a shorter one.", batch->store->folder);
    *there = !stat(place, &facts) && facts.st_size == bytes;
    if (*there)
        return SL_OK;
    snprintf(folder, sizeof folder, "%s/files/%.2s", batch->store->folder, hash);
    sl_status status = sl_store_batch_name(batch, hash, error);
    if (status == SL_OK && mkdir(folder, 0700) && errno != EEXIST)
        status = sl_store_io("made", folder, errno, error);
    if (status == SL_OK && rename(part, place))
        status = sl_store_io("written", place, errno, error);
    if (status == SL_OK && sl_store_sync_folder(folder) != SL_OK)
        status = sl_store_io("written", place, errno, error);
    snprintf(folder, sizeof folder, "%s/files", batch->store->folder);
    if (status == SL_OK)
        sl_store_sync_folder(folder);
    return status;
}

sl_status sl_store_batch_put(sl_store_batch *batch, const char *path, char hash[SL_STORE_HASH], int64_t *bytes,
                             sl_error *error)
{
    char part[3300];
    bool there = false;
    snprintf(part, sizeof part, "%s.part", batch->list);
    int file = open(part, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0400);
    if (file < 0)
        return sl_store_io("written", part, errno, error);
    sl_status status = sl_sha256_copy(path, file, part, hash, bytes, error);
    if (status == SL_OK && fsync(file))
        status = sl_store_io("written", part, errno, error);
    close(file);
    if (status == SL_OK)
        status = put_in_place(batch, part, hash, *bytes, &there, error);
    if (status != SL_OK || there)
        unlink(part);
    return status;
}

sl_status sl_store_batch_move(sl_store_batch *batch, const char *path, const char *hash, int64_t bytes, sl_error *error)
{
    bool there = false;
    chmod(path, 0400);
    sl_status status = put_in_place(batch, path, hash, bytes, &there, error);
    if (there)
        unlink(path);
    return status;
}

void sl_store_batch_close(sl_store_batch *batch)
{
    if (batch->file < 0)
        return;
    close(batch->file);
    batch->file = -1;
    settle(batch->store, batch->list);
}

sl_status sl_store_copy(const char *from, const char *to, const char *hash, sl_error *error)
{
    char found[SL_STORE_HASH];
    int64_t bytes;
    int file = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (file < 0)
        return sl_store_io("written", to, errno, error);
    sl_status status = sl_sha256_copy(from, file, to, found, &bytes, error);
    if (status == SL_OK && fsync(file))
        status = sl_store_io("written", to, errno, error);
    if (close(file) && status == SL_OK)
        status = sl_store_io("written", to, errno, error);
    if (status == SL_OK && hash && strcmp(found, hash))
        status = sl_fail(error, SL_FORMAT, "%s is not what was put there: its content has changed. Take it from a backup.", from);
    if (status != SL_OK)
        unlink(to);
    return status;
}

sl_status sl_store_path(sl_store *store, const char *hash, sl_arena *arena, char **path, sl_error *error)
{
    char place[4096];
    struct stat facts;
    if (!sl_store_is_hash(hash) || !sl_store_place(store, hash, place, sizeof place))
        return sl_fail(error, SL_USAGE, "\"%.70s\" names no kept file.", hash);
    if (stat(place, &facts))
        return sl_fail(error, SL_IO,
                       "The file %s of the store is gone; its record is kept. Put it back from a backup: strandline store check "
                       "tells what else is missing.",
                       place);
    *path = sl_arena_text(arena, place);
    return *path ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
}
