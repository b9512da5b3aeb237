#include "reading/bronchogram.h"

#include "core/units.h"
#include "reading/bronchogram_table.h"
#include "reading/solid_table.h"

#include <math.h>

/* What is stated of the bronchi. Whether it is lung at all is the consolidation's answer. */

static double per(double count, double half)
{
    return sl_known(count) ? count / (count + half) : SL_UNKNOWN;
}

static sl_evidence *box(const sl_bronchi *b, sl_arena *arena, int count)
{
    sl_evidence *e = SL_NEW(arena, count + 1, sl_evidence);
    for (int i = 0; e && i < count; i++)
        e[i] = (sl_evidence){.first_frame = b->first_source, .last_frame = b->last_source, .first_time_s = b->first_time_s, .last_time_s = b->last_time_s};
    return e;
}

/* A small cross of no area at each point: the line through them would say what is not meant. */
static void show_points(const sl_bronchi *b, sl_arena *arena, sl_finding *f)
{
    sl_evidence *e = box(b, arena, b->shown);
    for (int i = 0; e && i < b->shown; i++) {
        e[i].first_beam = b->beam[i] - BRONCHI_MARK;
        e[i].last_beam = b->beam[i] + BRONCHI_MARK;
        e[i].first_depth = b->depth[i] - BRONCHI_MARK;
        e[i].last_depth = b->depth[i] + BRONCHI_MARK;
        e[i].label = i ? NULL : "bright points in lung without air";
    }
    f->evidence = e;
    f->evidences = e ? b->shown : 0;
}

static void show_tubes(const sl_bronchi *b, sl_arena *arena, sl_finding *f)
{
    sl_evidence *e = box(b, arena, b->tubes_shown);
    for (int i = 0; e && i < b->tubes_shown; i++) {
        e[i].first_beam = b->tube_first_beam[i];
        e[i].last_beam = b->tube_last_beam[i];
        e[i].first_depth = b->tube_first_depth[i];
        e[i].last_depth = b->tube_last_depth[i];
        e[i].label = i ? NULL : "echo-free tubes";
    }
    f->evidence = e;
    f->evidences = e ? b->tubes_shown : 0;
}

/* More than 1 mm, or not, with what the measurement may be off by. */
static void state_movement(const sl_bronchi *b, bool whole_breath, const char *doubt, sl_arena *arena, sl_finding *moves, sl_finding *travel)
{
    bool measured = !doubt[0] && sl_known(b->travel);
    double index = measured ? 1 / (1 + exp(-1.7 * (b->travel - MOVING_MM) / b->travel_sd)) : SL_UNKNOWN; /* normal distribution to 0.01 */
    travel->reason = doubt[0] ? doubt : measured ? "along the beams, against the tissue about it; across them it is not measured" : b->still_reason;
    if (measured) {
        travel->known = true;
        travel->value = b->travel;
        travel->low = fmax(0, b->travel - 1.96 * b->travel_sd);
        travel->high = b->travel + 1.96 * b->travel_sd;
        travel->confidence = SL_UNKNOWN;
    }
    sl_rule_answer(&moving_rule, index, doubt[0] ? doubt : measured ? "" : b->still_reason, moves);
    if (!moves->known)
        return;
    /* To say that it stands still, a whole breath must have been seen, and something must have moved with it. */
    bool breathes = sl_known(b->tissue) && b->tissue >= STILL_TISSUE_MM;
    if (moves->answer == SL_ABSENT && (!whole_breath || !breathes)) {
        moves->answer = SL_UNCERTAIN;
        moves->reason = whole_breath ? "the lung itself does not move in this clip: a held breath?" : "the clip holds no whole breath: record 6 s or more";
    } else if (moves->answer == SL_ABSENT) {
        moves->reason = sl_arena_printf(arena, "the tissue about it moved by %.0f mm", b->tissue);
    }
}

/* `seen`: that they last; `solid`: whether it is lung without air. The index is as sure as the less sure of the two; doubt about the lung
 * alone leaves the answer open. */
