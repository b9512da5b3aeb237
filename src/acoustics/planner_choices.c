/* What is chosen: probe, depth, frequency, focus; each with what would be lost otherwise, reckoned by the
 * same forms. */
#include "acoustics/beam.h"
#include "acoustics/planner_lines.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "core/units.h"

static const double speed = SL_SPEED_SCANNER_M_S;

/* The same request with another probe; false when that probe cannot be asked so. */
static bool with_probe(const sl_plan_request *request, sl_transducer_kind kind, sl_plan_setting *setting)
{
    sl_plan_request other = *request;
    other.probe = (int)kind;
    other.freq_mhz = other.depth_mm = other.focus_mm = other.frame_rate_hz = SL_UNKNOWN;
    return sl_plan_set(&other, setting, NULL) == SL_OK;
}

static const char *other_probes(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const char *text = "";
    for (int i = 0; i < SL_TRANSDUCERS; i++) {
        sl_plan_setting other;
        if (i == (int)plan->setting.probe->kind || !with_probe(&plan->request, (sl_transducer_kind)i, &other))
            continue;
        const char *lack = !other.fits ? sl_plan_text(w, "its picture ends at %.0f mm", other.depth_mm)
                           : !other.reaches
                               ? sl_plan_text(w, "its echo is lost at %.0f mm", other.penetration_mm)
                               : "it reaches";
        text = sl_plan_text(w, "%s%s%s at %.1f MHz: %.2f mm along, %.2f mm across at %s, %s", text,
                            *text ? "; " : "", other.probe->name, other.freq_mhz, other.axial_mm,
                            other.lateral_pleura_mm, sl_plan_surface(&plan->request), lack);
    }
    return *text ? sl_plan_text(w, "%s.", text) : "";
}

static void add_probe(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    const char *shape =
        s->probe->radius_mm > 0
            ? sl_plan_text(w, "radius %.0f mm, face %.0f mm", s->probe->radius_mm, s->probe->footprint_mm)
            : sl_plan_text(w, "flat face %.0f mm", s->probe->footprint_mm);
    sl_plan_add(w, (sl_plan_line){
                       .topic = "probe",
                       .value = SL_UNKNOWN,
                       .unit = "",
                       .choice = sl_plan_text(w, "%s, %g to %g MHz, %s", s->probe->name,
                                              s->probe->freq_low_mhz, s->probe->freq_high_mhz, shape),
                       .formula = sl_plan_text(
                           w, "of the probes named for this target, the first that shows and reaches %.0f mm",
                           s->need_mm),
                       .source = sl_target_rule_get(plan->request.target)->probe_source,
                       .otherwise = other_probes(w),
                       .chosen_by_user = plan->request.probe >= 0});
}

static double rate_at(const sl_plan *plan, double depth_mm)
{
    sl_frame_budget budget = sl_plan_frame_budget(&plan->request, &plan->setting);
    budget.depth_mm = depth_mm;
    return sl_frame_rate_most_hz(&budget, speed);
}

static void add_depth(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    const sl_target_rule *target = sl_target_rule_get(plan->request.target);
    sl_depth_rule rule = sl_rules_depth(plan->request.rules, s->probe, plan->request.target,
                                        (sl_plan_place)plan->request.place);
    const char *need =
        target->repeats > 1
            ? sl_plan_text(w, "needed: max(%d x wall, wall + extent) = max(%d x %.0f, %.0f + %.0f) = %.0f mm",
                           target->repeats, target->repeats, plan->request.wall_mm, plan->request.wall_mm,
                           plan->request.extent_mm, s->need_mm)
            : sl_plan_text(w, "needed: wall + extent = %.0f + %.0f = %.0f mm", plan->request.wall_mm,
                           plan->request.extent_mm, s->need_mm);
    const char *range = "";
    if (rule.low_mm > 0 && rule.high_mm >= 300)
        range = sl_plan_text(w, "; the rule set asks for %.0f mm or more", rule.low_mm);
    else if (rule.low_mm > 0)
        range = sl_plan_text(w, "; the rule set asks for %.0f to %.0f mm", rule.low_mm, rule.high_mm);
    double deeper = s->depth_mm + 40;
    sl_plan_add(
        w,
        (sl_plan_line){
            .topic = "depth",
            .value = s->depth_mm,
            .unit = "mm",
            .choice = sl_plan_text(w, "%.0f mm", s->depth_mm),
            .formula =
                sl_plan_text(w, "%s (%s); plus 5 %%, in steps of 5 mm%s", need, target->extent_reason, range),
            .source = rule.source,
            .otherwise = sl_plan_text(
                w,
                "At %.0f mm %.0f instead of %.0f frames/s, and %s at %.0f instead of %.0f %% of the "
                "picture's height. Under %.0f mm the target is cut off.",
                deeper, rate_at(plan, deeper), s->frame_rate_hz, sl_plan_surface(&plan->request),
                100 * plan->request.wall_mm / deeper, 100 * plan->request.wall_mm / s->depth_mm, s->need_mm),
            .chosen_by_user = sl_known(plan->request.depth_mm)});
    if (!s->fits)
        sl_plan_note(
            w,
            sl_plan_text(
                w,
                "The picture ends at %.0f mm but the target may reach to %.0f mm: part of it is not shown.",
                s->depth_mm, s->need_mm));
    if (rule.high_mm > 0 && s->depth_mm > rule.high_mm + 1e-6 && !sl_known(plan->request.depth_mm))
        sl_plan_note(
            w,
            sl_plan_text(w, "A wall of %.0f mm takes the picture beyond the %.0f mm that the rule set names.",
                         plan->request.wall_mm, rule.high_mm));
}

