/* From the numbers of sliding.h to findings: what is claimed, and when nothing is. Absence is claimed only where sliding
 * would have been seen: over a breath, with frames near enough to each other, the probe still and the picture kept. */
#include "reading/answer.h"
#include "reading/sliding.h"

#include "core/units.h"

#include <math.h>
#include <string.h>

void sl_sliding_merge(sl_sliding *into, const sl_sliding *more)
{
    if (!(more->frames > 0))
        return;
    if (!(into->frames > 0)) {
        *into = *more;
        return;
    }
    double a = into->frames, b = more->frames;
    sl_sliding kept = more->frames > into->frames ? *more : *into; /* windows and places of the longer segment */
    kept.index = sl_pooled(into->index, a, more->index, b);
    kept.index_any = fmax(into->index_any, more->index_any);
    kept.chest_moves = into->chest_moves || more->chest_moves;
    kept.left_of_wall = into->left_of_wall || more->left_of_wall;
    kept.chest_cycles = fmax(into->chest_cycles, more->chest_cycles);
    kept.amplitude = sl_pooled(into->amplitude, a, more->amplitude, b);
    kept.pulse = sl_pooled(into->pulse, a, more->pulse, b);
    kept.pulse_coherence = sl_pooled(into->pulse_coherence, a, more->pulse_coherence, b);
    kept.match = sl_pooled(into->match, a, more->match, b);
    kept.lost = sl_pooled(into->lost, a, more->lost, b);
    kept.edge = sl_pooled(into->edge, a, more->edge, b);
    kept.sway = fmax(into->sway, more->sway);
    kept.speed = fmax(into->speed, more->speed);
    kept.breath = more->breath.explained > into->breath.explained ? more->breath : into->breath;
    kept.heart = more->heart.explained > into->heart.explained ? more->heart : into->heart;
    const sl_sliding *sure = more->reference != SL_BREATH_UNSEEN && (into->reference == SL_BREATH_UNSEEN || more->phase.error < into->phase.error)
                                 ? more : into;
    kept.reference = sure->reference;
    kept.phase = sure->phase;
    kept.seconds = fmax(into->seconds, more->seconds);
    kept.times_known = into->times_known && more->times_known;
    kept.first_source = into->first_source;
    kept.first_time_s = into->first_time_s;
    kept.last_source = more->last_source;
    kept.last_time_s = more->last_time_s;
    kept.frames = a + b;
    *into = kept;
}

static double beams_in_mm(const sl_sliding *s, double beams)
{
    return beams * (sl_known(s->beam_mm) ? s->beam_mm : SLIDE_BEAM_MM);
}

static const sl_evidence *show_spaces(const sl_sliding *s, sl_arena *arena, int *count)
{
    sl_evidence *evidence = SL_NEW(arena, s->spaces + 1, sl_evidence);
    *count = 0;
    for (int i = 0; evidence && i < s->spaces; i++) {
        const sl_sliding_part *part = &s->space[i];
        const char *how = part->index > SLIDE_PRESENT ? "slides" : part->index < SLIDE_ABSENT ? "still" : "sliding uncertain";
        const char *label = sl_known(s->beam_mm) && part->index >= SLIDE_ABSENT
                                ? sl_arena_printf(arena, "%s, %.1f mm", how, part->amplitude * s->beam_mm) : how;
        evidence[(*count)++] = (sl_evidence){
            .first_frame = s->first_source, .last_frame = s->last_source, .first_time_s = s->first_time_s,
            .last_time_s = s->last_time_s, .first_beam = part->first_beam, .last_beam = part->last_beam,
            .first_depth = fmax(s->depth - 0.03, 0), .last_depth = fmin(s->depth + 0.03, 1), .label = label};
    }
    return evidence;
}

