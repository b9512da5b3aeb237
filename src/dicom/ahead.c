#include "dicom/ahead.h"

#include "dicom/jpeg.h"
#include "dicom/jpeg2000.h"
#include "dicom/pixels.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_THREADS = 2, MOST_SLOTS = 2 * MOST_THREADS };

typedef enum slot_state { EMPTY, WAITING, WORKING, DONE } slot_state;

typedef struct slot {
    slot_state state;
    int frame;
    uint8_t *coded; /* owned */
    size_t length, room;
    sl_jpeg *jpeg;           /* owned, for JPEG */
    sl_dicom_pixels *pixels; /* owned, for JPEG 2000 */
    uint8_t *samples;        /* owned, for JPEG 2000 */
    sl_frame picture;
    sl_status status;
    bool patched;
} slot;

struct sl_ahead {
    sl_dicom_file *file;
    const sl_dicom_facts *facts;
    slot slots[MOST_SLOTS];
    int slot_count, thread_count;
    pthread_t threads[MOST_THREADS];
    pthread_mutex_t lock; /* the states of the slots, and `stop` */
    pthread_cond_t work, done;
    bool stop;
};

static bool slot_prepare(slot *own, const sl_dicom_facts *facts, size_t frame_size)
{
    if (facts->coding == SL_DICOM_JPEG)
        return (own->jpeg = sl_jpeg_new());
    own->pixels = sl_dicom_pixels_new(facts);
    own->samples = malloc(frame_size);
    return own->pixels && own->samples;
}

static void decode(slot *own, const sl_dicom_facts *facts)
{
    own->patched = false;
    if (facts->coding == SL_DICOM_JPEG) {
        own->status = sl_jpeg_picture(own->jpeg, own->coded, own->length, facts->width, facts->height,
                                      !strcmp(facts->photometric, "RGB"), &own->picture, &own->patched);
        return;
    }
    own->status = sl_jpeg2000_samples(facts, own->coded, own->length, own->samples, &own->patched);
    if (own->status)
        return;
    /* The colour transforms of JPEG 2000 are undone by its decoder (PS3.5 8.2.4). */
    bool transformed = !strcmp(facts->photometric, "YBR_ICT") || !strcmp(facts->photometric, "YBR_RCT");
    own->status = sl_dicom_pixels_picture(own->pixels, own->samples, transformed ? "RGB" : facts->photometric,
                                          &own->picture);
}

static slot *lowest_waiting(sl_ahead *ahead)
{
    slot *lowest = NULL;
    for (int i = 0; i < ahead->slot_count; i++)
        if (ahead->slots[i].state == WAITING && (!lowest || ahead->slots[i].frame < lowest->frame))
            lowest = &ahead->slots[i];
    return lowest;
}

static void *serve(void *opaque)
{
    sl_ahead *ahead = opaque;
    pthread_mutex_lock(&ahead->lock);
    while (!ahead->stop) {
        slot *own = lowest_waiting(ahead);
        if (!own) {
            pthread_cond_wait(&ahead->work, &ahead->lock);
            continue;
        }
        own->state = WORKING;
        pthread_mutex_unlock(&ahead->lock);
        decode(own, ahead->facts);
        pthread_mutex_lock(&ahead->lock);
        own->state = DONE;
        pthread_cond_signal(&ahead->done);
    }
    pthread_mutex_unlock(&ahead->lock);
    return NULL;
}

sl_ahead *sl_ahead_new(sl_dicom_file *file, int threads)
{
    sl_ahead *ahead = calloc(1, sizeof *ahead);
    if (!ahead)
        return NULL;
    ahead->file = file;
    ahead->facts = sl_dicom_file_facts(file);
    pthread_mutex_init(&ahead->lock, NULL);
    pthread_cond_init(&ahead->work, NULL);
    pthread_cond_init(&ahead->done, NULL);
    bool alone = threads < 2 || ahead->facts->frames < 3;
    ahead->slot_count = alone ? 1 : MOST_SLOTS;
    for (int i = 0; i < ahead->slot_count; i++)
        if (!slot_prepare(&ahead->slots[i], ahead->facts, sl_dicom_file_frame_size(file))) {
            sl_ahead_free(ahead);
            return NULL;
        }
    while (!alone && ahead->thread_count < MOST_THREADS &&
           !pthread_create(&ahead->threads[ahead->thread_count], NULL, serve, ahead))
        ahead->thread_count++;
    if (!ahead->thread_count)
        ahead->slot_count = ahead->slot_count > 0 ? ahead->slot_count : 1;
    return ahead;
}

