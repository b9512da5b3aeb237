/* From the numbers of diaphragm.h to findings: what is claimed, and when nothing is. */
#include "reading/diaphragm.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/answer.h"
#include "reading/motion_table.h"

/* Every breath with the way it went; the line itself where it lies deepest comes first. */
static const sl_evidence *show(const sl_dome *d, sl_arena *arena, int *count)
{
    sl_evidence *evidence = SL_NEW(arena, d->breaths.count + 1, sl_evidence);
    double *beam = SL_NEW(arena, d->points + 1, double), *depth = SL_NEW(arena, d->points + 1, double);
    *count = 0;
    if (!evidence || !beam || !depth)
        return NULL;
    sl_evidence line = {.first_frame = d->far_source, .last_frame = d->far_source, .first_time_s = SL_UNKNOWN, .last_time_s = SL_UNKNOWN,
                        .first_depth = 1, .points = d->points, .beam = beam, .depth = depth, .label = "diaphragm"};
    for (int i = 0; i < d->points; i++) {
        beam[i] = d->point_beam[i];
        depth[i] = d->point_depth[i];
        line.first_depth = fmin(line.first_depth, depth[i]);
        line.last_depth = fmax(line.last_depth, depth[i]);
    }
    if (d->points) {
        line.first_beam = beam[0];
        line.last_beam = beam[d->points - 1];
        evidence[(*count)++] = line;
    }
    double base = (d->near_depth + d->far_depth) / 2, middle = 0;
    for (int b = 0; b < d->breaths.count; b++)
        middle += (d->breaths.breath[b].low + d->breaths.breath[b].high) / 2 / d->breaths.count;
    for (int b = 0; b < d->breaths.count; b++) {
        const sl_breath *it = &d->breaths.breath[b];
        double way = it->high - it->low;
        evidence[(*count)++] = (sl_evidence){
            .first_frame = it->from_source, .last_frame = it->to_source, .first_time_s = d->times_known ? it->from_s : SL_UNKNOWN,
            .last_time_s = d->times_known ? it->to_s : SL_UNKNOWN, .first_beam = d->beam - 0.01, .last_beam = d->beam + 0.01,
            .first_depth = base - (it->high - middle) / SL_DEPTHS, .last_depth = base - (it->low - middle) / SL_DEPTHS,
            .label = sl_known(d->row_mm) ? sl_arena_printf(arena, "%.1f mm%s", way * d->row_mm, it->whole ? "" : ", a part")
                                         : it->whole ? "breath" : "a part of a breath"};
    }
    return evidence;
}

static const char *doubt_of(const sl_dome *d, sl_arena *arena)
{
    if (d->times_known && d->frame_s > DOME_FRAME_MOST_S)
        return sl_arena_printf(arena, "%.1f frames a second are too few to follow the diaphragm", 1 / d->frame_s);
    if (sl_known(d->row_mm) && d->breaths.range * d->row_mm < DOME_TOLD_MM)
        return "a deep line moves, but too little to be told from the hand's movement";
    return "";
}

sl_dome_medians sl_dome_medians_of(const sl_breaths *breaths)
{
    double way[BREATHS_MOST], speed[BREATHS_MOST];
    sl_dome_medians m = {.way = SL_UNKNOWN, .way_spread = SL_UNKNOWN, .speed = SL_UNKNOWN, .speed_spread = SL_UNKNOWN};
    for (int b = 0; b < breaths->count; b++) {
        const sl_breath *it = &breaths->breath[b];
        if (!it->whole)
            continue;
        way[m.whole++] = it->high - it->low;
        if (sl_known(it->speed))
            speed[m.speeds++] = it->speed;
    }
    if (m.whole) {
        m.way = sl_quantile(way, m.whole, 0.5); /* sorts */
        m.way_spread = 0.5 * (way[m.whole - 1] - way[0]);
    }
    if (m.speeds) {
        m.speed = sl_quantile(speed, m.speeds, 0.5);
        m.speed_spread = 0.5 * (speed[m.speeds - 1] - speed[0]);
    }
    return m;
}

