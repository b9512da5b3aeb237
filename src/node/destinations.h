/* Where things are sent to, by name: destinations.json in the store's folder. It holds names of files with secrets, never a secret. */
#ifndef SL_NODE_DESTINATIONS_H
#define SL_NODE_DESTINATIONS_H

#include "core/arena.h"
#include "core/error.h"
#include "dicom/call.h"

#include <stdbool.h>

typedef struct sl_destination {
    const char *name;
    const char *address;   /* "AET@host:port" for C-STORE, "https://host/.../studies" or http for STOW-RS */
    const char *title;     /* C-STORE: our own AE title; "": STRANDLINE */
    const char *certificate, *key, *trust; /* PEM files; "" none. With any of them, or `secure`, C-STORE goes over TLS */
    const char *user_file; /* STOW-RS: a file with one line "user:password" */
    const char *token_file; /* STOW-RS: a file with one line, a bearer token */
    bool secure;
    bool anyone;           /* whoever answers is taken, its certificate is not checked */
} sl_destination;

/* Whether an address can be used, and its parts. */
bool sl_destination_is_web(const char *address);
/* "AET@host:port", an IPv6 host in brackets. SL_USAGE with a sentence. */
sl_status sl_destination_parts(const char *address, char title[17], char host[256], int *port, sl_error *error);

/* Who is called there by DICOM associations, waiting `wait_s` at most; title, host and what `tls` points to are kept in `room`. */
typedef struct sl_destination_room {
    char title[17], host[256];
    sl_dicom_tls tls;
} sl_destination_room;
sl_status sl_destination_peer(const sl_destination *destination, int wait_s, sl_destination_room *room, sl_dicom_peer *peer, sl_error *error);

/* Checks the whole of it: the address, the titles, the files. SL_USAGE or SL_IO with a sentence. */
sl_status sl_destination_check(const sl_destination *destination, sl_error *error);

/* All of the store in `folder`, by name; none is no error. Strings are the arena's. */
sl_status sl_destinations(const char *folder, sl_arena *arena, const sl_destination **list, int *count, sl_error *error);
/* By name; NULL when there is none (no error then). */
const sl_destination *sl_destination_of(const sl_destination *list, int count, const char *name);

/* Adds it, or puts it in the place of the one of that name. */
sl_status sl_destination_put(const char *folder, const sl_destination *destination, sl_error *error);
/* SL_USAGE when there is none of that name. */
sl_status sl_destination_remove(const char *folder, const char *name, sl_error *error);

/* The one line of a file with a secret, without its line break, the arena's. SL_IO where it cannot be read, SL_USAGE where others may
 * read it too. */
sl_status sl_secret_read(const char *path, sl_arena *arena, char **secret, sl_error *error);

#endif
