/* What follows from the choices: resolution, penetration, frame rate, where repeats fall, what ribs hide. */
#include "acoustics/beam.h"
#include "acoustics/interface.h"
#include "acoustics/planner_lines.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "acoustics/reverb.h"
#include "core/units.h"

static const double speed = SL_SPEED_SCANNER_M_S;

static void add_resolution(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    double lambda = sl_wavelength_mm(s->freq_mhz, speed);
    sl_plan_add(
        w, (sl_plan_line){.topic = "along the beam",
                          .value = s->axial_mm,
                          .unit = "mm",
                          .choice = sl_plan_text(w, "%.2f mm (axial resolution)", s->axial_mm),
                          .formula = sl_plan_text(w, "half the pulse: cycles x c / (2 f) = %g x %.3f / 2 mm",
                                                  s->probe->cycles, lambda),
                          .source = "pulse-echo principle; cycles: common practice, no source",
                          .otherwise = ""});
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "across the beam",
               .value = s->lateral_pleura_mm,
               .unit = "mm",
               .choice = sl_plan_text(w, "%.2f mm at %s, %.2f mm at %.0f mm (lateral resolution)",
                                      s->lateral_pleura_mm, sl_plan_surface(&plan->request),
                                      s->lateral_far_mm, s->need_mm),
               .formula = sl_plan_text(w,
                                       "width at -6 dB, there and back; in the focus 0.886 lambda F# = 0.886 "
                                       "x %.3f x %.1f = %.2f mm",
                                       lambda, s->f_number, s->lateral_focus_mm),
               .source = "diffraction integral of a line aperture; F# = focus / aperture",
               .otherwise = sl_plan_text(
                   w,
                   "Other definitions print other numbers for the same beam: first zero 1.22 lambda F# = "
                   "%.2f mm.",
                   sl_lateral_resolution_mm(SL_WIDTH_RAYLEIGH_DISC, s->freq_mhz, s->f_number, speed))});
    const char *limit = s->aperture_mm >= 0.999 * s->focus_mm / s->probe->f_number_least
                            ? "the smallest F# in use"
                        : s->aperture_mm >= 0.95 * s->probe->footprint_mm ? "the whole face"
                                                                          : "what the elements can see";
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "aperture",
               .value = s->aperture_mm,
               .unit = "mm",
               .choice = sl_plan_text(w, "%.0f mm, F# %.1f", s->aperture_mm, s->f_number),
               .formula = sl_plan_text(w, "set by %s; F# = %.4g / %.3g", limit, s->focus_mm, s->aperture_mm),
               .source = "geometry of the face; element directivity; limits: common practice, no source",
               .otherwise = ""});
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "slice",
               .value = s->slice_pleura_mm,
               .unit = "mm",
               .choice = sl_plan_text(w, "%.1f mm thick at %s", s->slice_pleura_mm,
                                      sl_plan_surface(&plan->request)),
               .formula = sl_plan_text(w, "lens of %.0f mm focused at %.0f mm, there and back at -6 dB",
                                       s->probe->elevation_mm, s->probe->elevation_focus_mm),
               .source = "diffraction integral; lens: common practice, no source",
               .otherwise =
                   "Set by the probe: no control changes it. Small structures blur over this thickness."});
}

static void add_penetration(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    const sl_target_rule *target = sl_target_rule_get(plan->request.target);
    double wall_db = sl_plan_round_trip_db(&plan->request, s->freq_mhz, plan->request.wall_mm);
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "penetration",
               .value = s->penetration_mm,
               .unit = "mm",
               .choice = s->penetration_mm >= 400 ? "400 mm or more"
                                                  : sl_plan_text(w, "%.0f mm", s->penetration_mm),
               .formula = sl_plan_text(w, "where 2 x loss = %.0f dB - %.0f dB; the wall alone costs %.1f dB",
                                       plan->request.budget_db, fabs(target->echo_db), wall_db),
               .source = sl_plan_text(w, "%s; %s", SL_PLAN_BUDGET_SOURCE, target->echo_reason),
               .otherwise = sl_plan_text(w, "Each further cm of wall costs %.1f dB.",
                                         wall_db / plan->request.wall_mm * 10)});
}

static double rate(const sl_frame_budget *budget)
{
    return sl_frame_rate_most_hz(budget, speed);
}

