/* Taking a multipart body (RFC 2046 5.1.1) apart as it comes, whatever pieces it comes in: nothing but a part's header lines is kept
 * in memory. Strict where leniency would let two readers see different parts: lines end with CRLF, a line that begins with the
 * boundary and goes on is refused, header lines are not folded. */
#ifndef SL_DICOMWEB_MULTIPART_H
#define SL_DICOMWEB_MULTIPART_H

#include "core/error.h"

#include <stddef.h>

enum {
    SL_MULTIPART_BOUNDARY = 70,   /* letters at most (RFC 2046 5.1.1) */
    SL_MULTIPART_HEAD = 8 * 1024, /* bytes of a part's header lines */
    SL_MULTIPART_PARTS = 10000,
};

/* What is told; an error that one returns ends the taking apart. */
typedef struct sl_multipart_user {
    sl_status (*begin)(void *context, const char *content_type, sl_error *error); /* "" where the part has none */
    sl_status (*bytes)(void *context, const void *bytes, size_t length, sl_error *error);
    sl_status (*end)(void *context, sl_error *error);
    void *context;
} sl_multipart_user;

typedef struct sl_multipart sl_multipart;

/* SL_USAGE: no boundary as the standard wants it. */
sl_status sl_multipart_new(const char *boundary, const sl_multipart_user *user, sl_multipart **multipart, sl_error *error);
/* SL_FORMAT or SL_LIMIT with a sentence, from then on every time. */
sl_status sl_multipart_feed(sl_multipart *multipart, const void *bytes, size_t length, sl_error *error);
/* At the end of the body: SL_FORMAT when it broke off or held no part. */
sl_status sl_multipart_finish(sl_multipart *multipart, sl_error *error);
void sl_multipart_free(sl_multipart **multipart);

#endif
