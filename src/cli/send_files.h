/* The files below what was named. */
#ifndef SL_CLI_SEND_FILES_H
#define SL_CLI_SEND_FILES_H

#include "core/error.h"

#include <stdbool.h>

/* Calls `take` for `path`, or for every file below it in the order of names, until one is not SL_OK; `named`: it is `path` itself. Hidden
 * files and what symbolic links to folders lead to are left out. */
typedef sl_status (*sl_send_take)(void *context, const char *path, bool named, sl_error *error);
sl_status sl_send_files(const char *path, sl_send_take take, void *context, sl_error *error);

#endif
