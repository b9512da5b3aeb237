/* The DICOM receiver: a listening socket and a process for each association, so that a broken one harms no other. */
#ifndef SL_NODE_RECEIVE_H
#define SL_NODE_RECEIVE_H

#include "node/commitments.h"
#include "node/keeper.h"

#include <signal.h>
#include <stdbool.h>

typedef struct sl_receiver {
    const char *address;      /* to listen on, e.g. "127.0.0.1" */
    int port;                 /* 0 = any free one */
    const char *const *peers; /* addresses that may connect */
    int peer_count;           /* 0 = any */
    int most_associations;    /* at once; more are turned away */
    sl_dicom_host host;       /* begin, finish, context are set from the keeper, committer from the commitments */
    sl_keeper keeper;
    sl_commitments *commitments; /* over the same store; NULL: storage commitment is not offered */
    void (*ready)(void *context, int port); /* once it listens; may be NULL */
    void *context;
    volatile sig_atomic_t *stop; /* set by a signal handler: no new associations, the running ones end by themselves */
} sl_receiver;

/* Runs until `*stop`. SL_IO when the port is not to be had. */
sl_status sl_receive(const sl_receiver *receiver, sl_error *error);

#endif
