#include "node/send.h"

#include "core/text.h"
#include "dicom/send.h"
#include "node/destinations.h"
#include "node/stow.h"

#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { MOST_AT_ONCE = 500, CONNECT_S = 10, ANSWER_S = 60 };

typedef struct batch {
    sl_queue *queue;
    const sl_send_run *run;
    sl_send_count *count;
    const sl_queue_item *item[MOST_AT_ONCE];
    sl_dicom_outgoing object[MOST_AT_ONCE];
    bool told[MOST_AT_ONCE];
    int items, done;
    int connect_s, answer_s;
    int base;           /* of the objects handed over now: the first's place */
    int64_t started;
    sl_status trouble;  /* of the queue */
    sl_error *error;
} batch;

static bool stopped(const sl_send_run *run)
{
    return run->stop && *run->stop;
}

static void settle(batch *own, int which, const sl_delivery *delivery, const char *spread, bool held)
{
    const sl_queue_item *item = own->item[which];
    const sl_queue_state state = delivery->verdict == SL_DELIVERED ? SL_QUEUE_SENT : delivery->verdict == SL_REFUSED ? SL_QUEUE_REFUSED : SL_QUEUE_WAITS;
    const int64_t next = (int64_t)time(NULL) + sl_send_wait(item->tries + 1, spread);
    own->told[which] = true;
    own->done++;
    const sl_status status = sl_queue_settle(own->queue, item, state, delivery->words, next, held, own->error);
    if (status != SL_OK)
        own->trouble = status;
    own->count->sent += state == SL_QUEUE_SENT;
    own->count->refused += state == SL_QUEUE_REFUSED;
    own->count->waits += state == SL_QUEUE_WAITS;
    if (own->run->told)
        own->run->told(own->run->context, item, state, delivery->words);
}

static bool told_of(void *context, int which, const sl_delivery *delivery)
{
    batch *own = context;
    settle(own, own->base + which, delivery, own->item[own->base + which]->hash, false);
    return own->trouble == SL_OK && !stopped(own->run);
}

static bool told_of_store(void *context, int which, const sl_dicom_reply *reply)
{
    const batch *own = context;
    sl_delivery delivery;
    if (reply->end == SL_END_ANSWERED)
        sl_delivery_of_status(reply->status, reply->words, &delivery);
    else {
        delivery.verdict = reply->end == SL_END_BROKEN ? SL_LATER : SL_REFUSED;
        snprintf(delivery.words, sizeof delivery.words, "%s", reply->words);
    }
    if (delivery.verdict == SL_DELIVERED && !*delivery.words && *reply->syntax && strcmp(reply->syntax, own->object[own->base + which].syntax))
        snprintf(delivery.words, sizeof delivery.words, "sent uncompressed, as it was not taken as it is coded");
    return told_of(context, which, &delivery);
}

/* ---- one destination ---- */

static sl_dicom_hearing send_dicom(batch *own, const sl_destination *to, const char *scratch, sl_error *why)
{
    sl_destination_room room;
    sl_dicom_peer peer;
    if (sl_destination_peer(to, 0, &room, &peer, why) != SL_OK)
        return SL_TURNED_AWAY;
    peer.connect_s = own->connect_s;
    peer.answer_s = own->answer_s;
    return sl_dicom_send(&peer, own->object + own->base, own->items - own->base, scratch, told_of_store, own, why);
}

/* What has not been told of yet, over one connection. */
static sl_dicom_hearing send_rest(batch *own, const sl_destination *to, sl_error *why)
{
    sl_arena arena = {0};
    const char *scratch = sl_queue_path(own->queue, "uncompressed", &arena); /* one program at a time sends */
    sl_dicom_hearing heard = SL_NOT_HEARD;
    if (!scratch)
        sl_fail(why, SL_MEMORY, "Memory ran out.");
    else if (sl_destination_is_web(to->address))
        heard = sl_stow_send(to, own->object + own->base, own->items - own->base, &(sl_stow_how){scratch, own->connect_s, own->answer_s, own->run->stop}, told_of, own, why);
    else
        heard = send_dicom(own, to, scratch, why);
    sl_arena_free(&arena);
    return heard;
}

