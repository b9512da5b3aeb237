/* The certificate of a server that listens beyond this machine. */
#ifndef SL_ACCESS_CERTIFICATE_H
#define SL_ACCESS_CERTIFICATE_H

#include "core/arena.h"
#include "core/error.h"

enum { SL_FINGERPRINT = 96 }; /* "AB:CD:..." of 32 bytes, with the closing zero */

typedef struct sl_certificate {
    const char *pem, *key;  /* PEM, owned by the arena */
    char fingerprint[SL_FINGERPRINT]; /* SHA-256 of the certificate, for comparing by eye */
    int days_left;
} sl_certificate;

/* Reads a certificate (or a chain, the server's own first) and its key. SL_IO, SL_FORMAT: not there, no PEM, they do not
 * belong together, or the time has run out. */
sl_status sl_certificate_load(const char *certificate, const char *key, sl_arena *arena, sl_certificate *into, sl_error *error);

/* The one kept in FOLDER/server.pem for this name (a DNS name or an address), made when there is none or its time is
 * nearly over: P-256, signed by itself, for 397 days (longer ones are refused by browsers: CA/Browser Forum ballot SC31). */
sl_status sl_certificate_own(const char *folder, const char *name, sl_arena *arena, sl_certificate *into, sl_error *error);

#endif
