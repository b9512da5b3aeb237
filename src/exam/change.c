#include "exam/change.h"

#include "core/json.h"
#include "core/units.h"
#include "exam/change_table.h"
#include "core/utf8.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_ZONES = 64 };

static const char *text(const json_t *object, const char *key, sl_arena *arena)
{
    const char *value = json_string_value(json_object_get(object, key));
    const char *copy = value ? sl_arena_text(arena, value) : NULL, *valid = copy ? sl_utf8_valid(arena, copy) : NULL;
    return valid ? valid : "";
}

static sl_level level_in(const json_t *object)
{
    const json_t *score = json_object_get(object, "score"), *low = json_object_get(object, "low"), *high = json_object_get(object, "high");
    sl_level level = {json_is_integer(score) ? (int)json_integer_value(score) : -1, json_is_number(low) ? json_number_value(low) : 0,
                      json_is_number(high) ? json_number_value(high) : 3};
    if (level.level > 3)
        level.level = -1;
    return level;
}

static int index_of(const sl_old_exam *old, const sl_zone *zone)
{
    for (int i = 0; i < old->zones; i++)
        if (old->zone[i] == zone)
            return i;
    return -1;
}

static sl_status read_zones(const json_t *root, const char *path, sl_arena *arena, sl_old_exam *old, sl_error *error)
{
    const json_t *zones = json_object_get(root, "zones"), *schemes = json_object_get(json_object_get(root, "synthesis"), "schemes");
    size_t count = json_array_size(zones);
    if (!json_is_array(zones) || count > MOST_ZONES)
        return sl_fail(error, SL_FORMAT, "%s has no list of zones as strandline writes it. Name the exam.json of the earlier examination.", path);
    old->zone = SL_NEW(arena, count + 1, const sl_zone *);
    bool memory = old->zone != NULL;
    for (int s = 0; s < SL_SCHEMES; s++)
        memory = (old->level[s] = SL_NEW(arena, count + 1, sl_level)) && memory;
    if (!memory)
        return sl_fail(error, SL_MEMORY, "Memory ran out while %s was read.", path);
    for (size_t i = 0; i < count; i++) {
        const json_t *item = json_array_get(zones, i);
        const sl_zone *zone = sl_zone_by_key(json_string_value(json_object_get(item, "zone")));
        if (!zone || index_of(old, zone) >= 0)
            continue; /* a zone this version does not know: nothing to compare with */
        for (int s = 0; s < SL_SCHEMES; s++)
            old->level[s][old->zones] = (sl_level){-1, 0, 3};
        old->level[SL_SCHEME_FOUR_LEVEL][old->zones] = level_in(item);
        old->zone[old->zones++] = zone;
    }
    old->has[SL_SCHEME_FOUR_LEVEL] = true;
    for (size_t k = 0; k < json_array_size(schemes); k++) {
        const json_t *scheme = json_array_get(schemes, k), *list = json_object_get(scheme, "zones");
        const char *key = json_string_value(json_object_get(scheme, "scheme"));
        for (int s = 0; s < SL_SCHEMES; s++) {
            if (!key || strcmp(key, sl_scheme_info_of((sl_scheme)s)->key))
                continue;
            old->has[s] = true;
            for (size_t i = 0; i < json_array_size(list); i++) {
                const json_t *item = json_array_get(list, i);
                int at = index_of(old, sl_zone_by_key(json_string_value(json_object_get(item, "zone"))));
                if (at >= 0)
                    old->level[s][at] = level_in(item);
            }
        }
    }
    return SL_OK;
}

sl_status sl_old_exam_load(const char *path, sl_arena *arena, sl_old_exam *old, sl_error *error)
{
    *old = (sl_old_exam){0};
    json_t *root = sl_json_load(path, error);
    if (!root)
        return error ? error->status : SL_IO;
    sl_status status = SL_OK;
    if (!json_is_object(root) || !json_object_get(root, "strandline"))
        status = sl_fail(error, SL_FORMAT, "%s is not an exam.json that strandline wrote. Name the exam.json of the earlier examination.", path);
    const json_t *exam = json_object_get(root, "examination");
    old->date = text(exam, "date", arena);
    old->person = text(exam, "person", arena);
    old->protocol = text(exam, "protocol", arena);
    old->title = text(exam, "title", arena);
    if (status == SL_OK)
        status = read_zones(root, path, arena, old, error);
    json_decref(root);
    return status;
}

