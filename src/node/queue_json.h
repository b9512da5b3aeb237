/* An item of the sending queue for machines and for the page. */
#ifndef SL_NODE_QUEUE_JSON_H
#define SL_NODE_QUEUE_JSON_H

#include "node/queue.h"

#include <jansson.h>

/* {item, state, file, destination, uid, study, sha256, bytes, tries, queued, done, next, why}; times UTC, "" where there is none. New
 * reference. */
json_t *sl_queue_item_json(const sl_queue_item *item);

#endif
