#include "report/outfile.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

static sl_status say(const char *path, int cause, sl_error *error)
{
    const char *remedy = cause == ENOSPC || cause == EDQUOT ? " Free some space and try again."
                         : cause == EACCES || cause == EPERM || cause == EROFS
                             ? " Ask for permission to that place or choose another."
                             : "";
    return sl_fail(error, SL_IO, "%s could not be written: %s.%s", path, strerror(cause), remedy);
}

sl_status sl_outfile_open(sl_outfile *out, const char *path, sl_error *error)
{
    out->file = NULL;
    out->cause = 0;
    if (snprintf(out->path, sizeof out->path, "%s", path) >= (int)sizeof out->path ||
        snprintf(out->part, sizeof out->part, "%s.part", path) >= (int)sizeof out->part)
        return sl_fail(error, SL_USAGE, "The path %.80s... is too long. Choose a shorter one.", path);
    out->file = fopen(out->part, "wb");
    return out->file ? SL_OK : say(path, errno, error);
}

bool sl_outfile_write(sl_outfile *out, const void *bytes, size_t length)
{
    if (out->cause)
        return false;
    errno = 0;
    if (fwrite(bytes, 1, length, out->file) != length)
        out->cause = errno ? errno : EIO;
    return !out->cause;
}

sl_status sl_outfile_close(sl_outfile *out, bool keep, sl_error *error)
{
    errno = 0;
    if (fflush(out->file) && !out->cause)
        out->cause = errno ? errno : EIO;
    if (fclose(out->file) && !out->cause)
        out->cause = errno ? errno : EIO;
    out->file = NULL;
    if (keep && !out->cause && !rename(out->part, out->path))
        return SL_OK;
    int cause = out->cause ? out->cause : errno;
    unlink(out->part);
    return keep ? say(out->path, cause, error) : SL_OK;
}
