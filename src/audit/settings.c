/* What the file and the picture's geometry say of the settings: depth, probe, frequency, focus, length, frame rate. */
#include "audit/audit.h"

#include "acoustics/beam.h"
#include "acoustics/echo.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "core/text.h"
#include "core/units.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

static double found_mm(const sl_clip_result *result, sl_code code)
{
    const sl_finding *finding = result->reading ? sl_reading_get(result->reading, code) : NULL;
    return finding && finding->known ? finding->value : SL_UNKNOWN;
}

/* Imaged depth: as the file states it, else by the picture's scale; a far edge in the dark gives the least it can be. */
static double imaged_mm(const sl_clip_result *result)
{
    double mm = sl_view_depth_mm(&result->view);
    if (result->info.acquisition.depth_mm > 0)
        return result->info.acquisition.depth_mm;
    return result->view.scale_source != SL_SCALE_NONE && !result->view.far_dark ? mm : SL_UNKNOWN;
}

/* The kind of probe that makes such a picture. A curved face of less than 30 mm radius is a small one (sizes of the
 * probe table: 14 and 60 mm). */
static const sl_transducer *probe_of(const sl_clip_result *result)
{
    const sl_view *view = &result->view;
    switch (view->shape) {
    case SL_SHAPE_LINEAR:
        return sl_transducer_get(SL_TRANSDUCER_LINEAR);
    case SL_SHAPE_SECTOR:
        return sl_transducer_get(SL_TRANSDUCER_PHASED);
    case SL_SHAPE_CONVEX:
    case SL_SHAPE_UNKNOWN:
        break;
    }
    bool small = view->face_visible && sl_known(view->mm_per_px) && view->near_r * view->mm_per_px < 30;
    return sl_transducer_get(small ? SL_TRANSDUCER_MICROCONVEX : SL_TRANSDUCER_CONVEX);
}

static sl_target target_of(const sl_audit_purpose *purpose)
{
    return purpose->deep ? SL_TARGET_EFFUSION : SL_TARGET_B_LINES;
}

static void judge_depth(sl_audit_desk *desk, const sl_transducer *probe, double mm)
{
    const sl_clip_result *result = desk->result;
    const sl_audit_purpose *purpose = &desk->purpose;
    double share = found_mm(result, SL_PLEURA_DEPTH);
    if (!sl_known(mm)) { /* no scale: the pleura's place in the picture alone */
        sl_complaint *c = NULL;
        if (share > AUDIT_PLEURA_DEEPEST)
            c = sl_complain(desk, SL_RULE_DEPTH_SHALLOW, "the pleura lies at %.0f %% of the picture's depth (no scale)", 100 * share);
        else if (share < AUDIT_PLEURA_NEAREST && result->view.face_visible)
            c = sl_complain(desk, SL_RULE_DEPTH_DEEP, "the pleura lies at %.0f %% of the picture's depth (no scale)", 100 * share);
        if (c) {
            c->source = "pleura between 5 and 50 % of the depth: our assumption";
            c->grade = SL_GRADE_NOTE;
        }
        return;
    }
    if (!purpose->placed)
        return;
    sl_depth_rule rule = sl_rules_depth(purpose->rules, probe, target_of(purpose), purpose->place);
    if (!(rule.low_mm > 0)) { /* this rule set prints no value: the target decides */
        sl_plan_request request = sl_plan_default(target_of(purpose));
        request.place = (int)purpose->place;
        if (sl_plan_complete(&request, NULL) != SL_OK)
            return;
        double wall = found_mm(result, SL_PLEURA_DEPTH_MM);
        request.wall_mm = wall > 3 && wall < 120 ? wall : request.wall_mm;
        rule = (sl_depth_rule){sl_plan_need_mm(&request), 0, "the least depth that holds the target (acoustics/planner)"};
    }
    sl_complaint *c = NULL;
    if (mm < rule.low_mm * (1 - AUDIT_DEPTH_SLACK))
        c = sl_complain(desk, SL_RULE_DEPTH_SHALLOW, "the picture is %.0f mm deep; asked for here are %.0f mm or more", mm, rule.low_mm);
    else if (rule.high_mm > 0 && mm > rule.high_mm * (1 + AUDIT_DEPTH_SLACK))
        c = sl_complain(desk, SL_RULE_DEPTH_DEEP, "the picture is %.0f mm deep; asked for here are %.0f to %.0f mm", mm, rule.low_mm,
                        rule.high_mm);
    if (!sl_complaint_measured(c, mm, rule.low_mm, rule.high_mm > 0 ? rule.high_mm : SL_UNKNOWN, "mm"))
        return;
    c->source = rule.source;
    /* The pleura and four centimetres behind it are there: lung can be judged, the base cannot. */
    double pleura = found_mm(result, SL_PLEURA_DEPTH_MM);
    if (c->rule->id == SL_RULE_DEPTH_SHALLOW && !purpose->deep && pleura + SL_PLAN_Z_LINE_MM < mm)
        c->grade = SL_GRADE_WEAK;
}

