#include "exam/synthesis.h"

#include "core/text.h"
#include "core/units.h"
#include "exam/profiles_table.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const double three_lines = 3; /* a positive view (Volpicelli et al. 2012) */

const char *sl_pattern_name(sl_pattern pattern)
{
    static const char *const names[SL_PATTERNS] = {"not seen", "not told", "dry", "interstitial", "consolidated", "fluid"};
    return (unsigned)pattern < SL_PATTERNS ? names[pattern] : "";
}

/* ---- zones ---- */

static bool lines_positive(const sl_lung_signs *s)
{
    return s->white_lung == SL_PRESENT || (s->b_lines == SL_PRESENT && s->count >= three_lines);
}

/* The worst of a zone's clips; an absence only holds when every clip has it. */
static void add_clip(sl_zone_pattern *zone, const sl_lung_signs *s, bool *told)
{
    zone->fluid |= s->effusion == SL_PRESENT;
    zone->consolidated |= s->consolidation == SL_PRESENT;
    zone->interstitial |= lines_positive(s);
    /* No lines is dry only where air mirrors the pleura, or fluid and solid lung were looked for and are not there. */
    bool air = s->a_lines == SL_PRESENT || (s->effusion == SL_ABSENT && s->consolidation == SL_ABSENT);
    *told |= s->b_lines == SL_PRESENT || (s->b_lines == SL_ABSENT && air) || s->white_lung == SL_PRESENT || zone->fluid || zone->consolidated;
    if (s->sliding != SL_UNCERTAIN && zone->sliding != SL_ABSENT)
        zone->sliding = s->sliding;
    if (s->a_lines == SL_PRESENT || zone->a_lines == SL_UNCERTAIN)
        zone->a_lines = s->a_lines;
    if (s->lung_point == SL_PRESENT)
        zone->lung_point = SL_PRESENT;
}

static void state_zones(const sl_exam *exam, sl_synthesis *all)
{
    for (int z = 0; z < exam->zones; z++) {
        sl_zone_pattern *zone = &all->zone[z];
        *zone = (sl_zone_pattern){.zone = exam->zone[z].zone};
        bool told = false, read = false;
        int most = -1;
        for (int i = 0; i < exam->clips; i++) {
            if (exam->clip[i].zone != zone->zone || !exam->clip[i].result.reading)
                continue;
            sl_lung_signs s = sl_lung_signs_of(exam->clip[i].result.reading);
            read = true;
            add_clip(zone, &s, &told);
            if (s.b_lines != SL_UNCERTAIN && sl_b_line_count_of(&s) > most)
                most = sl_b_line_count_of(&s);
        }
        zone->pattern = !read                ? SL_PATTERN_NOT_SEEN
                        : zone->fluid        ? SL_PATTERN_FLUID
                        : zone->consolidated ? SL_PATTERN_CONSOLIDATED
                        : zone->interstitial ? SL_PATTERN_INTERSTITIAL
                        : told               ? SL_PATTERN_DRY
                                             : SL_PATTERN_OPEN;
        if (most >= 0) {
            all->b_lines += most;
            all->b_line_zones++;
        }
        if (!told)
            continue;
        bool right = zone->zone->side == SL_SIDE_RIGHT;
        *(right ? &all->judged_right : &all->judged_left) += 1;
        *(right ? &all->positive_right : &all->positive_left) += zone->interstitial;
    }
}

/* ---- sentences ---- */

static const char *line(sl_arena *arena, const char *format, ...) __attribute__((format(printf, 2, 3)));

static const char *line(sl_arena *arena, const char *format, ...)
{
    char text[1200];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    const char *copy = sl_arena_text(arena, text);
    return copy ? copy : "";
}

/* Two and more positive zones on each side: Volpicelli et al., Intensive Care Med 2012;38:577 (8 zones). */
static void state_interstitial(const sl_exam *exam, sl_arena *arena, sl_synthesis *all)
{
    int judged = all->judged_right + all->judged_left, positive = all->positive_right + all->positive_left;
    const char *rule = "two positive zones and more on each side (Volpicelli et al. 2012, eight zones)";
    if (!judged)
        all->interstitial = "Interstitial pattern: not told, no zone could be judged.";
    else if (all->positive_right >= 2 && all->positive_left >= 2)
        all->interstitial = line(arena, "Interstitial pattern: diffuse, %d positive zones right and %d left; %s.", all->positive_right,
                                 all->positive_left, rule);
    else if (positive)
        all->interstitial = line(arena, "Interstitial pattern: focal, %d positive zones right and %d left of %d told; diffuse asks for %s%s.",
                                 all->positive_right, all->positive_left, judged, rule,
                                 judged < exam->zones ? ", and zones not seen may add to it" : "");
    else
        all->interstitial = line(arena, "Interstitial pattern: none seen in %d of %d zones.", judged, exam->zones);
}

