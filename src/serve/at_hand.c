#include "serve/at_hand.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* What a thing was made from. */
typedef struct origin {
    char *path; /* NULL: none */
    struct timespec changed;
    off_t size;
    ino_t node; /* a file that was written beside it and renamed is another */
    double tag[SL_AT_HAND_TAG];
} origin;

typedef struct place {
    void *thing;
    origin of;
    int users;
    bool making, failed;
    sl_error error;
    unsigned long used; /* by the count of takes */
} place;

struct sl_at_hand {
    const sl_at_hand_kind *kind;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    unsigned long takes;
    place place[SL_AT_HAND];
};

static bool prepare(sl_at_hand *all)
{
    for (int i = 0; i < SL_AT_HAND; i++)
        if (!(all->place[i].thing = calloc(1, all->kind->bytes)))
            return false;
    if (pthread_mutex_init(&all->lock, NULL))
        return false;
    if (!pthread_cond_init(&all->changed, NULL))
        return true;
    pthread_mutex_destroy(&all->lock);
    return false;
}

static void free_places(sl_at_hand *all)
{
    for (int i = 0; i < SL_AT_HAND; i++)
        free(all->place[i].thing);
    free(all);
}

sl_at_hand *sl_at_hand_new(const sl_at_hand_kind *kind)
{
    sl_at_hand *all = calloc(1, sizeof *all);
    if (!all)
        return NULL;
    all->kind = kind;
    if (prepare(all))
        return all;
    free_places(all);
    return NULL;
}

static void empty(const sl_at_hand *all, place *p)
{
    void *thing = p->thing;
    all->kind->drop(thing);
    memset(thing, 0, all->kind->bytes);
    free(p->of.path);
    *p = (place){.thing = thing};
}

void sl_at_hand_free(sl_at_hand **all)
{
    if (!*all)
        return;
    for (int i = 0; i < SL_AT_HAND; i++)
        empty(*all, &(*all)->place[i]);
    pthread_mutex_destroy(&(*all)->lock);
    pthread_cond_destroy(&(*all)->changed);
    free_places(*all);
    *all = NULL;
}

/* Taken before the thing is made: a file that changes meanwhile is another at the next look. */
static bool origin_of(const char *path, const double *tag, origin *of)
{
    struct stat facts;
    if (stat(path, &facts))
        return false;
    *of = (origin){.path = (char *)(uintptr_t)path, .changed = facts.st_mtim, .size = facts.st_size, .node = facts.st_ino};
    if (tag)
        memcpy(of->tag, tag, sizeof of->tag);
    return true;
}

static bool same(const origin *a, const origin *b)
{
    return a->path && !strcmp(a->path, b->path) && a->size == b->size && a->node == b->node && a->changed.tv_sec == b->changed.tv_sec &&
           a->changed.tv_nsec == b->changed.tv_nsec && !memcmp(a->tag, b->tag, sizeof a->tag);
}

/* The place that holds it or is making it, else the one to make it in, emptied; NULL when all are in use. */
static place *find(sl_at_hand *all, const origin *of)
{
    place *old = NULL;
    for (int i = 0; i < SL_AT_HAND; i++) {
        place *p = &all->place[i];
        if (same(&p->of, of))
            return p;
        if (!p->users && (!old || p->used < old->used))
            old = p;
    }
    if (old)
        empty(all, old);
    return old;
}

/* With the lock held, which others get meanwhile to look for theirs. */
static void make(sl_at_hand *all, place *p, const origin *of, const void *how)
{
    sl_error why = {0};
    p->of = *of;
    p->of.path = strdup(of->path);
    p->making = true;
    pthread_mutex_unlock(&all->lock);
    sl_status status = p->of.path ? all->kind->make(p->of.path, how, p->thing, &why)
                                  : sl_fail(&why, SL_MEMORY, "Memory ran out. Close other programs and try again.");
    pthread_mutex_lock(&all->lock);
    p->error = why;
    p->failed = status != SL_OK;
    p->making = false;
    pthread_cond_broadcast(&all->changed);
}

sl_status sl_at_hand_take(sl_at_hand *all, const char *path, const double *tag, const void *how, const void **thing, sl_error *error)
{
    origin of;
    *thing = NULL;
    if (!origin_of(path, tag, &of))
        return sl_fail(error, SL_IO, "%s", all->kind->gone);
    pthread_mutex_lock(&all->lock);
    place *p;
    while (!(p = find(all, &of)))
        pthread_cond_wait(&all->changed, &all->lock);
    p->users++;
    p->used = ++all->takes;
    if (!p->of.path)
        make(all, p, &of, how);
    while (p->making)
        pthread_cond_wait(&all->changed, &all->lock);
    sl_status status = SL_OK;
    if (p->failed) {
        status = p->error.status;
        if (error)
            *error = p->error;
        if (!--p->users)
            empty(all, p);
        pthread_cond_broadcast(&all->changed);
    } else
        *thing = p->thing;
    pthread_mutex_unlock(&all->lock);
    return status;
}

void sl_at_hand_give(sl_at_hand *all, const void *thing)
{
    if (!thing)
        return;
    pthread_mutex_lock(&all->lock);
    for (int i = 0; i < SL_AT_HAND; i++) {
        place *p = &all->place[i];
        if (p->thing == thing && !--p->users && all->kind->most && p->of.size > all->kind->most)
            empty(all, p);
    }
    pthread_cond_broadcast(&all->changed);
    pthread_mutex_unlock(&all->lock);
}
