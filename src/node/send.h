/* Sending what the queue holds: a pass over what is due, each destination once, its objects over one association or connection. What
 * is delivered is recorded as soon as its answer is there: a crash between the two sends the object once more, under the same UID. */
#ifndef SL_NODE_SEND_H
#define SL_NODE_SEND_H

#include "node/queue.h"
#include "node/verdict.h"

#include <signal.h>

typedef struct sl_send_run {
    int connect_s, answer_s;             /* seconds waited for; 0: 10 and 60 */
    const volatile sig_atomic_t *stop;   /* ends after the object under way; may be NULL */
    void (*told)(void *context, const sl_queue_item *item, sl_queue_state state, const char *why); /* may be NULL */
    void *context;
} sl_send_run;

typedef struct sl_send_count {
    int sent, waits, refused; /* of the objects tried */
    bool elsewhere;           /* another program is sending: nothing was done here */
} sl_send_count;

/* Tries everything that is due. SL_OK also where nothing was delivered; errors are those of the queue. */
sl_status sl_queue_run_once(sl_queue *queue, const sl_send_run *run, sl_send_count *count, sl_error *error);

#endif
