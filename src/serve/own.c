#include "serve/own.h"

#include "core/json.h"
#include "core/units.h"
#include "reading/borders.h"
#include "report/record.h"

#include <stdio.h>
#include <string.h>

static double number_of(const json_t *object, const char *key)
{
    const json_t *field = json_object_get(object, key);
    return json_is_number(field) ? json_number_value(field) : SL_UNKNOWN;
}

static sl_exam_clip *clip_of(sl_exam *exam, const char *where)
{
    for (int i = 0; i < exam->clips; i++)
        if (!strcmp(exam->clip[i].where, where))
            return &exam->clip[i];
    return NULL;
}

/* Places marked in the picture become evidence. */
static void take_places(const json_t *places, sl_finding *finding, sl_arena *arena)
{
    size_t count = json_array_size(places);
    sl_evidence *evidence = count && count <= 64 ? SL_NEW(arena, count, sl_evidence) : NULL;
    for (size_t i = 0; evidence && i < count; i++) {
        const json_t *place = json_array_get(places, i);
        double time = number_of(place, "time_s"), beam = number_of(place, "beam"), depth = number_of(place, "depth");
        int frame = (int)json_integer_value(json_object_get(place, "frame"));
        evidence[i] = (sl_evidence){frame, frame, time, time, beam, beam, depth, depth, 0, NULL, NULL, "marked"};
    }
    finding->evidence = evidence;
    finding->evidences = evidence ? (int)count : 0;
}

static sl_reading *own_of(sl_exam_clip *clip, const char *author, sl_arena *arena)
{
    if (!clip->own) {
        sl_reading *made = sl_reading_new(arena, SL_BY_PERSON, author, clip->name);
        if (made)
            made->method = "read on the page";
        clip->own = made;
    }
    return (sl_reading *)(uintptr_t)clip->own; /* made here */
}

/* Borders set by hand, and their figures where the same was not stated. */
static void take_borders(const json_t *entry, const char *author, const char *out, sl_exam *exam, sl_arena *arena)
{
    sl_exam_clip *clip = clip_of(exam, sl_json_text(entry, "clip"));
    const char *path = clip && out ? sl_record_path(arena, out, clip) : NULL;
    sl_border_hand *hand = SL_NEW(arena, 1, sl_border_hand);
    sl_border_figures *f = SL_NEW(arena, 1, sl_border_figures);
    sl_border_kind kind;
    sl_record record;
    if (!path || !hand || !f || !sl_border_by_key(sl_json_text(entry, "code"), &kind) ||
        sl_border_hand_from_json(json_object_get(entry, "say"), kind, hand, NULL) != SL_OK)
        return;
    const char *user = sl_json_text(entry, "by"); /* who was signed in */
    clip->by_hand[kind] = (sl_hand_borders){hand, *user ? sl_arena_text(arena, user) : author, sl_arena_text(arena, sl_json_text(entry, "at")), NULL};
    if (sl_record_load(path, arena, &record, NULL) != SL_OK ||
        sl_borders_measure(kind, &record.result.border[kind], hand, &record.result.view, arena, f, NULL) != SL_OK)
        return;
    clip->by_hand[kind].figures = f;
    for (int i = 0; i < f->reading->findings; i++) {
        const sl_finding *one = &f->reading->finding[i];
        const sl_finding_info *info = sl_finding_info_of(one->code);
        if (!one->known || !(one->value >= info->low && one->value <= info->high) || (clip->own && sl_reading_get(clip->own, one->code)))
            continue;
        sl_reading *reading = own_of(clip, author, arena);
        sl_finding *finding = reading ? sl_reading_put(reading, one->code) : NULL;
        if (finding)
            *finding = *one;
    }
}

static void take_finding(const json_t *entry, const char *author, sl_exam *exam, sl_arena *arena)
{
    sl_exam_clip *clip = clip_of(exam, sl_json_text(entry, "clip"));
    const sl_finding_info *info = sl_finding_info_by_key(sl_json_text(entry, "code"));
    const json_t *say = json_object_get(entry, "say");
    if (!clip || !info || !json_is_object(say))
        return;
    sl_reading *reading = own_of(clip, author, arena);
    sl_finding *finding = reading ? sl_reading_put(reading, info->code) : NULL;
    if (!finding)
        return;
    const char *answer = sl_json_text(say, "answer");
    finding->value = number_of(say, "value");
    finding->low = number_of(say, "low");
    finding->high = number_of(say, "high");
    finding->answer = !strcmp(answer, "present") ? SL_PRESENT : !strcmp(answer, "absent") ? SL_ABSENT : SL_UNCERTAIN;
    finding->known = !json_is_false(json_object_get(say, "known")) &&
                     (info->kind == SL_KIND_ANSWER ? finding->answer != SL_UNCERTAIN : sl_known(finding->value));
    take_places(json_object_get(say, "place"), finding, arena);
}

void sl_own_apply(const json_t *standing, const char *out, sl_exam *exam, sl_arena *arena)
{
    size_t at;
    json_t *entry;
    sl_conclusion *conclusion = SL_NEW(arena, 1, sl_conclusion);
    const char *text = NULL, *signer = "", *signed_at = "";
    exam->conclusions = 0;
    exam->conclusion = NULL;
    for (int i = 0; i < exam->clips; i++) {
        exam->clip[i].own = NULL;
        memset(exam->clip[i].by_hand, 0, sizeof exam->clip[i].by_hand);
    }
    json_array_foreach((json_t *)(uintptr_t)standing, at, entry)
    {
        const char *kind = sl_json_text(entry, "kind");
        const json_t *say = json_object_get(entry, "say");
        if (!strcmp(kind, "zone")) {
            sl_exam_clip *clip = clip_of(exam, sl_json_text(entry, "clip"));
            const char *key = json_string_value(say);
            if (clip && key) {
                clip->zone = sl_zone_by_key(key);
                clip->zone_from = "clinician";
            }
        } else if (!strcmp(kind, "conclude") && json_string_length(say))
            text = sl_arena_text(arena, json_string_value(say));
        else if (!strcmp(kind, "sign")) {
            signer = sl_arena_text(arena, sl_json_text(say, "name"));
            signed_at = sl_arena_text(arena, sl_json_text(entry, "at"));
        } else if (!strcmp(kind, "find"))
            take_finding(entry, "clinician", exam, arena);
    }
    json_array_foreach((json_t *)(uintptr_t)standing, at, entry)
        if (!strcmp(sl_json_text(entry, "kind"), "borders"))
            take_borders(entry, "clinician", out, exam, arena);
    if (!conclusion || !(text || (signer && *signer)))
        return;
    *conclusion = (sl_conclusion){text ? text : "", signer ? signer : "", signed_at ? signed_at : "", true};
    exam->conclusion = conclusion;
    exam->conclusions = 1;
}
