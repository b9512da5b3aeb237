/* Sending objects by STOW-RS (PS3.18 10.5) over HTTP or HTTPS: one request an object, over one connection, streamed from its file. */
#ifndef SL_NODE_STOW_H
#define SL_NODE_STOW_H

#include "dicom/send.h"
#include "node/destinations.h"
#include "node/verdict.h"

#include <signal.h>

/* Told of each object as soon as its answer is there; false: no more are sent. */
typedef bool (*sl_stow_told)(void *context, int which, const sl_delivery *delivery);

typedef struct sl_stow_how {
    const char *scratch;
    int connect_s, answer_s;           /* answer_s: without a byte in either direction */
    const volatile sig_atomic_t *stop; /* breaks off the object under way; may be NULL */
} sl_stow_how;

/* Sends the objects in their own transfer syntax; one that is refused for its coding goes once more, uncompressed, through the file
 * `how->scratch`, which is removed. Objects `told` was not called for were not tried, and `error` says why. */
sl_dicom_hearing sl_stow_send(const sl_destination *destination, const sl_dicom_outgoing *object, int count, const sl_stow_how *how, sl_stow_told told, void *context,
                              sl_error *error);

#endif