void sl_ahead_free(sl_ahead *ahead)
{
    if (!ahead)
        return;
    pthread_mutex_lock(&ahead->lock);
    ahead->stop = true;
    pthread_cond_broadcast(&ahead->work);
    pthread_mutex_unlock(&ahead->lock);
    for (int i = 0; i < ahead->thread_count; i++)
        pthread_join(ahead->threads[i], NULL);
    for (int i = 0; i < MOST_SLOTS; i++) {
        free(ahead->slots[i].coded);
        free(ahead->slots[i].samples);
        sl_jpeg_free(ahead->slots[i].jpeg);
        sl_dicom_pixels_free(ahead->slots[i].pixels);
    }
    pthread_cond_destroy(&ahead->work);
    pthread_cond_destroy(&ahead->done);
    pthread_mutex_destroy(&ahead->lock);
    free(ahead);
}

/* Copies the coded bytes of `frame` into a slot that nobody works on. */
static sl_status fetch(sl_ahead *ahead, slot *own, int frame)
{
    const uint8_t *bytes;
    size_t length;
    own->frame = frame;
    own->status = sl_dicom_file_coded(ahead->file, frame, &bytes, &length, NULL);
    if (own->status)
        return own->status;
    if (length > own->room) {
        free(own->coded);
        own->coded = malloc(length);
        own->room = own->coded ? length : 0;
        if (!own->coded)
            return own->status = SL_MEMORY;
    }
    memcpy(own->coded, bytes, length);
    own->length = length;
    return SL_OK;
}

static slot *slot_with(sl_ahead *ahead, int frame)
{
    for (int i = 0; i < ahead->slot_count; i++)
        if (ahead->slots[i].state != EMPTY && ahead->slots[i].frame == frame)
            return &ahead->slots[i];
    return NULL;
}

/* A slot whose frame is not among the wanted ones and that no thread works on; the lock is held. */
static slot *free_slot(sl_ahead *ahead, int first, int last)
{
    for (int i = 0; i < ahead->slot_count; i++) {
        slot *own = &ahead->slots[i];
        if (own->state == EMPTY || (own->state != WORKING && (own->frame < first || own->frame > last)))
            return own;
    }
    return NULL;
}

/* Begins `frame` and as many of the following as there are slots. */
static void begin(sl_ahead *ahead, int frame)
{
    int last = frame + ahead->slot_count - 1;
    last = last < ahead->facts->frames ? last : ahead->facts->frames - 1;
    for (int at = frame; at <= last; at++) {
        pthread_mutex_lock(&ahead->lock);
        slot *own = slot_with(ahead, at) ? NULL : free_slot(ahead, frame, last);
        if (own)
            own->state = EMPTY; /* ours until it is marked again */
        pthread_mutex_unlock(&ahead->lock);
        if (!own)
            continue;
        sl_status status = fetch(ahead, own, at);
        pthread_mutex_lock(&ahead->lock);
        own->state = status ? DONE : WAITING;
        pthread_cond_signal(&ahead->work);
        pthread_mutex_unlock(&ahead->lock);
    }
}

/* Waits for the frame, or decodes it where no thread does. */
static slot *finish(sl_ahead *ahead, int frame)
{
    pthread_mutex_lock(&ahead->lock);
    slot *own;
    while ((own = slot_with(ahead, frame)) && own->state != DONE) {
        if (own->state == WAITING && !ahead->thread_count) {
            decode(own, ahead->facts);
            own->state = DONE;
        } else {
            pthread_cond_wait(&ahead->done, &ahead->lock);
        }
    }
    pthread_mutex_unlock(&ahead->lock);
    return own;
}

sl_status sl_ahead_frame(sl_ahead *ahead, int frame, sl_frame *picture, bool *patched)
{
    slot *own;
    do {
        begin(ahead, frame);
        own = finish(ahead, frame);
        if (!own) { /* every slot is at work on other frames (after a jump): wait for one of them */
            pthread_mutex_lock(&ahead->lock);
            while (!free_slot(ahead, frame, frame))
                pthread_cond_wait(&ahead->done, &ahead->lock);
            pthread_mutex_unlock(&ahead->lock);
        }
    } while (!own);
    *picture = own->picture;
    *patched = own->patched;
    return own->status;
}
