/* Values of common practice (no source) held against the plan. */
#include "acoustics/beam.h"
#include "acoustics/loss.h"
#include "acoustics/planner_lines.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "core/units.h"

static const double speed = SL_SPEED_SCANNER_M_S;

static void check(sl_plan_writer *w, const char *practice, const char *plan, int agrees)
{
    if (w->plan->checks < SL_PLAN_MOST_CHECKS)
        w->plan->check[w->plan->checks++] = (sl_plan_check){practice, plan, agrees};
    else
        w->failed = true;
}

static void check_probe(sl_plan_writer *w)
{
    const sl_plan_setting *s = &w->plan->setting;
    static const char *const band[SL_TRANSDUCERS] = {[SL_TRANSDUCER_CONVEX] =
                                                         "convex: 2 to 5 MHz, large footprint",
                                                     [SL_TRANSDUCER_MICROCONVEX] = "microconvex: 4 to 8 MHz",
                                                     [SL_TRANSDUCER_LINEAR] = "linear: 6 to 13 MHz",
                                                     [SL_TRANSDUCER_PHASED] = "phased: 1 to 5 MHz"};
    check(w, band[s->probe->kind],
          sl_plan_text(w, "%.1f MHz, face %.0f mm", s->freq_mhz, s->probe->footprint_mm),
          s->freq_mhz >= s->probe->freq_low_mhz && s->freq_mhz <= s->probe->freq_high_mhz);
    bool linear = s->probe->kind == SL_TRANSDUCER_LINEAR;
    check(w, "linear probes down to about 5 cm",
          linear ? sl_plan_text(w, "to be seen: %.0f mm", s->need_mm) : "another probe",
          linear ? s->need_mm <= 55 : -1);
}

static void check_trade(sl_plan_writer *w)
{
    const sl_plan_setting *s = &w->plan->setting;
    sl_plan_request other = w->plan->request;
    other.probe = (int)s->probe->kind;
    other.frame_rate_hz = SL_UNKNOWN;
    sl_plan_setting low, high;
    other.freq_mhz = s->probe->freq_low_mhz;
    bool known = sl_plan_set_bare(&other, &low, NULL) == SL_OK;
    other.freq_mhz = s->probe->freq_high_mhz;
    known = known && sl_plan_set_bare(&other, &high, NULL) == SL_OK;
    if (known)
        check(w, "a lower frequency reaches deeper and resolves less",
              sl_plan_text(w, "%g MHz: %.0f mm deep, %.2f mm fine; %g MHz: %.0f mm, %.2f mm", low.freq_mhz,
                           low.penetration_mm, low.axial_mm, high.freq_mhz, high.penetration_mm,
                           high.axial_mm),
              low.penetration_mm >= high.penetration_mm && low.axial_mm > high.axial_mm);
    double at = s->focus_mm, near = sl_plan_lateral_mm(s, 0.6 * at, at),
           far = sl_plan_lateral_mm(s, 1.6 * at, at);
    double here = sl_plan_lateral_mm(s, at, at);
    check(w, "lateral resolution is best in the focal zone",
          sl_plan_text(
              w, "at %.4g mm: %.2f mm with the focus there, %.2f and %.2f mm with it at %.4g and %.4g mm", at,
              here, near, far, 0.6 * at, 1.6 * at),
          here <= near && here <= far);
}

static void check_place(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    const sl_target_rule *target = sl_target_rule_get(plan->request.target);
    double middle =
        target->artifact ? plan->request.wall_mm : plan->request.wall_mm + plan->request.extent_mm / 2;
    double share = middle / s->depth_mm;
    check(w, "the structure of interest mid-screen",
          sl_plan_text(w, "at %.0f %% of the picture's height", 100 * share), share >= 0.33 && share <= 0.67);
    check(w, "the focus mid-screen",
          sl_plan_text(w, "at %.0f %% of the picture's height", 100 * s->focus_mm / s->depth_mm),
          s->focus_mm >= 0.33 * s->depth_mm && s->focus_mm <= 0.67 * s->depth_mm);
    bool chest = s->probe->kind == SL_TRANSDUCER_CONVEX && plan->request.target != SL_TARGET_EXCURSION &&
                 plan->request.target != SL_TARGET_THICKNESS;
    bool deep = plan->request.place == SL_PLAN_PLACE_POSTEROLATERAL;
    check(w, deep ? "convex, posterolateral: 16 to 19 cm deep" : "convex, anterior: 11 to 13 cm deep",
          sl_plan_text(w, "%.0f mm", s->depth_mm),
          !chest ? -1
          : deep ? s->depth_mm >= 160 && s->depth_mm <= 190
                 : s->depth_mm >= 110 && s->depth_mm <= 130);
}

static void check_switches(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    bool artifact = sl_target_rule_get(plan->request.target)->artifact;
    bool on = plan->request.harmonics || plan->request.angles > 1;
    check(w, "compounding and harmonics off where artifacts are judged",
          !artifact ? "no artifact is judged"
          : on      ? "on, as you set it"
                    : "off",
          !artifact ? -1 : !on);
    double range = plan->request.dynamic_range_db;
    check(w, "a lower dynamic range gives more contrast",
          sl_plan_text(w, "%.1f levels a dB at %.0f dB, %.1f at %.0f dB", sl_grey_per_db(range), range,
                       sl_grey_per_db(range + 20), range + 20),
          sl_grey_per_db(range) > sl_grey_per_db(range + 20));
    sl_frame_budget budget = sl_plan_frame_budget(&plan->request, s);
    budget.depth_mm += 40;
    double rate = sl_frame_rate_most_hz(&budget, speed);
    check(w, "a deeper picture costs frame rate",
          sl_plan_text(w, "%.0f frames/s at %.0f mm, %.0f at %.0f mm", s->frame_rate_hz, s->depth_mm, rate,
                       budget.depth_mm),
          rate < s->frame_rate_hz);
}

void sl_plan_add_checks(sl_plan_writer *w)
{
    check_probe(w);
    check_trade(w);
    check_place(w);
    check_switches(w);
}
