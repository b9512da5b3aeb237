#include "node/queue_json.h"

#include "core/text.h"

json_t *sl_queue_item_json(const sl_queue_item *item)
{
    char next[32] = "";
    if (item->state == SL_QUEUE_WAITS)
        sl_time_text((time_t)item->next, next, sizeof next);
    return json_pack("{s:I, s:s, s:s, s:s, s:s, s:s, s:s, s:I, s:i, s:s, s:s, s:s, s:s}", "item", (json_int_t)item->id, "state", sl_queue_state_name(item->state), "file",
                     item->name, "destination", item->destination, "uid", item->uid, "study", item->study_uid, "sha256", item->hash, "bytes", (json_int_t)item->bytes, "tries",
                     item->tries, "queued", item->put, "done", item->done, "next", next, "why", item->why);
}
