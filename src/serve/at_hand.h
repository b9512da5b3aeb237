/* What was made from a few files and is asked for again and again: made once, kept until the least used goes, made anew when its file changed.
 * Straightened clips (straight.h) and records (records.h) are kept so. For all threads. */
#ifndef SL_SERVE_AT_HAND_H
#define SL_SERVE_AT_HAND_H

#include "core/error.h"

#include <stddef.h>
#include <sys/types.h>

enum { SL_AT_HAND = 4 /* things */, SL_AT_HAND_TAG = 12 };

typedef struct sl_at_hand sl_at_hand;

typedef struct sl_at_hand_kind {
    size_t bytes;     /* of a thing */
    off_t most;       /* a thing of a larger file is not kept beyond its use; 0: every one is */
    const char *gone; /* the sentence where there is no such file */
    /* Fills the thing (zeros) from the file; `how` is what was given to sl_at_hand_take. */
    sl_status (*make)(const char *path, const void *how, void *thing, sl_error *error);
    void (*drop)(void *thing); /* also what a `make` that failed leaves, and zeros */
} sl_at_hand_kind;

/* `kind` must outlive it. NULL when memory is out. */
sl_at_hand *sl_at_hand_new(const sl_at_hand_kind *kind);
void sl_at_hand_free(sl_at_hand **all);

/* The thing made from the file at `path`; two with another `tag` (SL_AT_HAND_TAG numbers; NULL: none) are two. It stays until it is given back.
 * Waits while all places are in use, and while another thread makes it. On an error *thing is NULL, nothing is to be given back, and it is tried
 * again when asked again. */
sl_status sl_at_hand_take(sl_at_hand *all, const char *path, const double *tag, const void *how, const void **thing, sl_error *error);
void sl_at_hand_give(sl_at_hand *all, const void *thing); /* NULL is no thing */

#endif
