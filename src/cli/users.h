/* Where the users of a page served beyond this machine are kept. */
#ifndef SL_CLI_USERS_H
#define SL_CLI_USERS_H

#include "core/arena.h"

/* `given`, or access in the store's folder; NULL when there is neither. */
const char *sl_access_folder(const char *given, sl_arena *arena);

#endif
