/* The examination as a whole, and its change since an earlier one, in exam.json. */
#include "report/synthesis_json.h"

#include "agree/yesno.h"
#include "core/json.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>

void sl_words_share(int hits, int of, char *text, size_t room)
{
    sl_estimate share = sl_share(hits, of);
    snprintf(text, room, "%d of %d = %.0f %% (%.0f to %.0f)", hits, of, 100 * share.value, 100 * share.low, 100 * share.high);
}

static json_t *share(int hits, int of)
{
    if (of < 1)
        return json_null();
    sl_estimate e = sl_share(hits, of);
    return json_pack("{s:i,s:i,s:o,s:[o,o]}", "hits", hits, "of", of, "value", sl_json_number(e.value, 4), "interval",
                     sl_json_number(e.low, 4), sl_json_number(e.high, 4));
}

static json_t *level(const sl_level *l)
{
    return l->level >= 0 ? json_integer(l->level) : json_null();
}

static json_t *scheme_to_json(const sl_exam *exam, sl_scheme scheme, const sl_scheme_total *total)
{
    const sl_scheme_info *info = sl_scheme_info_of(scheme);
    json_t *object = json_object(), *zones = json_array();
    json_object_set_new(object, "scheme", json_string(info->key));
    json_object_set_new(object, "name", json_string(info->name));
    json_object_set_new(object, "levels", json_string(info->levels));
    json_object_set_new(object, "source", json_string(info->source));
    json_object_set_new(object, "total", total->zones ? json_integer(total->total) : json_null());
    json_object_set_new(object, "of", json_integer(total->of));
    json_object_set_new(object, "zones_scored", json_integer(total->zones));
    json_object_set_new(object, "low", sl_json_number(total->low, 2));
    json_object_set_new(object, "high", sl_json_number(total->high, 2));
    for (int i = 0; i < exam->zones; i++)
        json_array_append_new(zones, json_pack("{s:s,s:o,s:o,s:o}", "zone", exam->zone[i].zone->key, "score", level(&total->zone[i]), "low",
                                               sl_json_number(total->zone[i].low, 2), "high", sl_json_number(total->zone[i].high, 2)));
    json_object_set_new(object, "zones", zones);
    return object;
}

static json_t *profile_to_json(const sl_profile_match *match)
{
    const sl_profile *p = match->profile;
    json_t *object = json_object();
    json_object_set_new(object, "profile", json_string(p->key));
    json_object_set_new(object, "pattern", json_string(p->pattern));
    json_object_set_new(object, "described_with", json_string(p->diagnosis));
    json_object_set_new(object, "complete", json_boolean(match->complete));
    json_object_set_new(object, "needs", json_string(p->needs));
    json_object_set_new(object, "sensitivity", share(p->true_positive, p->ill));
    json_object_set_new(object, "specificity", share(p->true_negative, p->well));
    json_object_set_new(object, "source", json_string(p->source));
    return object;
}

json_t *sl_synthesis_to_json(const sl_exam *exam, const sl_synthesis *all)
{
    json_t *object = json_object(), *schemes = json_array(), *patterns = json_array(), *profiles = json_array();
    for (int s = 0; s < SL_SCHEMES; s++)
        json_array_append_new(schemes, scheme_to_json(exam, (sl_scheme)s, &all->scheme[s]));
    for (int i = 0; i < all->zones; i++) {
        const sl_zone_pattern *z = &all->zone[i];
        json_array_append_new(patterns, json_pack("{s:s,s:s,s:s}", "zone", z->zone->key, "pattern", sl_pattern_name(z->pattern), "sliding",
                                                  sl_answer_name(z->sliding)));
    }
    for (int i = 0; i < all->profiles; i++)
        json_array_append_new(profiles, profile_to_json(&all->profile[i]));
    json_object_set_new(object, "schemes", schemes);
    json_object_set_new(object, "patterns", patterns);
    json_object_set_new(object, "interstitial", json_string(all->interstitial));
    json_object_set_new(object, "symmetry", json_string(all->symmetry));
    json_object_set_new(object, "gravity", json_string(all->gravity));
    json_object_set_new(object, "b_lines", all->b_line_zones ? json_integer(all->b_lines) : json_null());
    json_object_set_new(object, "b_line_zones", json_integer(all->b_line_zones));
    json_object_set_new(object, "described_with", profiles);
    json_object_set_new(object, "no_profile", json_string(all->no_profile));
    json_object_set_new(object, "not_looked_at", json_string(all->not_looked_at));
    json_object_set_new(object, "cannot_exclude", json_string(all->cannot_exclude));
    return object;
}