/* Why the picture cannot be followed, "" when it can. */
static const char *lost_track(const sl_sliding *s, sl_arena *arena)
{
    if (s->lost > SLIDE_LOST_MOST)
        return sl_arena_printf(arena, "the picture could not be followed in %.0f %% of the frames: keep contact and hold the "
                                      "probe still", 100 * s->lost);
    if (s->edge > SLIDE_EDGE_MOST)
        return "the lung moves further between frames than can be followed: record more frames a second";
    if (s->match < SLIDE_MATCH_LEAST)
        return "neighbouring frames differ too much to be followed: record more frames a second, or less noise";
    return "";
}

bool sl_sliding_whole_breath(const sl_sliding *s, double cycles)
{
    return s->seconds >= SLIDE_ABSENT_S || (s->seconds >= SLIDE_ABSENT_LEAST_S && cycles >= SLIDE_ABSENT_CYCLES);
}

/* Why absence cannot be claimed though nothing slides, "" when it can. */
static const char *not_absent(const sl_sliding *s, double granular, sl_arena *arena)
{
    const char *lost = lost_track(s, arena);
    if (lost[0])
        return lost;
    if (!s->times_known || !sl_known(s->seconds))
        return "no sliding seen, but without frame times it is not known whether the clip holds a breath";
    if (!sl_sliding_whole_breath(s, s->chest_moves ? s->chest_cycles : 0))
        return sl_arena_printf(arena, "no sliding seen, but %.1f s may be shorter than a breath: record %.0f s or more",
                               s->seconds, SLIDE_ADVISED_S);
    if (!s->chest_moves)
        return sl_arena_printf(arena, "no sliding seen, but no sign of breathing either in %.1f s: let the patient breathe, and record "
                                      "two whole breaths", s->seconds);
    if (s->index_any > SLIDE_ABSENT_ANY)
        return "most of the line stands still, a part of it may slide";
    if (s->frame_s > SLIDE_FRAME_MOST_S)
        return sl_arena_printf(arena, "no sliding seen, but at %.1f frames a second it can be missed", 1 / s->frame_s);
    if (beams_in_mm(s, s->sway) > SLIDE_SWAY_MOST_MM)
        return "no sliding seen, but the probe moved: hold it still";
    if (sl_known(granular) && granular > SLIDE_GRANULAR_MOST)
        return "no sliding seen, but below the line the motion trace is as granular as where lung slides";
    return "";
}

const char *sl_sliding_with_hand(const sl_sliding *s)
{
    return s->left_of_wall ? "what moves at the line goes with the hand that holds the probe: hold it still" : "";
}

/* Chance makes still speckle look moved, never moved speckle still: so presence needs frames nearer to each other than absence. */
static const char *not_present(const sl_sliding *s, sl_arena *arena)
{
    const char *hand = sl_sliding_with_hand(s);
    if (hand[0])
        return hand;
    return s->times_known && s->frame_s > SLIDE_SURE_FRAME_S
               ? sl_arena_printf(arena, "%.1f frames a second are too few to tell sliding from noise", 1 / s->frame_s) : "";
}

static void state_amount(sl_finding *finding, double value, double slack, const char *reason, const sl_finding *like)
{
    finding->reason = reason;
    finding->evidence = like->evidence;
    finding->evidences = like->evidences;
    if (reason[0] || !sl_known(value))
        return;
    finding->known = true;
    finding->value = value;
    finding->low = fmax(value - slack, 0);
    finding->high = value + slack;
}