/* What was not tried, for its destination's sake. */
static void hold(batch *own, sl_verdict verdict, const char *why)
{
    sl_delivery delivery = {.verdict = verdict};
    snprintf(delivery.words, sizeof delivery.words, "%.390s", why);
    for (int i = 0; i < own->items && own->trouble == SL_OK; i++)
        if (!own->told[i])
            settle(own, i, &delivery, own->item[0]->hash, true);
}

/* An object that breaks the connection keeps none behind it from going: they are tried over a new one. Three in a row are the
 * destination's fault. */
static void send_batch(batch *own, const sl_destination *to)
{
    bool answers = false;
    for (int broken = 0;;) {
        sl_error why = {0};
        const int before = own->done;
        while (own->base < own->items && own->told[own->base])
            own->base++;
        if (own->base == own->items || own->trouble != SL_OK || stopped(own->run))
            break;
        const sl_dicom_hearing heard = send_rest(own, to, &why);
        answers |= heard == SL_HEARD;
        if (heard == SL_HEARD && own->done == before)
            break;
        broken = heard == SL_NOT_HEARD && own->done == before + 1 ? broken + 1 : 0;
        if (heard == SL_TURNED_AWAY || (heard == SL_NOT_HEARD && (own->done == before || broken == 3))) {
            hold(own, heard == SL_TURNED_AWAY ? SL_REFUSED : SL_LATER, why.text);
            return;
        }
    }
    if (own->trouble == SL_OK && answers)
        own->trouble = sl_queue_release(own->queue, to->name, own->started, own->error);
}

/* ---- the pass ---- */

/* Those of the first one's destination. */
static bool gather(batch *own, const sl_queue_item *item, int count, sl_arena *arena)
{
    own->items = own->done = own->base = 0;
    memset(own->told, 0, sizeof own->told);
    for (int i = 0; i < count && own->items < MOST_AT_ONCE; i++) {
        if (strcmp(item[i].destination, item[0].destination))
            continue;
        const char *path = sl_queue_path(own->queue, item[i].hash, arena);
        if (!path)
            return false;
        own->item[own->items] = &item[i];
        own->object[own->items++] = (sl_dicom_outgoing){path, item[i].uid, item[i].class_uid, item[i].syntax};
    }
    return true;
}

static sl_status pass(batch *own, bool *more, sl_error *error)
{
    sl_arena arena = {0};
    const sl_queue_item *item;
    const sl_destination *known;
    int count = 0, known_count = 0;
    sl_status status = sl_queue_list(own->queue, &(sl_queue_query){.state = SL_QUEUE_WAITS, .due = own->started}, &arena, &item, &count, error);
    *more = status == SL_OK && count > 0;
    if (*more)
        status = sl_destinations(sl_queue_folder(own->queue), &arena, &known, &known_count, error);
    if (*more && status == SL_OK && !gather(own, item, count, &arena))
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (*more && status == SL_OK) {
        const sl_destination *to = sl_destination_of(known, known_count, item[0].destination);
        if (to)
            send_batch(own, to);
        else
            hold(own, SL_LATER, "no destination of this name is known any more: add it again with strandline send --add, or forget the object");
        status = own->trouble;
        *more = own->done > 0 && !stopped(own->run);
    }
    sl_arena_free(&arena);
    return status;
}

sl_status sl_queue_run_once(sl_queue *queue, const sl_send_run *run, sl_send_count *count, sl_error *error)
{
    *count = (sl_send_count){0};
    const int claim = sl_queue_claim(queue);
    if (claim < 0) {
        count->elsewhere = true;
        return SL_OK;
    }
    batch own = {.queue = queue, .run = run, .count = count, .connect_s = run->connect_s ? run->connect_s : CONNECT_S,
                 .answer_s = run->answer_s ? run->answer_s : ANSWER_S, .started = (int64_t)time(NULL), .error = error};
    sl_status status = SL_OK;
    for (bool more = true; more && status == SL_OK && !stopped(run);)
        status = pass(&own, &more, error);
    close(claim);
    return status;
}
