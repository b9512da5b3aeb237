#include "cli/command.h"

#include <stddef.h>

/* The list that registers every command: declare it, then name it. Alphabetical. */

const sl_command *const sl_commands[] = {
    NULL,
};