/* False when the probe itself is the complaint: its depth and frequency then are no further ones. */
static bool judge_probe(sl_audit_desk *desk, const sl_transducer *probe, double mm)
{
    if (probe->kind != SL_TRANSDUCER_LINEAR)
        return true;
    bool deep_place = desk->purpose.placed && desk->purpose.deep;
    if (!deep_place && !(mm > AUDIT_LINEAR_REACH_MM))
        return true;
    sl_complaint *c = sl_known(mm) && deep_place ? sl_complain(desk, SL_RULE_PROBE_TARGET, "a linear probe at %.0f mm depth at a deep point", mm)
                      : sl_known(mm)
                          ? sl_complain(desk, SL_RULE_PROBE_TARGET, "a linear probe at %.0f mm depth", mm)
                          : sl_complain(desk, SL_RULE_PROBE_TARGET, "a linear probe at a deep point");
    if (sl_known(mm))
        sl_complaint_measured(c, mm, SL_UNKNOWN, AUDIT_LINEAR_REACH_MM, "mm");
    return false;
}

static void judge_frequency(sl_audit_desk *desk, const sl_transducer *probe, double mm)
{
    double mhz = desk->result->info.acquisition.freq_mhz;
    if (!(mhz > 0))
        return;
    sl_plan_request request = sl_plan_default(target_of(&desk->purpose));
    request.place = desk->purpose.placed ? (int)desk->purpose.place : -1;
    double wall = found_mm(desk->result, SL_PLEURA_DEPTH_MM);
    if (wall > 3 && wall < 120)
        request.wall_mm = wall;
    if (sl_plan_complete(&request, NULL) != SL_OK)
        return;
    double need = sl_plan_need_mm(&request), loss = sl_plan_round_trip_db(&request, mhz, need), budget = sl_plan_budget_db(&request);
    sl_complaint *c = NULL;
    if (loss > budget)
        c = sl_complain(desk, SL_RULE_FREQUENCY_HIGH, "at %.3g MHz the way to %.0f mm and back costs %.0f dB of the %.0f dB there are", mhz,
                        need, loss, budget);
    else if (mhz > 1.2 * probe->freq_high_mhz && mm > AUDIT_LINEAR_REACH_MM) {
        c = sl_complain(desk, SL_RULE_FREQUENCY_HIGH, "%.3g MHz with a %s probe at %.0f mm; such probes are used at %.3g to %.3g MHz", mhz,
                        probe->name, mm, probe->freq_low_mhz, probe->freq_high_mhz);
        if (c)
            c->source = "bands of probes: common practice, no source";
    } else if (mhz < 0.8 * probe->freq_low_mhz)
        c = sl_complain(desk, SL_RULE_FREQUENCY_LOW, "%.3g MHz with a %s probe; such probes are used at %.3g to %.3g MHz", mhz, probe->name,
                        probe->freq_low_mhz, probe->freq_high_mhz);
    sl_complaint_measured(c, mhz, SL_UNKNOWN, SL_UNKNOWN, "MHz");
}

static void judge_focus(sl_audit_desk *desk, double mm)
{
    double focus = desk->result->info.acquisition.focus_mm, pleura = found_mm(desk->result, SL_PLEURA_DEPTH_MM);
    if (!(focus > 0) || !(mm > 0))
        return;
    /* Practice wants mid-screen, the consensus the pleura; what lies between the two serves both. */
    sl_focus_rule rule = sl_rules_focus(desk->purpose.rules, target_of(&desk->purpose));
    double low = AUDIT_FOCUS_SHALLOW * fmin(sl_known(pleura) ? pleura : 20, AUDIT_FOCUS_WALL_MM), high = AUDIT_FOCUS_DEEP * mm;
    if (rule == SL_FOCUS_PLEURA && sl_known(pleura))
        high = fmin(high, 2 * pleura);
    if (focus >= low && focus <= high)
        return;
    sl_complaint *c = sl_complain(desk, SL_RULE_FOCUS_OFF, "the focus lies at %.0f mm; asked for are %.0f to %.0f mm", focus, low, high);
    if (!sl_complaint_measured(c, focus, low, high, "mm"))
        return;
    c->source = sl_rules_focus_sources[desk->purpose.rules];
    c->where.first_depth = c->where.last_depth = focus < mm ? focus / mm : 1;
}

