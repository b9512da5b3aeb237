#define _GNU_SOURCE /* O_NOFOLLOW */
#include "clip/unpack.h"

#include "core/file.h"
#include "core/text.h"

#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { MOST_FILES = 100000, BLOCK = 1 << 16, NAME_ROOM = 4096 };
static const long long most_bytes = 16LL << 30;

/* Formats by name: the "raw" and "empty" ones of libarchive would take any file for an archive. */
static struct archive *open_archive(const char *path)
{
    struct archive *archive = archive_read_new();
    if (!archive)
        return NULL;
    archive_read_support_format_zip(archive);
    archive_read_support_format_tar(archive);
    archive_read_support_format_7zip(archive);
    archive_read_support_filter_gzip(archive);
    archive_read_support_filter_bzip2(archive);
    archive_read_support_filter_xz(archive);
    if (archive_read_open_filename(archive, path, BLOCK) == ARCHIVE_OK)
        return archive;
    archive_read_free(archive);
    return NULL;
}

bool sl_is_archive(const char *path)
{
    struct archive *archive = open_archive(path);
    struct archive_entry *entry;
    if (!archive)
        return false;
    int result = archive_read_next_header(archive, &entry);
    bool is = (result == ARCHIVE_OK || result == ARCHIVE_WARN) && archive_entry_pathname(entry);
    archive_read_free(archive);
    return is;
}

/* Stays below the folder: no root, no "..". */
static bool is_inside(const char *name)
{
    if (!*name || *name == '/' || strchr(name, '\\'))
        return false;
    for (const char *part = name; part; part = strchr(part, '/'), part += part != NULL)
        if (!strncmp(part, "..", 2) && (part[2] == '/' || !part[2]))
            return false;
    return true;
}

static sl_status make_parents(char *path, sl_error *error)
{
    char *last = strrchr(path, '/');
    if (!last)
        return SL_OK;
    *last = 0;
    sl_status status = sl_folder_make(path, error);
    *last = '/';
    return status;
}

static sl_status copy_entry(struct archive *archive, const char *path, const char *name, long long *total, sl_error *error)
{
    static _Thread_local char block[BLOCK];
    int file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0666);
    if (file < 0)
        return sl_fail(error, SL_IO, "%s could not be unpacked: %s.", name, strerror(errno));
    sl_status status = SL_OK;
    la_ssize_t got;
    while (!status && (got = archive_read_data(archive, block, sizeof block)) != 0) {
        *total += got > 0 ? got : 0;
        if (got < 0)
            status = sl_fail(error, SL_FORMAT, "%s is damaged or needs a password. Unpack it yourself and name the folder.", name);
        else if (*total > most_bytes)
            status = sl_fail(error, SL_LIMIT, "%s unpacks to more than 16 GB. Unpack it yourself and name the folder.", name);
        else if (write(file, block, (size_t)got) != got)
            status = sl_fail(error, SL_IO, "%s could not be unpacked: the disk is full or not writable.", name);
    }
    if (close(file) && !status)
        status = sl_fail(error, SL_IO, "%s could not be unpacked: %s.", name, strerror(errno));
    if (status)
        unlink(path);
    return status;
}

static sl_status unpack_all(struct archive *archive, const char *name, const char *folder, sl_error *error)
{
    struct archive_entry *entry;
    long long total = 0;
    int files = 0, result;
    while ((result = archive_read_next_header(archive, &entry)) == ARCHIVE_OK || result == ARCHIVE_WARN) {
        const char *inside = archive_entry_pathname_utf8(entry);
        char path[NAME_ROOM];
        inside = inside ? inside : archive_entry_pathname(entry);
        bool fits = inside && snprintf(path, sizeof path, "%s/%s", folder, inside) < (int)sizeof path;
        if (!fits || archive_entry_filetype(entry) != AE_IFREG || archive_entry_hardlink(entry) || !is_inside(inside))
            continue;
        if (++files > MOST_FILES)
            return sl_fail(error, SL_LIMIT, "%s holds more than %d files. Unpack it yourself and name the folder.", name, MOST_FILES);
        sl_status status = make_parents(path, error);
        if (!status)
            status = copy_entry(archive, path, name, &total, error);
        if (status)
            return status;
    }
    if (result != ARCHIVE_EOF)
        return sl_fail(error, SL_FORMAT, "%s is a damaged archive. Copy or export it again.", name);
    return SL_OK;
}

sl_status sl_unpack(const char *path, const char *folder, sl_error *error)
{
    const char *name = sl_path_name(path);
    struct archive *archive = open_archive(path);
    if (!archive)
        return sl_fail(error, SL_FORMAT, "%s cannot be opened as an archive. Copy or export it again.", name);
    sl_status status = sl_folder_make(folder, error);
    if (!status)
        status = unpack_all(archive, name, folder, error);
    archive_read_free(archive);
    return status;
}