json_t *sl_change_to_json(const sl_exam_change *change)
{
    json_t *object = json_object(), *zones = json_array(), *remarks = json_array();
    json_object_set_new(object, "since", json_string(change->old->date));
    json_object_set_new(object, "person", json_string(change->old->person));
    json_object_set_new(object, "protocol", json_string(change->old->protocol));
    json_object_set_new(object, "scheme", json_string(sl_scheme_info_of(change->scheme)->key));
    for (int i = 0; i < change->zones; i++) {
        const sl_zone_change *z = &change->zone[i];
        json_array_append_new(zones, json_pack("{s:s,s:o,s:o,s:o,s:o,s:o,s:s}", "zone", z->zone->key, "before",
                                               z->before >= 0 ? json_integer(z->before) : json_null(), "after",
                                               z->after >= 0 ? json_integer(z->after) : json_null(), "low", sl_json_number(z->low, 2), "high",
                                               sl_json_number(z->high, 2), "reaeration",
                                               z->before >= 0 && z->after >= 0 && change->scheme == SL_SCHEME_REGIONAL
                                                   ? json_integer(z->points) : json_null(),
                                               "says", sl_change_name(z->word)));
    }
    bool told = change->compared > 0;
    json_object_set_new(object, "zones", zones);
    json_object_set_new(object, "zones_compared", json_integer(change->compared));
    json_object_set_new(object, "total", told ? json_integer(change->total) : json_null());
    json_object_set_new(object, "least_zone", sl_json_number(change->least_zone, 2));
    json_object_set_new(object, "least_total", sl_json_number(told ? change->least_total : SL_UNKNOWN, 2));
    json_object_set_new(object, "reaeration", told && change->scheme == SL_SCHEME_REGIONAL ? json_integer(change->points) : json_null());
    json_object_set_new(object, "says", json_string(sl_change_name(change->word)));
    for (int i = 0; i < change->remarks; i++)
        json_array_append_new(remarks, json_string(change->remark[i]));
    json_object_set_new(object, "remarks", remarks);
    return object;
}

static int whole(const json_t *object, const char *key, int otherwise)
{
    const json_t *value = json_object_get(object, key);
    return json_is_integer(value) ? (int)json_integer_value(value) : otherwise;
}

static double real(const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : SL_UNKNOWN;
}

static const char *words(const json_t *object, const char *key, sl_arena *arena)
{
    const char *value = json_string_value(json_object_get(object, key)), *copy = value ? sl_arena_text(arena, value) : NULL;
    return copy ? copy : "";
}

static sl_change_word word_of(const json_t *object)
{
    const char *says = json_string_value(json_object_get(object, "says"));
    for (int w = SL_CHANGE_OPEN; says && w <= SL_CHANGE_LESS_AIR; w++)
        if (!strcmp(says, sl_change_name((sl_change_word)w)))
            return (sl_change_word)w;
    return SL_CHANGE_OPEN;
}

sl_status sl_change_from_json(const json_t *json, sl_arena *arena, const sl_exam_change **change, sl_error *error)
{
    const json_t *zones = json_object_get(json, "zones"), *remarks = json_object_get(json, "remarks");
    *change = NULL;
    if (!json_is_array(zones) || json_array_size(zones) > SL_ZONES_MOST)
        return SL_OK;
    sl_exam_change *c = SL_NEW(arena, 1, sl_exam_change);
    sl_old_exam *old = SL_NEW(arena, 1, sl_old_exam);
    if (!c || !old || !(c->zone = SL_NEW(arena, SL_ZONES_MOST, sl_zone_change)))
        return sl_fail(error, SL_MEMORY, "Memory ran out while the comparison was read.");
    *old = (sl_old_exam){.date = words(json, "since", arena), .person = words(json, "person", arena),
                         .protocol = words(json, "protocol", arena), .title = ""};
    c->old = old;
    const char *scheme = json_string_value(json_object_get(json, "scheme"));
    for (int s = 0; scheme && s < SL_SCHEMES; s++)
        if (!strcmp(scheme, sl_scheme_info_of((sl_scheme)s)->key))
            c->scheme = (sl_scheme)s;
    for (size_t i = 0; i < json_array_size(zones); i++) {
        const json_t *item = json_array_get(zones, i);
        const sl_zone *zone = sl_zone_by_key(json_string_value(json_object_get(item, "zone")));
        if (zone)
            c->zone[c->zones++] = (sl_zone_change){zone, whole(item, "before", -1), whole(item, "after", -1), real(item, "low"),
                                                   real(item, "high"), whole(item, "reaeration", 0), word_of(item)};
    }
    c->compared = whole(json, "zones_compared", 0);
    c->total = whole(json, "total", 0);
    c->least_zone = real(json, "least_zone");
    c->least_total = real(json, "least_total");
    c->points = whole(json, "reaeration", 0);
    c->word = word_of(json);
    for (size_t i = 0; i < json_array_size(remarks) && c->remarks < (int)(sizeof c->remark / sizeof *c->remark); i++) {
        const char *line = json_string_value(json_array_get(remarks, i)), *copy = line ? sl_arena_text(arena, line) : NULL;
        if (copy)
            c->remark[c->remarks++] = copy;
    }
    *change = c;
    return SL_OK;
}
