/* File names and tables come in any bytes; what is shown and saved is valid UTF-8. */
#ifndef SL_CORE_UTF8_H
#define SL_CORE_UTF8_H

#include "core/arena.h"

/* `text` itself when it is valid UTF-8 without control characters, else a copy in the arena where each stray byte is
 * read as Latin-1 (what old tables and file systems mean by it) and control characters become blanks. */
const char *sl_utf8_valid(sl_arena *arena, const char *text);

#endif
