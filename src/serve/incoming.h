/* A clip that is being brought in: written beside the others under a hidden name, then given its own. */
#ifndef SL_SERVE_INCOMING_H
#define SL_SERVE_INCOMING_H

#include "core/error.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct sl_incoming sl_incoming;

/* `name` as the page gave it; only its letters, digits, '-', '_', ' ' and one ending are kept of it. */
sl_status sl_incoming_open(const char *folder, const char *name, sl_incoming **incoming, sl_error *error);
sl_status sl_incoming_add(sl_incoming *incoming, const void *bytes, size_t length, sl_error *error);
/* Makes it a clip of the folder; `name` is what it is called now. Never replaces a file. */
sl_status sl_incoming_finish(sl_incoming *incoming, char *name, size_t room, sl_error *error);
/* Removes what was not finished; frees. NULL is fine. */
void sl_incoming_drop(sl_incoming **incoming);

/* The harmless form of a name: never empty, no '/', no leading '.', at most 120 bytes. Bytes of UTF-8 are kept. */
void sl_incoming_name(const char *name, char *clean, size_t room);

#endif
