/* What is to be sent: a queue that outlives the program. It lies in the store's folder, `sending/`: queue.db (SQLite) and beside it each
 * object by its content, until nobody waits for it any more. On SL_OK of a call that changes it, the change is on the disk.
 * A handle belongs to one thread; any number of handles and programs may have a queue open. It holds identifiers and names of
 * files, but no patient's name outside the objects themselves. */
#ifndef SL_NODE_QUEUE_H
#define SL_NODE_QUEUE_H

#include "core/arena.h"
#include "core/error.h"

#include <stdbool.h>
#include <stdint.h>

typedef struct sl_queue sl_queue;

typedef enum sl_queue_state { SL_QUEUE_WAITS, SL_QUEUE_SENT, SL_QUEUE_REFUSED, SL_QUEUE_STATES } sl_queue_state;
const char *sl_queue_state_name(sl_queue_state state); /* "waits", "sent", "refused" */

typedef struct sl_queue_item {
    int64_t id, bytes;
    const char *hash, *uid, *class_uid, *syntax, *study_uid;
    const char *name;        /* of the file that was queued, for people */
    const char *destination; /* its name (destinations.h) */
    const char *put, *done;  /* UTC; done: sent or refused, "" while it waits */
    const char *why;         /* the last thing that happened to it, "" nothing yet */
    sl_queue_state state;
    int tries;
    int64_t next;            /* when it is tried again: seconds since 1970, UTC */
} sl_queue_item;

/* `folder`: of the store; it is made. `*queue` is NULL on failure; closing NULL is fine. */
sl_status sl_queue_open(const char *folder, sl_queue **queue, sl_error *error);
void sl_queue_close(sl_queue *queue);
const char *sl_queue_folder(const sl_queue *queue); /* of the store */

typedef enum sl_queue_fate {
    SL_QUEUED,
    SL_QUEUE_WAITED, /* the same content waits for this destination already */
    SL_QUEUE_DONE    /* it was sent there already */
} sl_queue_fate;

/* Queues the DICOM file `path`. What was refused before is tried anew; what was sent only when `again`. SL_FORMAT when it is no
 * object that can be sent. `*id` may be NULL. */
sl_status sl_queue_put(sl_queue *queue, const char *path, const char *destination, bool again, sl_queue_fate *fate, int64_t *id, sl_error *error);

/* Of a study, of a destination, in one state: NULL, NULL, -1 for all. In the order of putting. Strings are the arena's. */
typedef struct sl_queue_query {
    const char *study_uid, *destination;
    int state;
    int64_t due;   /* only what is to be tried at that time; 0: any */
    int most_sent; /* of the sent only so many, the last; 0: all */
} sl_queue_query;
sl_status sl_queue_list(sl_queue *queue, const sl_queue_query *query, sl_arena *arena, const sl_queue_item **item, int *count, sl_error *error);

/* How many items are in each state. */
sl_status sl_queue_count(sl_queue *queue, int count[SL_QUEUE_STATES], sl_error *error);

/* Seconds since 1970 of the next try; 0 when nothing waits. */
int64_t sl_queue_next(sl_queue *queue);

/* What waits or was refused is tried at once: item `id`, or with 0 all of them. `*changed`: how many. */
sl_status sl_queue_retry(sl_queue *queue, int64_t id, int *changed, sl_error *error);

/* Removes an item; its object goes when no other item needs it. SL_USAGE when there is none. */
sl_status sl_queue_forget(sl_queue *queue, int64_t id, sl_error *error);

/* ---- for who sends (send.c) ---- */

/* One program at a time sends; -1 when another one does. The descriptor is closed to let go. */
int sl_queue_claim(sl_queue *queue);

/* Where an item's object lies. */
char *sl_queue_path(const sl_queue *queue, const char *hash, sl_arena *arena);

/* Records what became of a try; `next` and `held` count only while it waits. `held`: it waits because its destination did not
 * answer, not for its own sake. */
sl_status sl_queue_settle(sl_queue *queue, const sl_queue_item *item, sl_queue_state state, const char *why, int64_t next, bool held, sl_error *error);

/* The destination answers again: what is held for it becomes due at `now`. */
sl_status sl_queue_release(sl_queue *queue, const char *destination, int64_t now, sl_error *error);

#endif