/* Penetration at another frequency: where the budget ends, by the same search as the plan's own. */
static double penetration_at(const sl_plan *plan, double freq_mhz)
{
    sl_plan_request other = plan->request;
    other.probe = (int)plan->setting.probe->kind;
    other.freq_mhz = freq_mhz;
    other.frame_rate_hz = SL_UNKNOWN;
    sl_plan_setting setting;
    return sl_plan_set_bare(&other, &setting, NULL) == SL_OK ? setting.penetration_mm : SL_UNKNOWN;
}

static void add_freq(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    double low = s->probe->freq_low_mhz, high = s->probe->freq_high_mhz;
    const char *lost = "";
    if (high > s->freq_mhz + 0.25)
        lost =
            sl_plan_text(w, "At %g MHz the echo is lost beyond %.0f mm. ", high, penetration_at(plan, high));
    if (low < s->freq_mhz - 0.25)
        lost = sl_plan_text(
            w, "%sAt %g MHz it would reach %.0f mm but resolve %.2f instead of %.2f mm along the beam.", lost,
            low, penetration_at(plan, low), sl_axial_resolution_mm(low, s->probe->cycles, speed),
            s->axial_mm);
    sl_plan_add(
        w,
        (sl_plan_line){
            .topic = "frequency",
            .value = s->freq_mhz,
            .unit = "MHz",
            .choice = sl_plan_text(w, "%.1f MHz", s->freq_mhz),
            .formula = sl_plan_text(
                w, "highest with 2 x loss(f, %.0f mm) <= budget + echo: %.1f <= %.0f - %.0f dB%s", s->need_mm,
                sl_plan_round_trip_db(&plan->request, s->freq_mhz, s->need_mm), plan->request.budget_db,
                fabs(sl_target_rule_get(plan->request.target)->echo_db),
                sl_target_rule_get(plan->request.target)->freq_least_mhz > low ? ", but not below 10 MHz"
                                                                               : ""),
            .source =
                "attenuation of skin, fat, muscle and what lies behind: IT'IS tissue database (media table)",
            .otherwise = lost,
            .chosen_by_user = sl_known(plan->request.freq_mhz)});
    if (!s->reaches)
        sl_plan_note(
            w, sl_plan_text(
                   w,
                   "At %.1f MHz the echo of this target is lost beyond %.0f mm; %.0f mm are needed. Less "
                   "wall under the probe (arm raised, firm pressure) or a lower frequency helps.",
                   s->freq_mhz, s->penetration_mm, s->need_mm));
    if (plan->request.target == SL_TARGET_B_LINES)
        sl_plan_note(
            w,
            "How many vertical artifacts are seen, and how bright, depends above all on the centre frequency "
            "(Mento & "
            "Demi 2020, 10.1121/10.0001797): keep frequency and probe the same when two days are compared.");
}

static void add_focus(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    double wall = plan->request.wall_mm, middle = s->depth_mm / 2;
    bool on_pleura = fabs(s->focus_mm - wall) < fabs(s->focus_mm - middle);
    double other = on_pleura ? middle : wall;
    const char *lost = "";
    if (fabs(other - s->focus_mm) > 2)
        lost = sl_plan_text(
            w,
            "With the focus %s at %.4g mm the beam would be %.2f instead of %.2f mm wide at %s and "
            "%.2f instead of %.2f mm at %.0f mm.",
            on_pleura ? "mid-screen" : sl_plan_text(w, "on %s", sl_plan_surface(&plan->request)), other,
            sl_plan_lateral_mm(s, other, wall), s->lateral_pleura_mm, sl_plan_surface(&plan->request),
            sl_plan_lateral_mm(s, other, s->need_mm), s->lateral_far_mm, s->need_mm);
    sl_focus_rule rule = sl_rules_focus(plan->request.rules, plan->request.target);
    const char *formula = rule == SL_FOCUS_PLEURA   ? "focus = pleural depth"
                          : rule == SL_FOCUS_MIDDLE ? "focus = depth / 2"
                                                    : "focus = middle of the target = wall + extent / 2";
    sl_plan_add(
        w,
        (sl_plan_line){
            .topic = "focus",
            .value = s->focus_mm,
            .unit = "mm",
            .choice = sl_plan_text(w, "one, at %.4g mm", s->focus_mm),
            .formula =
                sl_plan_text(w, "%s; focal zone 7 lambda F#^2 = %.0f mm long", formula, s->focal_zone_mm),
            .source = sl_rules_focus_sources[rule == SL_FOCUS_TARGET ? SL_RULES_LEAST : plan->request.rules],
            .otherwise = lost,
            .chosen_by_user = sl_known(plan->request.focus_mm)});
    double near_field = sl_near_field_mm(s->freq_mhz, s->aperture_mm, speed);
    if (s->focus_mm > near_field)
        sl_plan_note(w, sl_plan_text(w,
                                     "No beam of this aperture focuses beyond its near field of D^2 / (4 "
                                     "lambda) = %.0f mm: a focus "
                                     "set at %.4g mm acts like one nearer by.",
                                     near_field, s->focus_mm));
}

void sl_plan_add_choices(sl_plan_writer *w)
{
    add_probe(w);
    add_depth(w);
    add_freq(w);
    add_focus(w);
}
