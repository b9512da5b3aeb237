/* Errors are values. A function that can fail returns an sl_status and, when `error` is not NULL, fills it with one
 * sentence a clinician can act on: which file, what is wrong, what to do. Nothing prints or aborts from a library. */
#ifndef SL_CORE_ERROR_H
#define SL_CORE_ERROR_H

typedef enum sl_status {
    SL_OK = 0,
    SL_USAGE,       /* the caller's words or arguments are off */
    SL_IO,          /* the file system said no: absent, no permission, disk full */
    SL_FORMAT,      /* the bytes are not what the name or the header promises */
    SL_UNREADABLE,  /* a good file whose content cannot be read as this program needs it */
    SL_UNSUPPORTED, /* a known format or variant that is not handled */
    SL_LIMIT,       /* larger or longer than the stated limit */
    SL_MEMORY       /* memory ran out */
} sl_status;

typedef struct sl_error {
    sl_status status;
    char text[512]; /* a whole sentence, UTF-8, no line break */
} sl_error;

/* Fills `error` (may be NULL) and returns `status`, so that a failing function can `return sl_fail(...)`. */
sl_status sl_fail(sl_error *error, sl_status status, const char *format, ...) __attribute__((format(printf, 3, 4)));

/* Short name of a status for files, e.g. "io". Never NULL. */
const char *sl_status_name(sl_status status);

#endif