static void state_amounts(const sl_sliding *s, const sl_finding *sliding, sl_arena *arena, sl_reading *reading)
{
    const char *lost = lost_track(s, arena);
    const char *no_scale = sl_known(s->beam_mm) ? lost : lost[0] ? lost : "the picture's scale is not known";
    double slack = hypot(1.96 * s->spread, SLIDE_BIAS * s->amplitude) + 0.5;
    if (s->first_source != s->last_source && s->times_known && !lost[0] &&
        !sl_sliding_whole_breath(s, s->breath.explained > BREATH_EXPLAINED ? s->breath.cycles : 0))
        lost = no_scale = "the clip may be shorter than a breath";
    bool lung_breathes = s->index > SLIDE_ABSENT && s->breath.explained > BREATH_SURE; /* what stands still has no rhythm but by chance */
    if (!lost[0] && s->index < SLIDE_PRESENT && !s->chest_moves && !lung_breathes)
        lost = no_scale = "no sign of breathing: how far the lung goes in a breath is not known";
    if (s->times_known && s->frame_s > SLIDE_SURE_FRAME_S && !lost[0])
        lost = no_scale = sl_arena_printf(arena, "%.1f frames a second are too few for an amplitude", 1 / s->frame_s);
    state_amount(sl_reading_put(reading, SL_SLIDING_AMPLITUDE), s->amplitude / SL_BEAMS, slack / SL_BEAMS, lost, sliding);
    state_amount(sl_reading_put(reading, SL_SLIDING_AMPLITUDE_MM), s->amplitude * s->beam_mm, slack * s->beam_mm, no_scale,
                 sliding);
    const char *no_speed = no_scale[0] ? no_scale : s->times_known ? "" : "frame times are not known";
    state_amount(sl_reading_put(reading, SL_SLIDING_SPEED), s->speed * s->beam_mm, 0.25 * s->speed * s->beam_mm, no_speed,
                 sliding);
}

static void state_breath(const sl_sliding *s, const sl_finding *sliding, sl_reading *reading)
{
    sl_finding *rate = sl_reading_put(reading, SL_BREATHING_RATE);
    const sl_rhythm *b = &s->breath;
    rate->reason = !s->times_known                         ? "frame times are not known"
                   : s->frame_s > BREATH_FRAME_MOST_S      ? "too few frames a second for a rate"
                   : !(s->index > SLIDE_ABSENT)            ? "no movement of the lung with breathing was seen"
                   : !(b->explained > BREATH_SURE)         ? "the movement is not regular enough for a rate"
                   : !(b->cycles >= BREATH_CYCLES_LEAST)   ? "the clip is too short for a rate: one and a half breaths or more"
                                                           : "";
    if (rate->reason[0])
        return;
    rate->known = true;
    rate->value = 60 * b->hz;
    rate->low = fmax(60 * b->hz_low - BREATH_SLACK, 0);
    rate->high = 60 * b->hz_high + BREATH_SLACK;
    rate->confidence = b->explained;
    rate->evidence = sliding->evidence;
    rate->evidences = sliding->evidences;
}

static void state_phase(const sl_sliding *s, const sl_finding *sliding, sl_arena *arena, sl_reading *reading)
{
    sl_finding *phase = sl_reading_put(reading, SL_SLIDING_PHASE);
    const char *lost = lost_track(s, arena);
    phase->reason = lost[0]                               ? lost
                    : !s->times_known                     ? "frame times are not known"
                    : sliding->answer != SL_PRESENT       ? "no sliding whose phase could be told"
                    : !(s->breath.explained > BREATH_SURE) ? "the sliding has no regular breathing rhythm"
                    : !(s->breath.cycles >= BREATH_CYCLES_LEAST) ? "too few breaths for a phase: record two or more"
                    : s->reference == SL_BREATH_UNSEEN
                        ? "neither the pleura's depth nor the wall moves in the sliding's rhythm: nothing to hold its phase against" : "";
    if (phase->reason[0])
        return;
    double half = hypot(1.96 * PHASE_ERRORS * s->phase.error, PHASE_SLACK);
    phase->known = true;
    phase->value = s->phase.degrees;
    phase->low = phase->value - half;
    phase->high = phase->value + half;
    phase->confidence = fmin(s->phase.explained, s->phase.other_explained);
    phase->reason = s->reference == SL_BREATH_BY_RISE ? "against the pleura's movement in depth" : "against the wall's glide";
    phase->evidence = sliding->evidence;
    phase->evidences = sliding->evidences;
}

static double logistic(double z)
{
    return 1 / (1 + exp(-z));
}