static void state_seen(const sl_answer_rule *rule, double seen, double solid, const char *doubt, sl_finding *f)
{
    double share = solid / solid_rule.present_above;
    double sure = share < 1 ? rule->absent_below + (rule->present_above - rule->absent_below) * share : 1;
    sl_rule_answer(rule, sl_known(seen) ? fmin(seen, sure) : SL_UNKNOWN, doubt, f);
    if (f->known && f->answer == SL_UNCERTAIN && seen > rule->present_above)
        f->reason = "whether it is lung without air is not sure";
}

void sl_bronchi_state(const sl_bronchi *b, bool whole_breath, const char *doubt, sl_arena *arena, sl_reading *reading)
{
    const sl_finding *solid = sl_reading_get(reading, SL_CONSOLIDATION);
    bool organ = sl_reading_get(reading, SL_ORGAN) && sl_reading_get(reading, SL_ORGAN)->answer == SL_PRESENT;
    bool stated = solid && solid->known && solid->answer == SL_PRESENT;
    double solid_index = !solid || !solid->known ? 0 : stated ? solid->value : fmin(solid->value, 0.99 * solid_rule.present_above);
    if (!doubt[0])
        doubt = b->reason;
    bool looked = !doubt[0] && b->blocks > 0;
    sl_finding *air = sl_reading_put(reading, SL_AIR_BRONCHOGRAM), *fluid = sl_reading_put(reading, SL_FLUID_BRONCHOGRAM);
    sl_finding *moves = sl_reading_put(reading, SL_AIR_BRONCHOGRAM_MOVES), *travel = sl_reading_put(reading, SL_AIR_BRONCHOGRAM_TRAVEL);
    double points = looked ? per(b->points_block, AIR_HALF) : SL_UNKNOWN;
    state_seen(&air_rule, points, solid_index, doubt, air);
    state_seen(&tube_rule, looked ? per(b->tubes, TUBE_HALF) : SL_UNKNOWN, solid_index, doubt, fluid);
    bool last = looked && points > air_rule.present_above;
    const char *none = last ? "" : !air->known ? air->reason : air->answer == SL_ABSENT ? "no air bronchogram is stated" : "whether it is an air bronchogram is not sure";
    state_movement(b, whole_breath, none, arena, moves, travel);
    /* What travels against the tissue about it is air in a bronchus, and its tissue lung; what stands still may be anything bright. */
    if (moves->known && moves->answer == SL_PRESENT && air->answer != SL_PRESENT && travel->low > MOVING_MM && !organ) {
        air->answer = SL_PRESENT;
        air->value = fmax(air->value, points);
        air->confidence = moves->confidence;
        air->reason = "bright points that travel against the tissue about them";
        sl_finding *lung = sl_reading_put(reading, SL_CONSOLIDATION);
        lung->known = true;
        lung->answer = SL_PRESENT;
        lung->value = fmax(fmax(solid_index, solid_rule.present_above), moves->value * air->value);
        lung->confidence = moves->confidence;
        lung->reason = "air travels in it as in bronchi";
        show_points(b, arena, lung);
    } else if (moves->known && air->answer != SL_PRESENT) {
        moves->answer = SL_UNCERTAIN;
        moves->reason = air->reason;
        travel = sl_reading_put(reading, SL_AIR_BRONCHOGRAM_TRAVEL);
        travel->reason = air->reason;
    }
    if (air->known && air->answer != SL_ABSENT) {
        show_points(b, arena, air);
        air->reason = air->reason[0] ? air->reason : sl_arena_printf(arena, "%.0f bright points at a time", b->points_block);
    }
    if (fluid->known && fluid->answer != SL_ABSENT) {
        show_tubes(b, arena, fluid);
        fluid->reason = fluid->reason[0] ? fluid->reason : "bronchi with fluid, or vessels, which look the same: colour Doppler tells them apart";
    }
    if (moves->known && moves->answer != SL_UNCERTAIN)
        show_points(b, arena, moves);
}
