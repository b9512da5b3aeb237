/* Giving out what the store keeps (WADO-RS, PS3.18 10.4): whole objects, their metadata, frames, large values, pictures. What is given
 * out is read or decoded piece by piece while it is sent. */
#ifndef SL_DICOMWEB_RETRIEVE_H
#define SL_DICOMWEB_RETRIEVE_H

#include "store/objects.h"

#include <sys/types.h>

typedef enum sl_retrieve_what {
    SL_RETRIEVE_OBJECTS,
    SL_RETRIEVE_METADATA,
    SL_RETRIEVE_FRAMES,
    SL_RETRIEVE_BULK,
    SL_RETRIEVE_PICTURE,
    SL_RETRIEVE_THUMBNAIL
} sl_retrieve_what;

typedef struct sl_retrieve {
    sl_retrieve_what what;
    const char *study, *series, *uid; /* series and uid NULL: all */
    const char *list;                 /* frames, "1,3,2"; where the large value lies; NULL else */
    const char *accept;               /* as it came; NULL: anything */
    const char *root;                 /* address below which objects are found */
    const char *quality, *viewport, *window; /* of pictures, as they came; NULL: not said */
} sl_retrieve;

typedef struct sl_retrieval sl_retrieval;

/* On failure `*http` is the status to answer with. The store is not needed any more afterwards. */
sl_status sl_retrieve_open(const sl_retrieve *ask, sl_store *store, sl_retrieval **retrieval, unsigned *http, sl_error *error);
const char *sl_retrieval_type(const sl_retrieval *retrieval); /* Content-Type */
/* Up to `most` bytes; 0 the end, -1 it cannot go on. */
ssize_t sl_retrieval_pull(sl_retrieval *retrieval, char *buffer, size_t most);
void sl_retrieval_free(sl_retrieval **retrieval);

#endif
