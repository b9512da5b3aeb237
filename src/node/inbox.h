/* The folder that received objects come to: DIR/STUDY/INSTANCE.dcm. An object is written to DIR/.arriving, brought to the disk and
 * linked into its place before its sender is told; what breaks off stays in .arriving and is cleared at the next start. */
#ifndef SL_NODE_INBOX_H
#define SL_NODE_INBOX_H

#include "core/arena.h"
#include "node/keeper.h"

typedef struct sl_inbox {
    const char *folder;
    unsigned long long keep_free; /* bytes of the disk that must stay free */
    sl_keeper_told told;          /* may be NULL */
    void *context;
} sl_inbox;

/* Preparing makes the folder and clears what an earlier run left half done. */
sl_keeper sl_inbox_keeper(sl_inbox *inbox);

/* For sl_fetch, which is given the inbox as context: UIDs of the objects of a study that are there. */
sl_status sl_inbox_known(void *inbox, const char *study_uid, sl_arena *arena, const char ***uid, int *count, sl_error *error);

#endif
