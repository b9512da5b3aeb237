#include "exam/exam.h"

#include "core/units.h"

#include <string.h>

enum { HIGHEST = 3 }; /* of the regional score, 0 to 3 (Bouhemad et al., Crit Care Med 2010;38:84-92) */

static bool holds(const sl_protocol *scheme, const sl_zone *zone)
{
    for (int i = 0; i < scheme->zones; i++)
        if (scheme->zone[i] == zone)
            return true;
    return false;
}

static bool used(const sl_exam *exam, const sl_zone *zone)
{
    for (int i = 0; i < exam->clips; i++)
        if (exam->clip[i].zone == zone)
            return true;
    return false;
}

/* A whole column stands for the zones within it ("right lateral" for upper and basal lateral). */
static bool covers(const sl_zone *whole, const sl_zone *part)
{
    return whole != part && whole->side == part->side && whole->from <= part->from && whole->to >= part->to &&
           whole->top <= part->top && whole->bottom >= part->bottom;
}

/* The first scheme that holds every zone used; else the base one, with whole columns in place of their parts and any
 * further zones added. */
static sl_protocol *choose(const sl_exam *exam, sl_arena *arena)
{
    sl_protocol *chosen = SL_NEW(arena, 1, sl_protocol);
    if (!chosen)
        return NULL;
    const sl_protocol *stated = exam->own_protocol ? exam->own_protocol : sl_protocol_by_key(exam->stated_protocol);
    const sl_protocol *base = stated ? stated : sl_protocols()[0];
    for (const sl_protocol *const *at = stated ? (const sl_protocol *const[]){stated, NULL} : sl_protocols(); *at; at++) {
        bool all = true;
        for (int i = 0; i < exam->clips && all; i++)
            all = !exam->clip[i].zone || holds(*at, exam->clip[i].zone);
        if (all) {
            *chosen = **at;
            return chosen;
        }
    }
    *chosen = *base;
    chosen->key = "as-scanned";
    chosen->name = "zones as scanned";
    chosen->zones = 0;
    int count;
    const sl_zone *zones = sl_zones(&count);
    for (sl_side side = SL_SIDE_RIGHT; side <= SL_SIDE_LEFT; side++)
        for (int i = 0; i < count && chosen->zones < SL_ZONES_MOST; i++) {
            if (zones[i].side != side)
                continue;
            bool wanted = used(exam, &zones[i]);
            if (!wanted && holds(base, &zones[i])) {
                wanted = true;
                for (int j = 0; j < count && wanted; j++)
                    wanted = !(covers(&zones[j], &zones[i]) && used(exam, &zones[j]));
            }
            if (wanted)
                chosen->zone[chosen->zones++] = &zones[i];
        }
    return chosen;
}

static void score_zone(const sl_exam *exam, sl_zone_score *zone)
{
    *zone = (sl_zone_score){.zone = zone->zone, .score = -1, .low = 0, .high = 0, .decisive = -1};
    bool open = false;
    for (int i = 0; i < exam->clips; i++) {
        const sl_exam_clip *clip = &exam->clip[i];
        if (clip->zone != zone->zone)
            continue;
        zone->clips++;
        if (zone->decisive < 0)
            zone->decisive = i;
        const sl_finding *finding =
            clip->result.reading ? sl_reading_get(clip->result.reading, SL_SCORE) : NULL;
        if (!finding || !finding->known || !sl_known(finding->value)) {
            open = true; /* this clip might show anything */
            continue;
        }
        int score = (int)(finding->value + 0.5);
        score = score < 0 ? 0 : score > HIGHEST ? HIGHEST : score;
        double low = sl_known(finding->low) ? finding->low : score, high = sl_known(finding->high) ? finding->high : score;
        if (score > zone->score) {
            zone->score = score;
            zone->decisive = i;
        }
        zone->low = low > zone->low ? low : zone->low;
        zone->high = high > zone->high ? high : zone->high;
    }
    if (zone->score < 0 || open)
        zone->high = HIGHEST;
}

sl_status sl_exam_score(sl_exam *exam, sl_arena *arena, sl_error *error)
{
    sl_protocol *scheme = choose(exam, arena);
    exam->zone = scheme ? SL_NEW(arena, scheme->zones + 1, sl_zone_score) : NULL;
    if (!exam->zone)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the zones were scored.");
    exam->protocol = scheme;
    exam->zones = scheme->zones;
    exam->total = exam->total_of = exam->zones_scored = 0;
    exam->total_low = exam->total_high = 0;
    for (int i = 0; i < exam->zones; i++) {
        exam->zone[i].zone = scheme->zone[i];
        score_zone(exam, &exam->zone[i]);
        if (exam->zone[i].score >= 0) {
            exam->total += exam->zone[i].score;
            exam->total_of += HIGHEST;
            exam->zones_scored++;
        }
        exam->total_low += exam->zone[i].low;
        exam->total_high += exam->zone[i].high;
    }
    return SL_OK;
}