const char *sl_change_name(sl_change_word word)
{
    static const char *const names[] = {"not told", "no change that can be shown", "more air", "less air"};
    return names[word];
}

static void remark(sl_exam_change *change, const char *sentence)
{
    if (sentence && change->remarks < (int)(sizeof change->remark / sizeof *change->remark))
        change->remark[change->remarks++] = sentence;
}

/* A zone's change is shown when the two ranges do not touch and it exceeds what repeating alone can give. */
static void compare_zone(sl_zone_change *z, sl_level before, sl_level after, double least)
{
    z->before = before.level;
    z->after = after.level;
    z->low = z->high = SL_UNKNOWN;
    z->word = SL_CHANGE_OPEN;
    if (before.level < 0 || after.level < 0)
        return;
    z->low = after.low - before.high;
    z->high = after.high - before.low;
    z->points = sl_reaeration_points(before.level, after.level);
    int step = after.level - before.level;
    z->word = abs(step) < least || (z->low <= 0 && z->high >= 0) ? SL_CHANGE_NONE : step < 0 ? SL_CHANGE_MORE_AIR : SL_CHANGE_LESS_AIR;
}

sl_status sl_exam_compare(const sl_exam *exam, const sl_old_exam *old, sl_arena *arena, sl_exam_change *change, sl_error *error)
{
    *change = (sl_exam_change){.old = old, .scheme = old->has[SL_SCHEME_REGIONAL] ? SL_SCHEME_REGIONAL : SL_SCHEME_FOUR_LEVEL};
    double sd = change->scheme == SL_SCHEME_REGIONAL ? CHANGE_ZONE_SD_REGIONAL : CHANGE_ZONE_SD_FOUR_LEVEL;
    change->least_zone = CHANGE_FACTOR * sd;
    change->same_protocol = exam->protocol && !strcmp(exam->protocol->key, old->protocol);
    sl_scheme_total now;
    sl_status status = sl_exam_scheme(exam, change->scheme, arena, &now, error);
    change->zone = SL_NEW(arena, exam->zones + 1, sl_zone_change);
    if (status != SL_OK || !change->zone)
        return status != SL_OK ? status : sl_fail(error, SL_MEMORY, "Memory ran out while two examinations were compared.");
    int unseen = 0;
    for (int i = 0; i < exam->zones; i++) {
        sl_zone_change *z = &change->zone[change->zones++];
        *z = (sl_zone_change){.zone = exam->zone[i].zone};
        int at = index_of(old, z->zone);
        compare_zone(z, at >= 0 ? old->level[change->scheme][at] : (sl_level){-1, 0, 3}, now.zone[i], change->least_zone);
        if (z->before >= 0 && z->after >= 0) {
            change->compared++;
            change->total += z->after - z->before;
            change->points += z->points;
        } else
            unseen++;
    }
    change->least_total = change->least_zone * sqrt(change->compared);
    change->word = !change->compared                           ? SL_CHANGE_OPEN
                   : abs(change->total) < change->least_total ? SL_CHANGE_NONE
                   : change->total < 0                         ? SL_CHANGE_MORE_AIR
                                                               : SL_CHANGE_LESS_AIR;
    if (*old->person && *exam->person && strcmp(old->person, exam->person))
        remark(change, sl_arena_printf(arena, "The earlier examination is of \"%s\", this one of \"%s\": check that they are the same person.",
                                       old->person, exam->person));
    if (!change->same_protocol)
        remark(change, sl_arena_printf(arena, "The earlier examination used another scheme of zones (%s, this one %s): only the zones that both "
                                       "have are compared, and their sum stands for these alone.",
                                       *old->protocol ? old->protocol : "not stated", exam->protocol ? exam->protocol->key : "none"));
    if (unseen)
        remark(change, sl_arena_printf(arena, "Of %d zones %d without a level on both dates %s left out of the comparison's sum.", exam->zones,
                                       unseen, unseen == 1 ? "is" : "are"));
    if (!old->has[SL_SCHEME_REGIONAL])
        remark(change, sl_arena_printf(arena, "The earlier exam.json has no regional aeration levels (it was written by an older version), so "
                                       "the four levels are compared and no reaeration score is given. Read its clips again to have one."));
    if (*old->date && *exam->date && strcmp(old->date, exam->date) > 0)
        remark(change, sl_arena_printf(arena, "The examination named as the earlier one is dated later (%s, this one %s).", old->date, exam->date));
    return SL_OK;
}