/* Mean regional level over the zones for which `pick` holds; counts them. */
static double mean_level(const sl_exam *exam, const sl_scheme_total *levels, bool (*pick)(const sl_zone *), int *count)
{
    double sum = 0;
    *count = 0;
    for (int i = 0; i < exam->zones; i++)
        if (levels->zone[i].level >= 0 && pick(exam->zone[i].zone)) {
            sum += levels->zone[i].level;
            ++*count;
        }
    return *count ? sum / *count : SL_UNKNOWN;
}

static bool is_right(const sl_zone *zone)
{
    return zone->side == SL_SIDE_RIGHT;
}

static bool is_left(const sl_zone *zone)
{
    return zone->side == SL_SIDE_LEFT;
}

/* Lying on the back: the front is up. */
static bool is_front(const sl_zone *zone)
{
    return zone->to <= 0.31;
}

static bool is_back(const sl_zone *zone)
{
    return zone->from >= 0.59 || (zone->from >= 0.29 && zone->bottom > 0.9);
}

static void state_distribution(const sl_exam *exam, sl_arena *arena, sl_synthesis *all)
{
    const sl_scheme_total *levels = &all->scheme[SL_SCHEME_REGIONAL];
    int right, left, front, back;
    double r = mean_level(exam, levels, is_right, &right), l = mean_level(exam, levels, is_left, &left);
    double f = mean_level(exam, levels, is_front, &front), b = mean_level(exam, levels, is_back, &back);
    all->symmetry = all->gravity = "";
    if (right && left)
        all->symmetry = line(arena, "Mean regional level %.1f on the right (%d zones) and %.1f on the left (%d): %s.", r, right, l, left,
                             fabs(r - l) < 0.5 ? "about alike" : r > l ? "less air on the right" : "less air on the left");
    if (front && back)
        all->gravity = line(arena, "Mean regional level %.1f at the front (%d zones) and %.1f at the sides' base and back (%d): %s.", f, front, b,
                            back, fabs(f - b) < 0.5 ? "no gradient that can be seen" : b > f ? "less air where fluid sinks to, lying on the back"
                                                                                      : "less air at the front");
}

/* ---- the decision tree ---- */

typedef struct side_state {
    bool seen, lines, dry, a_lines, consolidation, slides, still, lung_point;
    bool base_seen, base_dry, base_ill;
} side_state;

static side_state state_of_side(const sl_synthesis *all, sl_side side)
{
    side_state s = {0};
    int anterior = 0, dry = 0;
    for (int i = 0; i < all->zones; i++) {
        const sl_zone_pattern *z = &all->zone[i];
        if (z->zone->side != side || z->pattern <= SL_PATTERN_OPEN)
            continue;
        if (is_front(z->zone)) {
            anterior++;
            s.lines |= z->interstitial;
            s.consolidation |= z->consolidated;
            dry += z->pattern == SL_PATTERN_DRY;
            s.a_lines |= z->a_lines == SL_PRESENT;
            s.slides |= z->sliding == SL_PRESENT;
            s.still |= z->sliding == SL_ABSENT;
            s.lung_point |= z->lung_point == SL_PRESENT;
        } else if (!strcmp(z->zone->place, "posterolateral") || !strcmp(z->zone->place, "basal lateral")) {
            s.base_seen = true;
            s.base_ill |= z->consolidated || z->fluid;
        }
    }
    s.seen = anterior > 0;
    s.dry = anterior > 0 && dry == anterior;
    s.base_dry = s.base_seen && !s.base_ill;
    return s;
}

static void offer(sl_synthesis *all, int row, bool complete)
{
    if (all->profiles < SL_PROFILES_MOST)
        all->profile[all->profiles++] = (sl_profile_match){&sl_profiles[row], complete && !*sl_profiles[row].needs};
}