static void judge_time(sl_audit_desk *desk, const sl_transducer *probe)
{
    const sl_clip_result *result = desk->result;
    if (result->info.is_still || result->frames < 2) {
        sl_complain(desk, SL_RULE_STILL, "the file holds one picture");
        return;
    }
    double shown = result->duration_s + (sl_known(result->info.frame_rate_hz) ? 1 / result->info.frame_rate_hz : 0);
    if (shown < AUDIT_LENGTH_S - AUDIT_LENGTH_SLACK_S) {
        sl_complaint *c = sl_complain(desk, SL_RULE_LENGTH, "%.1f s; asked for are %.0f s", shown, AUDIT_LENGTH_S);
        if (sl_complaint_measured(c, shown, AUDIT_LENGTH_S, SL_UNKNOWN, "s"))
            c->grade = shown < AUDIT_LENGTH_SHORT_S ? SL_GRADE_WEAK : SL_GRADE_NOTE;
    }
    /* A step of at most half the beam's width keeps movement continuous. */
    double rate = result->info.frame_rate_hz, wall = found_mm(result, SL_PLEURA_DEPTH_MM), mhz = result->info.acquisition.freq_mhz;
    wall = wall > 3 ? wall : 20;
    mhz = mhz > 0 ? mhz : 0.5 * (probe->freq_low_mhz + probe->freq_high_mhz);
    double aperture = sl_transducer_aperture_most_mm(probe, mhz, wall, SL_SPEED_SCANNER_M_S);
    double width = sl_beam_width_mm(mhz, aperture, wall, wall, SL_SPEED_SCANNER_M_S);
    double need = 2 * sl_target_rule_get(SL_TARGET_PLEURA)->speed_mm_s / fmax(width, 2);
    if (!result->info.times_known || !(rate < need))
        return;
    sl_complaint *c = sl_complain(desk, SL_RULE_FRAME_RATE, "%.3g pictures a second; sliding at %.0f mm/s across a beam of %.1f mm wants %.0f",
                                  rate, sl_target_rule_get(SL_TARGET_PLEURA)->speed_mm_s, fmax(width, 2), ceil(need));
    sl_complaint_measured(c, rate, need, SL_UNKNOWN, "Hz");
}

static bool says(const char *text, const char *word)
{
    for (; *text; text++) {
        size_t i = 0;
        while (word[i] && tolower((unsigned char)text[i]) == word[i])
            i++;
        if (!word[i])
            return true;
    }
    return false;
}

static void judge_stated(sl_audit_desk *desk)
{
    const sl_acquisition *how = &desk->result->info.acquisition;
    static const struct {
        const char *word;
        sl_rule_id rule;
    } words[] = {{"harmonic", SL_RULE_HARMONICS}, {"compound", SL_RULE_COMPOUNDING}, {"persist", SL_RULE_PERSISTENCE}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (says(how->processing, words[i].word)) {
            sl_complaint *c = sl_complain(desk, words[i].rule, "the file states it: \"%s\"", how->processing);
            if (c)
                c->suspected = false;
        }
    if (how->mechanical_index > AUDIT_MI_START) {
        sl_complaint *c = sl_complain(desk, SL_RULE_OUTPUT, "mechanical index %.2g", how->mechanical_index);
        sl_complaint_measured(c, how->mechanical_index, SL_UNKNOWN, AUDIT_MI_START, "");
    }
    if (desk->result->view.mirrored)
        sl_complain(desk, SL_RULE_ORIENTATION, "the orientation mark is on the picture's right");
}

void sl_audit_settings(sl_audit_desk *desk)
{
    const sl_transducer *probe = probe_of(desk->result);
    double mm = imaged_mm(desk->result);
    if (judge_probe(desk, probe, mm)) {
        judge_depth(desk, probe, mm);
        judge_frequency(desk, probe, mm);
    }
    judge_focus(desk, mm);
    judge_time(desk, probe);
    judge_stated(desk);
}
