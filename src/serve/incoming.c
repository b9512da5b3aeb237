#include "serve/incoming.h"

#include "core/text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct sl_incoming {
    char folder[PATH_MAX], path[PATH_MAX + 32], name[128];
    int file;
};

void sl_incoming_name(const char *name, char *clean, size_t room)
{
    const char *slash = strrchr(name, '/'), *back = strrchr(name, '\\');
    if (slash)
        name = slash + 1;
    if (back && back >= name)
        name = back + 1;
    size_t used = 0, most = room - 1 < 120 ? room - 1 : 120;
    for (; *name && used < most; name++) {
        unsigned char c = (unsigned char)*name;
        bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c >= 0x80 || c == '-' || c == '_';
        if (plain || ((c == '.' || c == ' ') && used))
            clean[used++] = (char)c;
        else
            clean[used++] = '_';
    }
    while (used && ((unsigned char)clean[used - 1] & 0xC0) == 0x80 && used == most) /* no half letter at a cut */
        used--;
    while (used && (clean[used - 1] == ' ' || clean[used - 1] == '.'))
        used--;
    clean[used] = 0;
    if (!used)
        snprintf(clean, room, "clip");
}

sl_status sl_incoming_open(const char *folder, const char *name, sl_incoming **incoming, sl_error *error)
{
    sl_incoming *self = calloc(1, sizeof *self);
    *incoming = NULL;
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    snprintf(self->folder, sizeof self->folder, "%s", folder);
    sl_incoming_name(name, self->name, sizeof self->name);
    snprintf(self->path, sizeof self->path, "%s/.incoming-XXXXXX", folder);
    self->file = mkstemp(self->path);
    if (self->file < 0) {
        sl_status status = sl_fail(error, SL_IO, "%s cannot be written to: %s.", folder, strerror(errno));
        free(self);
        return status;
    }
    *incoming = self;
    return SL_OK;
}

sl_status sl_incoming_add(sl_incoming *self, const void *bytes, size_t length, sl_error *error)
{
    const char *at = bytes;
    while (length) {
        ssize_t wrote = write(self->file, at, length);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0)
            return sl_fail(error, SL_IO, "%s could not be written: %s. Make room and bring it in again.", self->name, strerror(errno));
        at += wrote;
        length -= (size_t)wrote;
    }
    return SL_OK;
}

sl_status sl_incoming_finish(sl_incoming *self, char *name, size_t room, sl_error *error)
{
    if (fsync(self->file) || close(self->file)) {
        self->file = -1;
        return sl_fail(error, SL_IO, "%s could not be written: %s. Make room and bring it in again.", self->name, strerror(errno));
    }
    self->file = -1;
    const char *ending = sl_path_extension(self->name);
    int stem = (int)(strlen(self->name) - strlen(ending) - (*ending ? 1 : 0));
    char path[PATH_MAX + 160], called[160];
    for (int n = 1; n < 10000; n++) {
        if (n == 1)
            snprintf(called, sizeof called, "%s", self->name);
        else
            snprintf(called, sizeof called, "%.*s-%d%s%s", stem, self->name, n, *ending ? "." : "", ending);
        if (snprintf(path, sizeof path, "%s/%s", self->folder, called) >= (int)sizeof path)
            break;
        int linked = link(self->path, path); /* fails when there is one of that name */
        if (linked && (errno == EPERM || errno == EOPNOTSUPP)) /* file systems without links: memory sticks */
            linked = access(path, F_OK) ? rename(self->path, path) : (errno = EEXIST, -1);
        if (!linked) {
            unlink(self->path);
            self->path[0] = 0;
            snprintf(name, room, "%s", called);
            return SL_OK;
        }
        if (errno != EEXIST)
            break;
    }
    return sl_fail(error, SL_IO, "%s could not be put into its folder: %s.", self->name, strerror(errno));
}

void sl_incoming_drop(sl_incoming **incoming)
{
    if (!*incoming)
        return;
    if ((*incoming)->file >= 0)
        close((*incoming)->file);
    if ((*incoming)->path[0])
        unlink((*incoming)->path);
    free(*incoming);
    *incoming = NULL;
}
