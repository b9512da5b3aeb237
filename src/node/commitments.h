/* Requests for storage commitment that came to the store: each lies in the store's `commitments/` until its sender has heard the
 * answer, over restarts. A sender whose address is known is called with it, again and again for some days; others get it on the
 * association on which they asked, or not at all: they ask again (PS3.4 J.3). */
#ifndef SL_NODE_COMMITMENTS_H
#define SL_NODE_COMMITMENTS_H

#include "node/shelf.h"

typedef struct sl_commit_address {
    const char *title, *host;
    int port;
} sl_commit_address;

/* `transaction` of `from`: how many of `count` objects are kept; `why` is NULL once the sender has heard it, else a sentence. */
typedef void (*sl_commitments_told)(void *context, const sl_dicom_commit *verified, int kept, const char *why);

typedef struct sl_commitments {
    sl_shelf *shelf;                  /* prepared */
    const char *title;                /* ours */
    const sl_dicom_tls *tls;          /* for our calls; NULL: nothing is encrypted */
    const sl_commit_address *address; /* of senders that are called */
    int addresses;
    int wait_s;
    sl_commitments_told told;         /* may be NULL */
    void *context;
} sl_commitments;

/* For the process of an association, which has entered the shelf. */
sl_dicom_committer sl_commitments_committer(sl_commitments *commitments);

/* Clears what an earlier run left half written; before anything is received. */
void sl_commitments_tidy(sl_commitments *commitments);

/* Whether a sender should be called now. Cheap. */
bool sl_commitments_due(sl_commitments *commitments);

/* Calls the senders that are due, one after the other. For a process of its own. */
void sl_commitments_call(sl_commitments *commitments);

#endif
