/* Archives (zip, tar and whatever else libarchive reads) as folders. */
#ifndef SL_CLIP_UNPACK_H
#define SL_CLIP_UNPACK_H

#include "core/error.h"

#include <stdbool.h>

/* Is it an archive by its content? */
bool sl_is_archive(const char *path);

/* Writes the archive's files below `folder`, which is made. Entries that point out of it, links and devices are left out; limits:
 * 100,000 files, 16 GiB. SL_FORMAT, SL_LIMIT, SL_UNSUPPORTED (a password), SL_IO. */
sl_status sl_unpack(const char *path, const char *folder, sl_error *error);

#endif
