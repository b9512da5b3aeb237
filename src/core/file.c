#include "core/file.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static sl_status say_errno(const char *doing, const char *path, sl_error *error)
{
    int cause = errno;
    const char *remedy = cause == ENOSPC || cause == EDQUOT ? " Free some space and try again."
                         : cause == EACCES || cause == EPERM || cause == EROFS
                             ? " Ask for permission to that place or choose another."
                             : "";
    return sl_fail(error, SL_IO, "%s could not be %s: %s.%s", path, doing, strerror(cause), remedy);
}

sl_status sl_file_read(const char *path, size_t most, sl_arena *arena, char **bytes, size_t *length, sl_error *error)
{
    FILE *file = fopen(path, "rb");
    struct stat facts;
    if (!file)
        return say_errno("opened", path, error);
    if (fstat(fileno(file), &facts) || S_ISDIR(facts.st_mode)) {
        fclose(file);
        return sl_fail(error, SL_IO, "%s is not a file that can be read.", path);
    }
    if ((unsigned long long)facts.st_size > most) {
        fclose(file);
        return sl_fail(error, SL_LIMIT, "%s is larger than the %zu bytes allowed for a file of this kind.", path, most);
    }
    size_t room = (size_t)facts.st_size;
    *bytes = sl_arena_alloc(arena, room + 1, 1);
    if (!*bytes) {
        fclose(file);
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", path);
    }
    *length = fread(*bytes, 1, room, file);
    int failed = ferror(file);
    fclose(file);
    return failed ? sl_fail(error, SL_IO, "%s could not be read to its end.", path) : SL_OK;
}

sl_status sl_file_write(const char *path, const void *bytes, size_t length, sl_error *error)
{
    char part[4096];
    if (snprintf(part, sizeof part, "%s.part", path) >= (int)sizeof part)
        return sl_fail(error, SL_USAGE, "The path %.80s... is too long. Choose a shorter one.", path);
    FILE *file = fopen(part, "wb");
    if (!file)
        return say_errno("written", path, error);
    errno = 0;
    int failed = fwrite(bytes, 1, length, file) != length;
    failed |= fflush(file) != 0;
    int cause = errno;
    failed |= fclose(file) != 0;
    if (!failed && !rename(part, path))
        return SL_OK;
    errno = failed && cause ? cause : errno;
    sl_status status = say_errno("written", path, error);
    unlink(part);
    return status;
}

sl_status sl_folder_make(const char *path, sl_error *error)
{
    char part[4096];
    if (strlen(path) >= sizeof part || !*path)
        return sl_fail(error, SL_USAGE, "The folder's path is empty or too long.");
    strcpy(part, path);
    for (char *at = part + 1;; at++) {
        if (*at != '/' && *at)
            continue;
        char kept = *at;
        *at = 0;
        if (mkdir(part, 0777) && errno != EEXIST)
            return say_errno("made", part, error);
        *at = kept;
        if (!kept)
            break;
    }
    struct stat facts;
    if (stat(path, &facts) || !S_ISDIR(facts.st_mode))
        return sl_fail(error, SL_IO, "%s exists and is not a folder. Choose another place.", path);
    return SL_OK;
}
