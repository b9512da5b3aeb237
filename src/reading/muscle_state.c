/* From the numbers of muscle.h to findings. */
#include "reading/muscle.h"

#include "core/units.h"

static const sl_code codes[] = {SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING};

static const sl_evidence *show(const sl_muscle *m, sl_arena *arena, int *count)
{
    sl_evidence *evidence = SL_NEW(arena, m->breaths.count + 1, sl_evidence);
    *count = 0;
    if (!evidence)
        return NULL;
    evidence[(*count)++] = (sl_evidence){
        .first_frame = m->first_source, .last_frame = m->last_source, .first_time_s = m->times_known ? m->first_time_s : SL_UNKNOWN,
        .last_time_s = m->times_known ? m->last_time_s : SL_UNKNOWN, .first_beam = m->first_beam, .last_beam = m->last_beam,
        .first_depth = m->depth, .last_depth = fmin(m->depth + m->thin / SL_DEPTHS, 1), .label = "diaphragm"};
    for (int b = 0; b < m->breaths.count; b++) {
        const sl_breath *it = &m->breaths.breath[b];
        double middle = 0.5 * (m->first_beam + m->last_beam);
        evidence[(*count)++] = (sl_evidence){
            .first_frame = it->from_source, .last_frame = it->to_source, .first_time_s = m->times_known ? it->from_s : SL_UNKNOWN,
            .last_time_s = m->times_known ? it->to_s : SL_UNKNOWN, .first_beam = middle - 0.02, .last_beam = middle + 0.02,
            .first_depth = m->depth, .last_depth = fmin(m->depth + it->high / SL_DEPTHS, 1),
            .label = sl_known(m->row_mm) ? sl_arena_printf(arena, "%.2f to %.2f mm%s", it->low * m->row_mm, it->high * m->row_mm, it->whole ? "" : ", a part")
                                         : it->whole ? "breath" : "a part of a breath"};
    }
    return evidence;
}

static void put(sl_reading *reading, sl_code code, double value, double slack, const sl_muscle *m, const char *reason,
                const sl_evidence *evidence, int evidences)
{
    sl_finding *f = sl_reading_put(reading, code);
    f->known = true;
    f->value = value;
    f->low = code == SL_DIAPHRAGM_THICKENING ? value - slack : fmax(value - slack, 0);
    f->high = value + slack;
    f->confidence = m->index;
    f->reason = reason;
    f->evidence = evidence;
    f->evidences = evidences;
}

void sl_muscle_state(const sl_muscle *m, sl_arena *arena, sl_reading *reading)
{
    const char *why = !(m->frames > 0) ? (m->reason && m->reason[0] ? m->reason : "nothing could be measured")
                      : m->times_known && m->frame_s > DOME_FRAME_MOST_S
                          ? sl_arena_printf(arena, "%.1f frames a second are too few to follow the diaphragm", 1 / m->frame_s)
                      : !(m->index > MUSCLE_SURE) ? "no two lines with muscle between them that thickens with breathing"
                      : !(m->clear > MUSCLE_CLEAR)
                          ? "one of its two lines does not stand out from what lies about it, so that they are not resolved; measure it by hand"
                      : !m->whole                 ? "the clip holds no whole breath"
                                                  : "";
    if (why[0]) {
        for (size_t i = 0; i < sizeof codes / sizeof *codes; i++)
            sl_reading_put(reading, codes[i])->reason = why;
        return;
    }
    sl_muscle_amounts(m, arena, reading);
}

static const char *as_displayed(const sl_muscle *m, double mm, const char *after, sl_arena *arena)
{
    if (!sl_known(m->edges))
        return after[0] ? after + 2 : "";
    return sl_arena_printf(arena, "%.2f mm between the inner edges as displayed%s", fmax(mm - m->edges * m->row_mm, 0), after);
}

void sl_muscle_amounts(const sl_muscle *m, sl_arena *arena, sl_reading *reading)
{
    const char *why = !m->whole ? "the clip holds no whole breath" : !(m->thin > 0) ? "the lines meet at the end of expiration" : "";
    if (why[0]) {
        for (size_t i = 0; i < sizeof codes / sizeof *codes; i++)
            sl_reading_put(reading, codes[i])->reason = why;
        return;
    }
    int evidences;
    const sl_evidence *evidence = show(m, arena, &evidences);
    bool scaled = sl_known(m->row_mm);
    double unit = scaled ? m->row_mm : 1, error = scaled ? MUSCLE_SLACK_MM : MUSCLE_SLACK_ROWS; /* mm, or rows for the ratio */
    double thin = m->thin * unit, thick = m->thick * unit;
    double thin_slack = hypot(m->thin_spread * unit, error), thick_slack = hypot(m->thick_spread * unit, error);
    if (scaled) {
        put(reading, codes[0], thin, hypot(thin_slack, m->hand_thin * unit), m,
            as_displayed(m, thin, sl_arena_printf(arena, "; lower limit in adults by these %.1f mm", MUSCLE_LIMIT_MM), arena), evidence, evidences);
        put(reading, codes[1], thick, hypot(thick_slack, m->hand_thick * unit), m, as_displayed(m, thick, "", arena), evidence, evidences);
    } else
        sl_reading_put(reading, codes[0])->reason = sl_reading_put(reading, codes[1])->reason = "the picture's scale is not known";
    /* The errors of both thicknesses, carried on: d(b/a) = b/a sqrt((da/a)^2 + (db/b)^2). */
    double slack = hypot(100 * (thick / thin) * hypot(thin_slack / thin, thick_slack / thick), m->hand_share);
    put(reading, codes[2], sl_thickening(thin, thick), slack, m, sl_arena_printf(arena, "%d whole breaths; published limits %.0f %% (paralysis), %.0f %% (a usual breath), %.0f %% (greatest effort)",
                                                               m->whole, MUSCLE_PARALYSED, MUSCLE_USUAL, MUSCLE_EFFORT), evidence, evidences);
}
