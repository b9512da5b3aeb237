#include "serve/records.h"

#include "serve/stamp.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

typedef struct place {
    sl_record record; /* first: a record given back is its place */
    sl_arena arena;   /* it lives in */
    char *path;       /* NULL: the place is free */
    sl_stamp stamp;
    int users;
    unsigned long used; /* by the count of takes */
} place;

struct sl_records {
    pthread_mutex_t lock; /* held while a record is loaded: some milliseconds, and who waits mostly wants the same one */
    pthread_cond_t changed;
    unsigned long takes;
    place place[SL_RECORDS];
};

sl_records *sl_records_new(void)
{
    sl_records *all = calloc(1, sizeof *all);
    if (all && pthread_mutex_init(&all->lock, NULL)) {
        free(all);
        return NULL;
    }
    if (all && pthread_cond_init(&all->changed, NULL)) {
        pthread_mutex_destroy(&all->lock);
        free(all);
        return NULL;
    }
    return all;
}

static void empty(place *p)
{
    sl_arena_free(&p->arena);
    free(p->path);
    *p = (place){0};
}

void sl_records_free(sl_records **all)
{
    if (!*all)
        return;
    for (int i = 0; i < SL_RECORDS; i++)
        empty(&(*all)->place[i]);
    pthread_mutex_destroy(&(*all)->lock);
    pthread_cond_destroy(&(*all)->changed);
    free(*all);
    *all = NULL;
}

/* The place that holds it, else one that is free now; NULL when all are in use. */
static place *find(sl_records *all, const char *path, const sl_stamp *stamp)
{
    place *old = NULL;
    for (int i = 0; i < SL_RECORDS; i++) {
        place *p = &all->place[i];
        if (p->path && !strcmp(p->path, path) && sl_stamp_same(&p->stamp, stamp))
            return p;
        if (!p->users && (!old || p->used < old->used))
            old = p;
    }
    if (old)
        empty(old);
    return old;
}

sl_status sl_records_take(sl_records *all, const char *path, const sl_record **record, sl_error *error)
{
    sl_stamp stamp; /* of before it is loaded: a file that changes meanwhile is loaded again */
    *record = NULL;
    if (!sl_stamp_of(path, &stamp))
        return sl_fail(error, SL_IO, "%s is not there.", path);
    pthread_mutex_lock(&all->lock);
    place *p;
    while (!(p = find(all, path, &stamp)))
        pthread_cond_wait(&all->changed, &all->lock);
    sl_status status = SL_OK;
    if (!p->path) {
        p->path = strdup(path);
        p->stamp = stamp;
        status = p->path ? sl_record_load(path, &p->arena, &p->record, error) : sl_fail(error, SL_MEMORY, "Memory ran out. Close other programs and try again.");
        if (status != SL_OK)
            empty(p);
    }
    if (status == SL_OK) {
        p->users++;
        p->used = ++all->takes;
        *record = &p->record;
    }
    pthread_mutex_unlock(&all->lock);
    return status;
}

void sl_records_give(sl_records *all, const sl_record *record)
{
    if (!record)
        return;
    pthread_mutex_lock(&all->lock);
    place *p = (place *)(uintptr_t)record;
    if (!--p->users && p->stamp.size > SL_RECORDS_BYTES)
        empty(p);
    pthread_cond_broadcast(&all->changed);
    pthread_mutex_unlock(&all->lock);
}
