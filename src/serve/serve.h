/* The local web server: the page and the examinations of one folder, on the loopback address unless told otherwise.
 *
 * What keeps it to the one who started it there: it listens on 127.0.0.1; every address begins with a random token of 128
 * bits; the Host header must name this machine (no rebinding of names); changes must come from the page itself (a header
 * that no foreign page can send, and the browser's own word on the origin). What keeps it up: sizes, times and numbers
 * of connections are limited. No part of a request is ever used as a path: examinations and clips are looked up by
 * their ids, names of clips brought in are made anew from a few harmless characters.
 *
 * Beyond this machine it listens only with TLS and users with passwords and roles (door.h, src/access). */
#ifndef SL_SERVE_SERVE_H
#define SL_SERVE_SERVE_H

#include "core/error.h"

#include <stdbool.h>

typedef struct sl_serve_options {
    const char *folder; /* one examination, or a folder of examinations */
    const char *store;  /* the folder of the store: what arrived, what is kept, what is signed; NULL: the user's */
    const char *worklist;  /* a DICOM worklist to begin examinations from: the name of a destination (node/destinations.h), or
                            * TITLE@host:port; NULL: none */
    const char *title;     /* our title there; NULL: that of the destination, else STRANDLINE */
    int port;
    bool any_port;      /* a free one when that is taken */
    const char *on;          /* the address to listen on beyond this machine ("0.0.0.0": all of them); NULL: loopback, no users */
    const char *name;        /* the name or address that others reach it by; needed with `on` */
    const char *access;      /* the folder of users, log and certificate; needed with `on` */
    const char *certificate, *key; /* PEM files; NULL: one of its own is made */
    /* Called once it listens, with the whole address; `fingerprint` of its certificate, or NULL. */
    void (*ready)(void *context, const char *address, const char *fingerprint);
    void *context;
} sl_serve_options;

/* Serves until SIGINT or SIGTERM. */
sl_status sl_serve_run(const sl_serve_options *options, sl_error *error);

#endif
