/* Received objects into the store: each is on the disk and recorded (store/objects.h) before its sender is told. */
#ifndef SL_NODE_SHELF_H
#define SL_NODE_SHELF_H

#include "dicom/describe.h"
#include "node/keeper.h"
#include "store/objects.h"

typedef struct sl_shelf {
    const char *folder;           /* of the store; NULL: the user's */
    unsigned long long keep_free; /* bytes of the disk that must stay free */
    sl_keeper_told told;          /* may be NULL */
    void *context;
    sl_store *store;              /* the association's own; opened by `enter` */
    sl_error why;                 /* the last object that could not be kept */
    char place[3200];             /* the store's folder, once prepared */
} sl_shelf;

/* The store is made when there is none. */
sl_keeper sl_shelf_keeper(sl_shelf *shelf);

/* Opens and closes `store`, for a process of its own; it stays NULL, `why` says why, when that fails. */
void sl_shelf_enter(sl_shelf *shelf);
void sl_shelf_leave(sl_shelf *shelf);

/* Describes the file `part`, from `from`, and puts it into the store; `part` is consumed. SL_FORMAT: it is no object that can be
 * kept. `words`, where not NULL, tells what it was. */
sl_status sl_shelf_put(sl_store *store, const char *part, const char *from, sl_dicom_words *words, sl_store_fate *fate, sl_error *error);

/* For sl_fetch, which is given the shelf as context: UIDs of the objects of a study that the store has. */
sl_status sl_shelf_known(void *shelf, const char *study_uid, sl_arena *arena, const char ***uid, int *count, sl_error *error);

#endif
