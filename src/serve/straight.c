#include "serve/straight.h"

#include "clip/clip.h"
#include "core/units.h"
#include "serve/frames.h"
#include "serve/stamp.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* What a straightened clip was made from. */
typedef struct origin {
    char *path;
    sl_stamp stamp;
    double geometry[12];
} origin;

typedef struct place {
    sl_straight_clip clip; /* first: a clip given back is its place */
    origin of;
    int users;
    bool making, failed;
    sl_error error;
    unsigned long used; /* by the count of takes */
} place;

struct sl_straight {
    pthread_mutex_t lock;
    pthread_cond_t changed;
    unsigned long takes;
    place place[SL_STRAIGHT_CLIPS];
};

sl_straight *sl_straight_new(void)
{
    sl_straight *all = calloc(1, sizeof *all);
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
    free(p->clip.cell);
    free(p->clip.time_s);
    free(p->clip.source);
    free(p->of.path);
    *p = (place){0};
}

void sl_straight_free(sl_straight **all)
{
    if (!*all)
        return;
    for (int i = 0; i < SL_STRAIGHT_CLIPS; i++)
        empty(&(*all)->place[i]);
    pthread_mutex_destroy(&(*all)->lock);
    pthread_cond_destroy(&(*all)->changed);
    free(*all);
    *all = NULL;
}

static bool origin_of(const char *path, const sl_view *v, origin *of)
{
    if (!sl_stamp_of(path, &of->stamp))
        return false;
    const double geometry[] = {(double)v->shape, v->width, v->height, v->apex_x, v->apex_y, v->first_angle, v->last_angle,
                               v->shape == SL_SHAPE_LINEAR ? v->first_x : v->near_r, v->shape == SL_SHAPE_LINEAR ? v->last_x : v->far_r,
                               v->near_y, v->far_y, v->aspect};
    memcpy(of->geometry, geometry, sizeof of->geometry);
    return true;
}

static bool same(const origin *a, const origin *b)
{
    return a->path && !strcmp(a->path, b->path) && sl_stamp_same(&a->stamp, &b->stamp) && !memcmp(a->geometry, b->geometry, sizeof a->geometry);
}

/* Room for twice as many frames as there are. */
static bool grow(sl_straight_clip *c, int *room)
{
    int more = *room ? 2 * *room : 64;
    more = more < SL_STRAIGHT_FRAMES ? more : SL_STRAIGHT_FRAMES;
    uint8_t *cell = realloc(c->cell, (size_t)more * SL_CELLS);
    c->cell = cell ? cell : c->cell;
    double *time_s = realloc(c->time_s, (size_t)more * sizeof *time_s);
    c->time_s = time_s ? time_s : c->time_s;
    int *source = realloc(c->source, (size_t)more * sizeof *source);
    c->source = source ? source : c->source;
    *room = more;
    return cell && time_s && source;
}

/* Every second frame of those kept. */
static void thin(sl_straight_clip *c)
{
    int kept = 0;
    for (int i = 0; i < c->frames; i += 2, kept++) {
        memmove(c->cell + (size_t)kept * SL_CELLS, c->cell + (size_t)i * SL_CELLS, SL_CELLS);
        c->time_s[kept] = c->time_s[i];
        c->source[kept] = c->source[i];
    }
    c->frames = kept;
    c->every *= 2;
}

static sl_status decode(const char *path, const sl_view *view, sl_straight_clip *c, sl_error *error)
{
    sl_clip *clip = NULL;
    sl_straightener *straightener = NULL;
    int room = 0;
    *c = (sl_straight_clip){.every = 1, .first_s = SL_UNKNOWN, .last_s = SL_UNKNOWN};
    sl_status status = sl_clip_open(path, 1, &clip, error);
    if (status == SL_OK)
        status = sl_straightener_new(view, &straightener, error);
    while (status == SL_OK && c->decoded < SL_FRAMES_SENT) {
        sl_frame frame;
        bool got = false;
        if (sl_clip_next(clip, &frame, &got, NULL) != SL_OK || !got)
            break;
        if (!c->decoded)
            c->first_s = frame.time_s;
        c->last_s = frame.time_s;
        if (c->decoded++ % c->every)
            continue;
        if (c->frames == SL_STRAIGHT_FRAMES) {
            thin(c);
            if ((c->decoded - 1) % c->every)
                continue;
        }
        if (c->frames == room && !grow(c, &room)) {
            status = sl_fail(error, SL_MEMORY, "Memory ran out while the clip's frames were straightened. Close other programs and try again.");
            break;
        }
        sl_straighten(straightener, frame.gray, c->cell + (size_t)c->frames * SL_CELLS);
        c->time_s[c->frames] = frame.time_s;
        c->source[c->frames++] = frame.index;
    }
    sl_straightener_free(&straightener);
    sl_clip_close(&clip);
    if (status == SL_OK && !c->frames)
        status = sl_fail(error, SL_FORMAT, "No frame of the clip could be decoded.");
    return status;
}

/* The place that holds it or is making it, else the one to make it in, emptied; NULL when all are in use. */
static place *find(sl_straight *all, const origin *of)
{
    place *old = NULL;
    for (int i = 0; i < SL_STRAIGHT_CLIPS; i++) {
        place *p = &all->place[i];
        if (same(&p->of, of))
            return p;
        if (!p->users && (!old || p->used < old->used))
            old = p;
    }
    if (old)
        empty(old);
    return old;
}

sl_status sl_straight_take(sl_straight *all, const char *path, const sl_view *view, const sl_straight_clip **clip, sl_error *error)
{
    origin of = {.path = (char *)(uintptr_t)path};
    *clip = NULL;
    if (!origin_of(path, view, &of))
        return sl_fail(error, SL_IO, "The clip's file is not there any more. Bring it in again.");
    pthread_mutex_lock(&all->lock);
    place *p;
    while (!(p = find(all, &of)))
        pthread_cond_wait(&all->changed, &all->lock);
    p->users++;
    p->used = ++all->takes;
    if (!p->of.path) { /* ours to make, while others may look for theirs */
        of.path = strdup(path);
        p->of = of;
        p->making = true;
        pthread_mutex_unlock(&all->lock);
        sl_straight_clip made = {0};
        sl_error why = {0};
        sl_status status = of.path ? decode(path, view, &made, &why) : sl_fail(&why, SL_MEMORY, "Memory ran out. Close other programs and try again.");
        pthread_mutex_lock(&all->lock);
        p->clip = made;
        p->error = why;
        p->failed = status != SL_OK;
        p->making = false;
        pthread_cond_broadcast(&all->changed);
    }
    while (p->making)
        pthread_cond_wait(&all->changed, &all->lock);
    sl_status status = SL_OK;
    if (p->failed) {
        status = p->error.status;
        if (error)
            *error = p->error;
        if (!--p->users)
            empty(p); /* tried again when asked again */
        pthread_cond_broadcast(&all->changed);
    } else
        *clip = &p->clip;
    pthread_mutex_unlock(&all->lock);
    return status;
}

void sl_straight_give(sl_straight *all, const sl_straight_clip *clip)
{
    if (!clip)
        return;
    pthread_mutex_lock(&all->lock);
    ((place *)(uintptr_t)clip)->users--;
    pthread_cond_broadcast(&all->changed);
    pthread_mutex_unlock(&all->lock);
}
