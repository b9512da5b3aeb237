/* Work on independent items with as many threads as asked for. Items are handed out in order; results belong to the
 * item, not to the worker, so that they do not depend on how many workers ran. */
#ifndef SL_CORE_POOL_H
#define SL_CORE_POOL_H

#include "core/error.h"

/* `worker` is 0 .. workers-1, for buffers kept a worker. The function keeps its own errors in the item. */
typedef void (*sl_pool_work)(void *context, int item, int worker);

/* Calls `work` once for each item 0 .. items-1 and returns when all are done. `workers` < 1 means one a core; one
 * worker runs on the calling thread. If a thread cannot be started the rest do the work. */
void sl_pool_run(int workers, int items, sl_pool_work work, void *context);

/* Cores this process may use, at least 1. */
int sl_cores(void);

#endif
