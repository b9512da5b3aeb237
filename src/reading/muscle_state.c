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
            .label = sl_arena_printf(arena, "%.2f to %.2f mm%s", it->low * m->row_mm, it->high * m->row_mm, it->whole ? "" : ", a part")};
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
    int evidences;
    const sl_evidence *evidence = show(m, arena, &evidences);
    double thin = m->thin * m->row_mm, thick = m->thick * m->row_mm, lost = m->edges * m->row_mm;
    double thin_slack = hypot(m->thin_spread * m->row_mm, MUSCLE_SLACK_MM), thick_slack = hypot(m->thick_spread * m->row_mm, MUSCLE_SLACK_MM);
    put(reading, codes[0], thin, thin_slack, m, sl_arena_printf(arena, "%.2f mm between the inner edges as displayed; lower limit in adults by these %.1f mm", fmax(thin - lost, 0),
                        MUSCLE_LIMIT_MM),
        evidence, evidences);
    put(reading, codes[1], thick, thick_slack, m, sl_arena_printf(arena, "%.2f mm between the inner edges as displayed", fmax(thick - lost, 0)),
        evidence, evidences);
    /* The errors of both thicknesses, carried on: d(b/a) = b/a sqrt((da/a)^2 + (db/b)^2). */
    double share = thick / thin, slack = 100 * share * hypot(thin_slack / thin, thick_slack / thick);
    put(reading, codes[2], 100 * (share - 1), slack, m, sl_arena_printf(arena, "%d whole breaths; published limits %.0f %% (paralysis), %.0f %% (a usual breath), %.0f %% (greatest effort)",
                                                               m->whole, MUSCLE_PARALYSED, MUSCLE_USUAL, MUSCLE_EFFORT), evidence, evidences);
}
