/* SHA-256 of files, by which the store and the sending queue know them. */
#ifndef SL_STORE_SHA256_H
#define SL_STORE_SHA256_H

#include "store/store.h"

#include <stddef.h>

void sl_sha256(const void *bytes, size_t length, char hash[SL_STORE_HASH]);
/* Copies the file `from` to the open descriptor `to` (-1: only reads it), giving hash and size. SL_IO with a sentence. */
sl_status sl_sha256_copy(const char *from, int to, const char *to_name, char hash[SL_STORE_HASH], int64_t *bytes,
                         sl_error *error);

/* Hash and size of a file from byte `first` on. */
sl_status sl_sha256_from(const char *path, int64_t first, char hash[SL_STORE_HASH], int64_t *bytes, sl_error *error);

#endif
