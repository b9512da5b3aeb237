/* Whole files in and out, with sentences. */
#ifndef SL_CORE_FILE_H
#define SL_CORE_FILE_H

#include "core/arena.h"
#include "core/error.h"

#include <stddef.h>

/* Reads a whole file of at most `most` bytes into the arena; a zero byte is added behind it. */
sl_status sl_file_read(const char *path, size_t most, sl_arena *arena, char **bytes, size_t *length, sl_error *error);

/* Writes `bytes` to a neighbour of `path` and renames it into place, so that a reader never sees half a file and a
 * full disk leaves the old one. */
sl_status sl_file_write(const char *path, const void *bytes, size_t length, sl_error *error);

/* Makes the folder and its parents; an existing folder is fine. */
sl_status sl_folder_make(const char *path, sl_error *error);

#endif