static void state_profile(sl_arena *arena, sl_synthesis *all)
{
    side_state right = state_of_side(all, SL_SIDE_RIGHT), left = state_of_side(all, SL_SIDE_LEFT);
    all->no_profile = "";
    if (!right.seen || !left.seen) {
        all->no_profile = line(arena, "The tree asks for the anterior points of both sides; %s, so it is not entered.",
                               !right.seen && !left.seen ? "neither is told" : !right.seen ? "the right is not told" : "the left is not told");
        return;
    }
    const side_state *still = right.still ? &right : left.still ? &left : NULL;
    if (still) {
        if (still->lines)
            offer(all, SL_PROFILE_B_PRIME, true);
        else if (still->lung_point)
            offer(all, SL_PROFILE_PNEUMOTHORAX, true);
        else if (still->a_lines)
            offer(all, SL_PROFILE_A_PRIME, true);
        else
            all->no_profile = "Sliding is absent on one side without A- or B-lines there: the tree has no branch for it.";
        return;
    }
    bool slides = right.slides && left.slides;
    if (right.consolidation || left.consolidation)
        offer(all, SL_PROFILE_C, true);
    if (right.lines && left.lines)
        offer(all, SL_PROFILE_B, slides);
    else if ((right.lines && left.dry) || (left.lines && right.dry))
        offer(all, SL_PROFILE_AB, true);
    else if (right.dry && left.dry) {
        if (right.base_ill || left.base_ill)
            offer(all, SL_PROFILE_A_POSTERIOR, slides);
        else if (right.base_dry && left.base_dry)
            offer(all, SL_PROFILE_A_NUDE, slides);
        else
            all->no_profile = "Anterior A pattern on both sides; the tree goes on with the leg veins and the posterolateral points, which are "
                              "not all told.";
    }
    if (!all->profiles && !*all->no_profile)
        all->no_profile = "The anterior points do not form a pattern that the tree names.";
}

/* ---- what was not looked at ---- */

static void state_unseen(const sl_exam *exam, sl_arena *arena, sl_synthesis *all)
{
    sl_text text = {0};
    int missing = 0;
    for (int i = 0; i < all->zones; i++)
        if (all->zone[i].pattern == SL_PATTERN_NOT_SEEN)
            sl_text_printf(&text, "%s%s", missing++ ? ", " : "Not seen: ", all->zone[i].zone->name);
    if (missing)
        sl_text_add(&text, ". ");
    bool sliding = false, fluid = false;
    for (int i = 0; i < exam->clips; i++) {
        sl_lung_signs s = sl_lung_signs_of(exam->clip[i].result.reading);
        sliding |= s.sliding != SL_UNCERTAIN;
        fluid |= s.effusion != SL_UNCERTAIN;
    }
    if (!sliding)
        sl_text_add(&text, "Sliding was told in no clip. ");
    if (!fluid)
        sl_text_add(&text, "Fluid was told in no clip. ");
    all->not_looked_at = text.length ? line(arena, "%.*s", (int)text.length - 1, text.bytes) : "";
    sl_text_free(&text);
    bool back = false;
    for (int i = 0; i < all->zones; i++)
        back |= all->zone[i].pattern > SL_PATTERN_OPEN && all->zone[i].zone->from >= 0.59;
    all->cannot_exclude = line(arena,
                               "%sWhat does not touch the pleura is not seen by ultrasound (central pneumonia, a deep nodule, central "
                               "embolism), nor is obstruction without pleural change; where no zone was scanned nothing is excluded%s.",
                               missing ? "With zones missing, disease there cannot be excluded. " : "",
                               back ? "" : "; no posterior zone was told, where most effusions and consolidations lie");
}

sl_status sl_exam_synthesis(const sl_exam *exam, sl_arena *arena, sl_synthesis *all, sl_error *error)
{
    *all = (sl_synthesis){.zones = exam->zones, .zone = SL_NEW(arena, exam->zones + 1, sl_zone_pattern)};
    if (!all->zone)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the examination was summed up.");
    for (int s = 0; s < SL_SCHEMES; s++) {
        sl_status status = sl_exam_scheme(exam, (sl_scheme)s, arena, &all->scheme[s], error);
        if (status != SL_OK)
            return status;
    }
    state_zones(exam, all);
    state_interstitial(exam, arena, all);
    state_distribution(exam, arena, all);
    state_profile(arena, all);
    state_unseen(exam, arena, all);
    return SL_OK;
}

sl_status sl_exam_sum_up(sl_exam *exam, sl_arena *arena, sl_error *error)
{
    sl_synthesis *synthesis = SL_NEW(arena, 1, sl_synthesis);
    if (!synthesis)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the examination was summed up.");
    exam->synthesis = synthesis;
    return sl_exam_synthesis(exam, arena, synthesis, error);
}
