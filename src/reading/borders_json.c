#include "core/json.h"
#include "core/units.h"
#include "reading/muscle.h"
#include "reading/borders.h"
#include "view/stack.h"

#include <string.h>

static const char *const line_keys[SL_BORDER_LINES] = {"depth", "lower"};

json_t *sl_border_path_to_json(const sl_border_path *p)
{
    json_t *object = json_object(), *source = json_array(), *time_s = json_array();
    for (int t = 0; t < p->frames; t++) {
        json_array_append_new(source, json_integer(p->source[t]));
        json_array_append_new(time_s, sl_json_number(p->time_s[t], 4));
    }
    json_object_set_new(object, "found", json_boolean(p->found));
    json_object_set_new(object, "index", sl_json_number(p->index, 4));
    json_object_set_new(object, "beam", sl_json_number(p->beam, 4));
    json_object_set_new(object, "frames", source);
    json_object_set_new(object, "times_s", time_s);
    for (int k = 0; k < SL_BORDER_LINES; k++) {
        json_t *depth = p->depth[k] ? json_array() : NULL;
        for (int t = 0; depth && t < p->frames; t++)
            json_array_append_new(depth, sl_json_number(p->depth[k][t], 6));
        if (depth)
            json_object_set_new(object, line_keys[k], depth);
    }
    return object;
}

static double real(const json_t *object, const char *key)
{
    const json_t *field = json_object_get(object, key);
    return json_is_number(field) ? json_number_value(field) : SL_UNKNOWN;
}

static const double *list_of(const json_t *list, size_t count, sl_arena *arena)
{
    double *value = json_array_size(list) == count ? SL_NEW(arena, count + 1, double) : NULL;
    for (size_t i = 0; value && i < count; i++) {
        const json_t *item = json_array_get(list, i);
        value[i] = json_is_number(item) ? json_number_value(item) : SL_UNKNOWN;
    }
    return value;
}

bool sl_border_path_from_json(const json_t *json, sl_arena *arena, sl_border_path *p)
{
    *p = (sl_border_path){.index = SL_UNKNOWN, .beam = SL_UNKNOWN};
    const json_t *frames = json_object_get(json, "frames");
    size_t count = json_array_size(frames);
    if (!count || count > SL_STACK_MOST)
        return false;
    int *source = SL_NEW(arena, count, int);
    const double *time_s = list_of(json_object_get(json, "times_s"), count, arena);
    if (!source || !time_s)
        return false;
    for (size_t t = 0; t < count; t++) {
        json_int_t frame = json_integer_value(json_array_get(frames, t));
        if (frame < 0 || frame > 1000000000 || (t && frame <= source[t - 1]))
            return false;
        source[t] = (int)frame;
    }
    *p = (sl_border_path){.frames = (int)count, .source = source, .time_s = time_s, .index = real(json, "index"), .beam = real(json, "beam")};
    for (int k = 0; k < SL_BORDER_LINES; k++)
        p->depth[k] = list_of(json_object_get(json, line_keys[k]), count, arena);
    p->found = p->depth[0] && json_is_true(json_object_get(json, "found"));
    return true;
}

/* ---- by hand ---- */

static bool frame_of(const json_t *object, int *frame)
{
    const json_t *field = json_object_get(object, "frame");
    *frame = json_is_integer(field) && json_integer_value(field) >= 0 && json_integer_value(field) <= 1000000000 ? (int)json_integer_value(field) : -1;
    return *frame >= 0;
}