static void state_pulse(const sl_sliding *s, sl_arena *arena, const sl_finding *sliding, sl_reading *reading)
{
    sl_finding *pulse = sl_reading_put(reading, SL_LUNG_PULSE);
    double together = sqrt(fmax(s->heart.explained, 0) * fmax(s->pulse_coherence, 0)), swing = beams_in_mm(s, s->pulse);
    double index = (1 - s->index) * logistic(PULSE_TOGETHER_STEEP * (together - PULSE_TOGETHER)) *
                   logistic(PULSE_SWING_STEEP * log((swing + 1e-3) / PULSE_SWING_MM));
    const sl_answer_rule rule = {.absent_below = PULSE_ABSENT, .present_above = PULSE_PRESENT};
    /* Frames that differ by noise can hide a pulse, but a rhythm that the windows share is one all the same. */
    bool followed = s->lost <= SLIDE_LOST_MOST && s->edge <= SLIDE_EDGE_MOST && index > PULSE_PRESENT;
    const char *doubt = followed ? "" : lost_track(s, arena);
    if (!doubt[0] && !s->times_known)
        doubt = "frame times are not known";
    if (!doubt[0] && s->frame_s > PULSE_FRAME_MOST_S)
        doubt = sl_arena_printf(arena, "%.1f frames a second are too few to see the heart's rhythm", 1 / s->frame_s);
    if (!doubt[0] && !(s->seconds * HEART_HZ_LEAST >= PULSE_CYCLES_LEAST))
        doubt = sl_arena_printf(arena, "%.1f s are too short for the heart's rhythm", s->seconds);
    sl_rule_answer(&rule, index, doubt, pulse);
    if (pulse->answer == SL_ABSENT && s->index > SLIDE_PRESENT)
        pulse->reason = "the lung slides; a pulse is told only without sliding";
    if (pulse->answer == SL_PRESENT)
        pulse->reason = sl_arena_printf(arena, "at %.0f a minute%s", 60 * s->heart.hz,
                                        sl_known(s->beam_mm) ? sl_arena_printf(arena, ", %.1f mm", swing) : "");
    pulse->evidence = sliding->evidence;
    pulse->evidences = sliding->evidences;
}

static void state_nothing(sl_reading *reading, const char *reason)
{
    const sl_code code[] = {SL_SLIDING, SL_SLIDING_AMPLITUDE, SL_SLIDING_AMPLITUDE_MM, SL_SLIDING_SPEED, SL_BREATHING_RATE,
                            SL_SLIDING_PHASE, SL_LUNG_PULSE};
    for (size_t i = 0; i < sizeof code / sizeof *code; i++)
        sl_reading_put(reading, code[i])->reason = reason;
}

void sl_sliding_state(const sl_sliding *s, double granular, const char *doubt, sl_arena *arena, sl_reading *reading)
{
    if (doubt[0] || !(s->frames > 0) || !sl_known(s->index)) {
        state_nothing(reading, doubt[0] ? doubt : s->reason && s->reason[0] ? s->reason : "no movement could be followed");
        return;
    }
    const sl_answer_rule rule = {.absent_below = SLIDE_ABSENT, .present_above = SLIDE_PRESENT};
    sl_finding *sliding = sl_reading_put(reading, SL_SLIDING);
    const char *why = s->lost > SLIDE_LOST_MOST ? lost_track(s, arena) : s->index < SLIDE_ABSENT ? not_absent(s, granular, arena) : not_present(s, arena);
    sl_rule_answer(&rule, s->index, why, sliding);
    if (sliding->answer == SL_PRESENT && sl_known(s->beam_mm) && s->amplitude * s->beam_mm < SLIDE_REDUCED_MM)
        sliding->reason = sl_arena_printf(arena, "reduced: %.1f mm", s->amplitude * s->beam_mm);
    sliding->evidence = show_spaces(s, arena, &sliding->evidences);
    state_amounts(s, sliding, arena, reading);
    state_breath(s, sliding, reading);
    state_phase(s, sliding, arena, reading);
    state_pulse(s, arena, sliding, reading);
}
