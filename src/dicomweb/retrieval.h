/* What the files of retrieval share. */
#ifndef SL_DICOMWEB_RETRIEVAL_H
#define SL_DICOMWEB_RETRIEVAL_H

#include "core/text.h"
#include "dicom/file.h"
#include "dicomweb/media.h"
#include "dicomweb/retrieve.h"

#include <stdint.h>

#define SL_SYNTAX_EXPLICIT "1.2.840.10008.1.2.1"

struct sl_retrieval {
    sl_arena arena;
    const sl_retrieve *ask;     /* copies in `arena` */
    char type[200], boundary[48];
    bool multipart, begun;
    const sl_store_object *object;
    char **path;                /* of each object's file */
    char *scratch;              /* a name on the store's disk for what is made on the way */
    int objects, at;
    bool *recode;               /* objects: in explicit little endian instead of as stored */

    sl_dicom_file *frames;      /* opened for frames */
    int *frame, frame_count;
    bool coded;                 /* as stored instead of decoded */
    const char *frame_type;     /* of a part */
    uint8_t *samples;

    /* what goes out next, in this order */
    sl_text text;
    size_t text_at;
    const uint8_t *bytes;
    size_t length;
    int file;

    /* Fills the above with the next piece; sets `*ended` instead when there is none. */
    sl_status (*next)(sl_retrieval *retrieval, bool *ended, sl_error *error);
};

/* The line that begins a part, and what it is; nothing where there is but one part. */
void sl_retrieval_part(sl_retrieval *retrieval, const char *type, const char *syntax);
/* Opens a file to be sent; one that was made on the way is unlinked at once. */
sl_status sl_retrieval_send(sl_retrieval *retrieval, const char *path, bool made, sl_error *error);

/* retrieve_pixels.c: each sets `type` and `next`. Return the status to answer with, 0 when it goes on. */
unsigned sl_retrieve_frames(sl_retrieval *retrieval, const sl_media *media, int count, sl_error *error);
unsigned sl_retrieve_bulk(sl_retrieval *retrieval, const sl_media *media, int count, sl_error *error);
unsigned sl_retrieve_picture(sl_retrieval *retrieval, const sl_media *media, int count, sl_error *error);

unsigned sl_retrieve_status(sl_status status); /* of a failure */

#endif