sl_status sl_border_hand_from_json(const json_t *json, sl_border_kind kind, sl_border_hand *hand, sl_error *error)
{
    const json_t *points = json_object_get(json, "points"), *turns = json_object_get(json, "turns");
    *hand = (sl_border_hand){.beam = real(json, "beam"), .anew = json_is_true(json_object_get(json, "anew"))};
    if (!json_is_object(json) || (points && !json_is_array(points)) || (turns && !json_is_array(turns)))
        return sl_fail(error, SL_USAGE, "The borders that were set could not be read. Set them again.");
    if (json_array_size(points) > SL_BORDER_POINTS_MOST || json_array_size(turns) > SL_BORDER_TURNS_MOST)
        return sl_fail(error, SL_LIMIT, "Borders take at most %d points and %d turning points. Take some away.", SL_BORDER_POINTS_MOST, SL_BORDER_TURNS_MOST);
    if (sl_known(hand->beam) && !(hand->beam >= 0 && hand->beam <= 1))
        return sl_fail(error, SL_USAGE, "The beam of a border lies between 0 and 1.");
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *one = json_array_get(points, i), *line = json_object_get(one, "line");
        sl_border_point *p = &hand->point[hand->points];
        p->depth = real(one, "depth");
        p->line = line ? (json_is_integer(line) && json_integer_value(line) >= 0 && json_integer_value(line) < sl_border_lines(kind) ? (int)json_integer_value(line) : -1) : 0;
        if (!frame_of(one, &p->frame) || p->line < 0 || !(p->depth >= 0 && p->depth <= 1))
            return sl_fail(error, SL_USAGE, "A border's point is a line, a frame and a depth from 0 to 1. Place it again.");
        hand->points++;
    }
    for (size_t i = 0; i < json_array_size(turns); i++) {
        const json_t *one = json_array_get(turns, i);
        sl_border_turn *turn = &hand->turn[hand->turns];
        const char *end = sl_json_text(one, "end");
        turn->inspired = !strcmp(end, "inspiration");
        if (!frame_of(one, &turn->frame) || (!turn->inspired && strcmp(end, "expiration")))
            return sl_fail(error, SL_USAGE, "A turning point is a frame and the end of expiration or of inspiration. Mark it again.");
        hand->turns++;
    }
    return SL_OK;
}

json_t *sl_border_hand_to_json(const sl_border_hand *hand)
{
    json_t *points = json_array(), *turns = json_array();
    for (int i = 0; i < hand->points; i++)
        json_array_append_new(points, json_pack("{s:i,s:i,s:o}", "line", hand->point[i].line, "frame", hand->point[i].frame, "depth",
                                                sl_json_number(hand->point[i].depth, 6)));
    for (int i = 0; i < hand->turns; i++)
        json_array_append_new(turns, json_pack("{s:i,s:s}", "frame", hand->turn[i].frame, "end", hand->turn[i].inspired ? "inspiration" : "expiration"));
    return json_pack("{s:o,s:o,s:o,s:b}", "points", points, "turns", turns, "beam", sl_json_number(hand->beam, 4), "anew", hand->anew);
}

/* ---- figures ---- */

static json_t *breath_json(sl_border_kind kind, const sl_breath *b, double hand_sd, double row_mm)
{
    json_t *object = json_pack("{s:[i,i],s:[o,o],s:b}", "frames", b->from_source, b->to_source, "times_s", sl_json_number(b->from_s, 4),
                               sl_json_number(b->to_s, 4), "whole", b->whole);
    if (kind == SL_BORDER_DOME) {
        json_object_set_new(object, "way_mm", sl_json_number((b->high - b->low) * row_mm, 2));
        json_object_set_new(object, "way_share", sl_json_number((b->high - b->low) / SL_DEPTHS, 4));
        json_object_set_new(object, "speed_mm_s", sl_json_number(b->speed * row_mm, 1));
        json_object_set_new(object, "placing_sd_mm", sl_json_number(hand_sd * row_mm, 3));
    } else {
        json_object_set_new(object, "low_mm", sl_json_number(b->low * row_mm, 3));
        json_object_set_new(object, "high_mm", sl_json_number(b->high * row_mm, 3));
        json_object_set_new(object, "thickening", sl_json_number(b->low > 0 ? sl_thickening(b->low, b->high) : SL_UNKNOWN, 1));
        json_object_set_new(object, "placing_sd", sl_json_number(hand_sd, 2));
    }
    return object;
}

json_t *sl_border_figures_to_json(sl_border_kind kind, const sl_border_figures *f)
{
    json_t *object = json_object(), *breaths = json_array(), *reading = sl_reading_to_json(f->reading);
    for (int b = 0; b < f->breaths.count; b++)
        json_array_append_new(breaths, breath_json(kind, &f->breaths.breath[b], f->hand_sd[b], f->row_mm));
    json_object_set_new(object, "breaths", breaths);
    json_object_set(object, "findings", json_object_get(reading, "findings"));
    json_object_set_new(object, "path", sl_border_path_to_json(&f->path));
    json_decref(reading);
    return object;
}
