#include "core/error.h"

#include <stdarg.h>
#include <stdio.h>

sl_status sl_fail(sl_error *error, sl_status status, const char *format, ...)
{
    if (error) {
        va_list args;
        va_start(args, format);
        error->status = status;
        vsnprintf(error->text, sizeof error->text, format, args);
        va_end(args);
    }
    return status;
}

const char *sl_status_name(sl_status status)
{
    switch (status) {
    case SL_OK:
        return "ok";
    case SL_USAGE:
        return "usage";
    case SL_IO:
        return "io";
    case SL_FORMAT:
        return "format";
    case SL_UNREADABLE:
        return "unreadable";
    case SL_UNSUPPORTED:
        return "unsupported";
    case SL_LIMIT:
        return "limit";
    case SL_MEMORY:
        return "memory";
    }
    return "unknown";
}
