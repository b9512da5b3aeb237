/* Media types and what a caller accepts (RFC 9110 8.3.1 and 12.5.1; PS3.18 8.7). */
#ifndef SL_DICOMWEB_MEDIA_H
#define SL_DICOMWEB_MEDIA_H

#include <stdbool.h>
#include <stddef.h>

enum { SL_MEDIA_MOST = 16 }; /* that one request may list; further ones are not looked at */

typedef struct sl_media {
    bool multipart;       /* it is multipart/related, and `type` what its parts are */
    char type[80];        /* "application/dicom", lower case; "*" + "/" + "*" for anything */
    char syntax[66];      /* transfer-syntax: a UID, "*" or "" where none is named */
    char boundary[80];    /* "" where there is none (or it is too long) */
    double quality;       /* q, 1 where not said */
} sl_media;

/* One of them, up to a comma or the end; returns where it ended, NULL when it cannot be read. */
const char *sl_media_parse(const char *text, sl_media *media);

/* A list, best liked first and else in its order; `text` NULL or "": anything. Returns how many, -1 when it cannot be read. */
int sl_media_accepts(const char *text, sl_media media[SL_MEDIA_MOST]);

/* Whether `type` ("image/jpeg") is what `media` names, also by "image/" + "*" and the like. */
bool sl_media_is(const sl_media *media, const char *type);

#endif
