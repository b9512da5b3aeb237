#include "serve/straight.h"

#include "clip/clip.h"
#include "core/units.h"
#include "serve/frames.h"

#include <stdlib.h>
#include <string.h>

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

static sl_status decode(const char *path, const void *how, void *thing, sl_error *error)
{
    const sl_view *view = how;
    sl_straight_clip *c = thing;
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

static void drop(void *thing)
{
    sl_straight_clip *c = thing;
    free(c->cell);
    free(c->time_s);
    free(c->source);
}

sl_at_hand *sl_straight_new(void)
{
    static const sl_at_hand_kind kind = {sizeof(sl_straight_clip), 0, "The clip's file is not there any more. Bring it in again.", decode, drop};
    return sl_at_hand_new(&kind);
}

sl_status sl_straight_take(sl_at_hand *all, const char *path, const sl_view *v, const sl_straight_clip **clip, sl_error *error)
{
    const double geometry[SL_AT_HAND_TAG] = {
        (double)v->shape, v->width, v->height, v->apex_x, v->apex_y, v->first_angle, v->last_angle, v->shape == SL_SHAPE_LINEAR ? v->first_x : v->near_r,
        v->shape == SL_SHAPE_LINEAR ? v->last_x : v->far_r, v->near_y, v->far_y, v->aspect};
    const void *thing;
    sl_status status = sl_at_hand_take(all, path, geometry, v, &thing, error);
    *clip = thing;
    return status;
}

void sl_straight_give(sl_at_hand *all, const sl_straight_clip *clip)
{
    sl_at_hand_give(all, clip);
}