static void add_frame_rate(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    const sl_target_rule *target = sl_target_rule_get(plan->request.target);
    sl_frame_budget budget = sl_plan_frame_budget(&plan->request, s), foci = budget, angles = budget;
    foci.focal_zones = (budget.focal_zones > 1 ? budget.focal_zones : 1) + 1;
    angles.angles = (int)s->probe->angles;
    double shown = sl_known(plan->request.frame_rate_hz) ? plan->request.frame_rate_hz : s->frame_rate_hz;
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "frame rate",
               .value = shown,
               .unit = "frames/s",
               .choice =
                   sl_known(plan->request.frame_rate_hz)
                       ? sl_plan_text(w, "%.0f frames/s (up to %.0f are possible)", shown, s->frame_rate_hz)
                       : sl_plan_text(w, "up to %.0f frames/s", s->frame_rate_hz),
               .formula = sl_plan_text(w,
                                       "c P / (2 D N F A) = 1540 x %d / (2 x %.3f x %d x %d x %d%s); needed: "
                                       "speed / width = %.1f / %.2f "
                                       "= %.0f frames/s",
                                       budget.parallel > 1 ? budget.parallel : 1, s->depth_mm * 1e-3,
                                       budget.beams, budget.focal_zones > 1 ? budget.focal_zones : 1,
                                       budget.angles > 1 ? budget.angles : 1,
                                       budget.pulses > 1 ? " x 2 pulses" : "", target->speed_mm_s,
                                       target->speed_mm_s / s->frame_rate_need_hz, s->frame_rate_need_hz),
               .source =
                   sl_plan_text(w, "time of flight; a frame must not move further than the beam is wide: %s",
                                target->speed_reason),
               .otherwise = sl_plan_text(
                   w,
                   "With %d foci %.0f, with %d compounding angles %.0f frames/s. Machines keep some time for "
                   "themselves: expect less.",
                   foci.focal_zones, rate(&foci), angles.angles, rate(&angles)),
               .chosen_by_user = sl_known(plan->request.frame_rate_hz)});
    if (shown < s->frame_rate_need_hz)
        sl_plan_note(
            w,
            sl_plan_text(
                w,
                "%.0f frames/s are fewer than the %.0f that follow the movement from frame to frame; fewer "
                "beams (a narrower sector), one focus and no compounding bring more.",
                shown, s->frame_rate_need_hz));
    if (plan->request.target == SL_TARGET_EXCURSION)
        sl_plan_note(
            w, sl_plan_text(
                   w, "In M-mode one line can be sent c / (2 D) = %.0f times a second: use it for excursion.",
                   sl_pulse_rate_most_hz(s->depth_mm, speed)));
}

/* Tilt of the pleura at which its k-th appearance has half its amplitude, by stepping (the share is not
 * monotone). */
static double half_tilt_rad(const sl_plan_setting *s, double pleura_mm, int k)
{
    for (double tilt = 0; tilt < SL_PI / 4; tilt += 0.005)
        if (sl_repeat_tilt_share(k, tilt, pleura_mm, s->aperture_mm, s->focus_mm, s->freq_mhz, speed) < 0.5)
            return tilt;
    return SL_PI / 4;
}

static void add_repeats(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    if (!sl_target_rule_get(plan->request.target)->artifact)
        return;
    double d = plan->request.wall_mm;
    double air = sl_reflection(sl_medium_impedance_mrayl(SL_MUSCLE), sl_medium_impedance_mrayl(SL_AIR_BODY));
    double step = 20 * log10(fabs(air * SL_PLAN_FACE_REFLECTION));
    int shown = (int)floor(s->depth_mm / d + 1e-9);
    const char *where = "";
    for (int k = 2; k <= shown && k <= 6; k++)
        where = sl_plan_text(w, "%s%s%.0f", where, *where ? ", " : "", sl_repeat_depth_mm(d, k));
    double first = half_tilt_rad(s, d, 1), second = half_tilt_rad(s, d, 2);
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "repeats",
               .value = shown > 1 ? shown - 1 : 0,
               .unit = "A-lines",
               .choice = *where ? sl_plan_text(w, "A-lines, if there are any, at %s mm", where)
                                : "none fits in the picture",
               .formula = sl_plan_text(w,
                                       "k x pleural depth; each %.0f dB weaker once the depth gain has made "
                                       "up for the wall: 20 log10(%.4f "
                                       "x %.1f)",
                                       -step, fabs(air), SL_PLAN_FACE_REFLECTION),
               .source =
                   "image sources; impedances of muscle and air (media table); probe's face 0.2: from memory",
               .otherwise = sl_plan_text(w,
                                         "Tilted by %.1f degrees the pleura's echo is at half its amplitude, "
                                         "by %.1f degrees the first repeat: "
                                         "hold the probe square to the pleura, or A-lines are missed.",
                                         sl_deg(first), sl_deg(second))});
}

static void add_rib(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    if (plan->request.place == SL_PLAN_PLACE_SUBCOSTAL)
        return;
    const double rib_mm = 8;
    double loss = 2 * sl_layer_loss_db(SL_MUSCLE, SL_BONE, rib_mm, s->freq_mhz);
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "rib",
               .value = loss,
               .unit = "dB",
               .choice = sl_plan_text(w, "costs %.0f dB there and back: look between ribs", loss),
               .formula = sl_plan_text(w, "2 x (two faces at 1.9 dB + %.2f dB/cm/MHz x %.1f MHz x 0.8 cm)",
                                       sl_medium_get(SL_BONE)->attenuation.db_per_cm, s->freq_mhz),
               .source = "impedances and attenuation of bone: IT'IS; 8 mm of rib: our assumption",
               .otherwise = sl_plan_text(
                   w, "The field is %.0f mm wide at the pleura; its parts over ribs show shadow only.",
                   sl_transducer_field_mm(s->probe, plan->request.wall_mm))});
}

void sl_plan_add_consequences(sl_plan_writer *w)
{
    add_resolution(w);
    add_penetration(w);
    add_frame_rate(w);
    add_repeats(w);
    add_rib(w);
}