/* Median over the whole breaths, their spread in the interval. */
void sl_dome_amounts(const sl_dome *d, const char *why, sl_arena *arena, sl_reading *reading)
{
    sl_dome_medians m = sl_dome_medians_of(&d->breaths);
    sl_finding *excursion = sl_reading_put(reading, SL_DIAPHRAGM_EXCURSION);
    excursion->reason = why[0]                ? why
                        : !sl_known(d->row_mm) ? "the picture's scale is not known"
                        : !m.whole             ? "the clip holds no whole breath"
                        : !d->placed && m.speeds && m.speed * d->row_mm > DOME_SPEED_BELIEVED
                            ? "the line was not followed: it went faster than a diaphragm can"
                        : m.way < 0 ? "as marked it goes away from the probe on breathing in: no excursion is stated"
                                    : "";
    if (excursion->reason[0])
        return;
    int evidences;
    const sl_evidence *evidence = show(d, arena, &evidences);
    double value = m.way * d->row_mm, spread = m.whole > 1 ? m.way_spread * d->row_mm : 0.05 * value;
    double slack = hypot(hypot(spread, DOME_EXCURSION_SLACK_MM + d->row_mm), d->hand_way * d->row_mm);
    *excursion = (sl_finding){.code = SL_DIAPHRAGM_EXCURSION, .known = true, .value = value, .low = fmax(value - slack, 0),
                              .high = value + slack, .confidence = d->index, .evidence = evidence, .evidences = evidences,
                              .reason = sl_arena_printf(arena, "%d whole breaths; lower limits in healthy women and men: breathing quietly %.0f and "
                                                        "%.0f mm; in a sniff %.0f and %.0f mm; in a deep breath %.0f and %.0f mm", m.whole,
                                                        DOME_QUIET_WOMEN_MM, DOME_QUIET_MEN_MM, DOME_SNIFF_WOMEN_MM, DOME_SNIFF_MEN_MM,
                                                        DOME_DEEP_WOMEN_MM, DOME_DEEP_MEN_MM)};
    sl_finding *quick = sl_reading_put(reading, SL_DIAPHRAGM_SPEED);
    quick->reason = !d->times_known ? "frame times are not known" : !m.speeds ? "the clip holds no whole breath" : "";
    if (quick->reason[0])
        return;
    double mm_s = m.speed * d->row_mm, off = hypot(fmax(m.speed_spread * d->row_mm, 0.1 * mm_s), d->hand_speed * d->row_mm);
    *quick = (sl_finding){.code = SL_DIAPHRAGM_SPEED, .known = true, .value = mm_s, .low = fmax(mm_s - off, 0), .high = mm_s + off,
                          .confidence = d->index, .reason = "", .evidence = evidence, .evidences = evidences};
}

/* A breathing rate where the lung gave none, or a less regular one. */
static void state_rate(const sl_dome *d, const sl_finding *like, sl_reading *reading)
{
    const sl_finding *rate = sl_reading_get(reading, SL_BREATHING_RATE);
    const sl_rhythm *b = &d->rhythm;
    if ((rate && rate->known && !(b->explained > rate->confidence)) || !d->times_known || d->frame_s > BREATH_FRAME_MOST_S || !(b->explained > BREATH_SURE) ||
        !(b->cycles >= BREATH_CYCLES_LEAST))
        return;
    sl_finding *put = sl_reading_put(reading, SL_BREATHING_RATE);
    *put = (sl_finding){.code = SL_BREATHING_RATE, .known = true, .value = 60 * b->hz, .low = fmax(60 * b->hz_low - BREATH_SLACK, 0),
                        .high = 60 * b->hz_high + BREATH_SLACK, .confidence = b->explained, .reason = "from the diaphragm",
                        .evidence = like->evidence, .evidences = like->evidences};
}

void sl_dome_state(const sl_dome *d, sl_arena *arena, sl_reading *reading)
{
    sl_finding *dome = sl_reading_put(reading, SL_DIAPHRAGM);
    if (!(d->frames > 0)) {
        dome->reason = d->reason && d->reason[0] ? d->reason : "nothing could be measured";
        sl_reading_put(reading, SL_DIAPHRAGM_EXCURSION)->reason = dome->reason;
        return;
    }
    const sl_answer_rule rule = {.absent_below = DOME_ABSENT, .present_above = DOME_PRESENT};
    sl_rule_answer(&rule, d->index, d->index >= DOME_ABSENT ? doubt_of(d, arena) : "", dome);
    bool shown = dome->answer == SL_PRESENT;
    if (d->index >= DOME_ABSENT)
        dome->evidence = show(d, arena, &dome->evidences);
    if (dome->answer == SL_ABSENT)
        dome->reason = "no deep curved line that moves with breathing; a dome that stands still is not told from other lines";
    sl_dome_amounts(d, shown ? "" : dome->answer == SL_UNCERTAIN ? dome->reason : "no dome of the diaphragm was found", arena, reading);
    if (shown)
        state_rate(d, dome, reading);
}
