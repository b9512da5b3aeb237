/* Objects that come by the web (STOW-RS, PS3.18 10.5): each part of the body is written to the disk as it comes, and into the store,
 * synced and recorded, before the next begins. */
#ifndef SL_DICOMWEB_STOW_H
#define SL_DICOMWEB_STOW_H

#include "store/objects.h"

#include <stdint.h>

static const uint64_t sl_stow_most_object = (uint64_t)4 << 30, sl_stow_most_body = (uint64_t)64 << 30; /* bytes */
static const uint64_t sl_stow_keep_free = (uint64_t)1 << 30; /* of the disk: below it nothing is taken, as by `receive` */

typedef struct sl_stow sl_stow;

/* `type`: the body's Content-Type. `study`: the only study that is taken, NULL any. `from`: who sends. `store` stays the
 * caller's. SL_UNSUPPORTED: no body that can be taken (415); SL_USAGE: its boundary is off; SL_IO: no room. */
sl_status sl_stow_open(sl_store *store, const char *type, const char *study, const char *from, sl_stow **stow, sl_error *error);
/* SL_OK also when an object was refused: the answer says so. Another status: the body is not fit to be read on; what came whole is
 * kept all the same. */
sl_status sl_stow_add(sl_stow *stow, const void *bytes, size_t length, sl_error *error);

typedef struct sl_stow_answer {
    unsigned status;     /* HTTP */
    char *text;          /* malloc()ed: the Store Instances Response Module (PS3.18 I) as JSON, or as XML */
    size_t length;
    int kept, known, beside, refused;
    char first_refusal[300]; /* its sentence; "" when none was refused */
} sl_stow_answer;

/* The body is there; an error says that it broke off or held no part (400, unless something of it was kept: then 202 in `answer`).
 * `root`: the address below which objects are found, ending without '/'. */
sl_status sl_stow_finish(sl_stow *stow, const char *root, bool xml, sl_stow_answer *answer, sl_error *error);

/* Frees and removes what came half. NULL is fine. */
void sl_stow_free(sl_stow **stow);

#endif
