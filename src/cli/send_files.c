#include "cli/send_files.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { DEEPEST = 32 };

static int shown(const struct dirent *entry)
{
    return entry->d_name[0] != '.';
}

static sl_status below(const char *folder, int depth, sl_send_take take, void *context, sl_error *error)
{
    struct dirent **entry;
    if (depth > DEEPEST)
        return sl_fail(error, SL_LIMIT, "%.200s has folders more than %d deep.", folder, DEEPEST);
    const int count = scandir(folder, &entry, shown, alphasort);
    if (count < 0)
        return sl_fail(error, SL_IO, "%.200s cannot be looked into: %s.", folder, strerror(errno));
    sl_status status = SL_OK;
    for (int i = 0; i < count; i++) {
        char path[4096];
        struct stat facts;
        if (status == SL_OK && snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name) < (int)sizeof path && !lstat(path, &facts)) {
            if (S_ISDIR(facts.st_mode))
                status = below(path, depth + 1, take, context, error);
            else if (S_ISREG(facts.st_mode) || (S_ISLNK(facts.st_mode) && !stat(path, &facts) && S_ISREG(facts.st_mode)))
                status = take(context, path, false, error);
        }
        free(entry[i]);
    }
    free(entry);
    return status;
}

sl_status sl_send_files(const char *path, sl_send_take take, void *context, sl_error *error)
{
    struct stat facts;
    if (stat(path, &facts))
        return sl_fail(error, SL_IO, "%s cannot be read: %s.", path, strerror(errno));
    if (!S_ISDIR(facts.st_mode) && !S_ISREG(facts.st_mode))
        return sl_fail(error, SL_USAGE, "%s is neither a file nor a folder.", path);
    return S_ISDIR(facts.st_mode) ? below(path, 0, take, context, error) : take(context, path, true, error);
}
