/* Where received objects go: a folder (inbox.h) or the store (shelf.h). The receiver knows no more of it than this. */
#ifndef SL_NODE_KEEPER_H
#define SL_NODE_KEEPER_H

#include "dicom/association.h"

typedef struct sl_keeper {
    /* Once, before anything is received. */
    sl_status (*prepare)(void *context, sl_error *error);
    /* In the process of an association, before its first object; may be NULL. */
    void (*enter)(void *context);
    /* For sl_dicom_host. */
    unsigned (*begin)(void *context, char *part, size_t room);
    unsigned (*finish)(void *context, const sl_dicom_arrived *arrived);
    void *context;
} sl_keeper;

/* Told of each object once it is safe; `fate` in words: "kept", "known already", "kept beside another of its UID". */
typedef void (*sl_keeper_told)(void *context, const sl_dicom_arrived *arrived, const char *fate);

/* Whether `folder`'s disk has more than `keep_free` bytes left. */
int sl_keeper_has_room(const char *folder, unsigned long long keep_free);

#endif
