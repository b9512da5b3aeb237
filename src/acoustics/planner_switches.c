/* The switches: compounding, harmonics, persistence, gain, display, output, clip length. */
#include "acoustics/loss.h"
#include "acoustics/planner_lines.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "acoustics/speckle.h"
#include "core/units.h"

static const double speed = SL_SPEED_SCANNER_M_S;

static void add_compounding(sl_plan_writer *w, bool artifact)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    int angles = plan->request.angles > 1 ? plan->request.angles : (int)s->probe->angles;
    bool on = plan->request.angles > 1;
    sl_frame_budget budget = sl_plan_frame_budget(&plan->request, s);
    budget.angles = angles;
    double rate = sl_frame_rate_most_hz(&budget, speed);
    sl_plan_add(w,
                (sl_plan_line){.topic = "compounding",
                               .value = on ? angles : 1,
                               .unit = "angles",
                               .chosen_by_user = on,
                               .choice = on         ? sl_plan_text(w, "%d angles", angles)
                                         : artifact ? "off"
                                                    : "may be on: nothing judged here is an artifact",
                               .formula = sl_plan_text(w,
                                                       "%d angles: speckle's mean over deviation 1.91 x "
                                                       "sqrt(%d) = %.1f; frame rate / %d = %.0f frames/s",
                                                       angles, angles, sl_speckle_compound_ratio(angles),
                                                       angles, rate),
                               .source = "Kameda et al. 2022, 10.3390/diagnostics12020252 (compounding, deep "
                                         "focus and several foci hide vertical "
                                         "artifacts)",
                               .otherwise = artifact ? "On, each angle draws the artifact along its own "
                                                       "direction: vertical ones fan out and fade, "
                                                       "repeats blur."
                                                     : "Off, borders at an angle to the beam are fainter."});
    if (on && artifact)
        sl_plan_note(w, "Compounding is on: vertical and horizontal artifacts will be weaker than they are.");
}

static void add_harmonics(sl_plan_writer *w, bool artifact)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    sl_plan_request fundamental = plan->request, harmonic = plan->request;
    fundamental.harmonics = false;
    harmonic.harmonics = true;
    double plain_db = sl_plan_round_trip_db(&fundamental, s->freq_mhz, s->need_mm);
    double harmonic_db = sl_plan_round_trip_db(&harmonic, s->freq_mhz, s->need_mm);
    sl_plan_add(w, (sl_plan_line){
                       .topic = "harmonics",
                       .value = SL_UNKNOWN,
                       .unit = "",
                       .chosen_by_user = plan->request.harmonics,
                       .choice = plan->request.harmonics ? "on"
                                 : artifact              ? "off"
                                            : "may be on for cleaner borders, off when the echo is lost",
                       .formula = sl_plan_text(w,
                                               "to %.0f mm: %.0f dB at %.1f MHz both ways; %.0f dB when %.1f "
                                               "MHz is sent and %.1f received, 20 dB "
                                               "weaker from the start; pulse inversion halves the frame rate",
                                               s->need_mm, plain_db, s->freq_mhz, harmonic_db,
                                               s->freq_mhz / 2, s->freq_mhz),
                       .source = "attenuation as above; off where artifacts are judged: Rocca et al. 2023 "
                                 "(second-hand); 20 dB: our assumption",
                       .otherwise = artifact ? "On, repeats and ring-down come back at the frequency sent "
                                               "and are filtered out: the signs "
                                               "that are looked for get weaker."
                                             : ""});
    if (plan->request.harmonics && artifact)
        sl_plan_note(w, "Harmonics are on: A-lines and B-lines will be weaker than they are.");
}

static void add_persistence(sl_plan_writer *w, bool artifact)
{
    const sl_plan_setting *s = &w->plan->setting;
    const sl_target_rule *target = sl_target_rule_get(w->plan->request.target);
    double smear = target->speed_mm_s * 3 / s->frame_rate_hz;
    sl_plan_add(
        w, (sl_plan_line){
               .topic = "persistence",
               .value = 0,
               .unit = "frames",
               .choice = artifact ? "off" : "low",
               .formula = sl_plan_text(
                   w, "averaging 4 frames spreads a movement of %.1f mm/s over %.1f x 3 / %.0f = %.2f mm",
                   target->speed_mm_s, target->speed_mm_s, s->frame_rate_hz, smear),
               .source = "movement x time; off where artifacts are judged: common practice, no source",
               .otherwise = "High, fast changes (sliding, lung pulse, flicker of vertical artifacts) are "
                            "averaged away; the same holds "
                            "for speckle filters."});
}

static void add_gain(sl_plan_writer *w)
{
    const sl_plan *plan = w->plan;
    const sl_plan_setting *s = &plan->setting;
    double wall = plan->request.wall_mm;
    double in_wall = sl_plan_round_trip_db(&plan->request, s->freq_mhz, wall) / wall * 10;
    int behind = sl_target_rule_get(plan->request.target)->behind;
    double after =
        behind < 0 ? in_wall
                   : sl_depth_gain_db_per_cm(sl_medium_get((sl_medium_id)behind)->attenuation, s->freq_mhz);
    sl_plan_add(
        w,
        (sl_plan_line){
            .topic = "depth gain",
            .value = in_wall,
            .unit = "dB/cm",
            .choice = behind < 0 ? sl_plan_text(w, "%.1f dB/cm down to the pleura, the same below", in_wall)
                                 : sl_plan_text(w, "%.1f dB/cm down to %s, then %.1f dB/cm", in_wall,
                                                sl_plan_surface(&plan->request), after),
            .formula = "2 alpha(f) of what the sound passes",
            .source = behind < 0 ? "attenuation as above; repeats pass the wall again, so the slope stays"
                                 : "attenuation as above",
            .otherwise =
                behind == SL_FLUID_PLEURAL
                    ? "The usual slope of soft tissue would brighten all behind fluid and fill the fluid "
                      "with noise."
                    : "Too steep, noise below the pleura looks like white lung; too flat, vertical "
                      "artifacts seem to fade. Bring the gain down until nothing is saturated."});
}

static void add_display(sl_plan_writer *w)
{
    double range = w->plan->request.dynamic_range_db, other = range - 10 >= 20 ? range - 10 : range + 10;
    sl_plan_add(
        w, (sl_plan_line){.topic = "dynamic range",
                          .value = range,
                          .unit = "dB",
                          .choice = sl_plan_text(w, "%.0f dB", range),
                          .formula = sl_plan_text(
                              w, "255 / DR = %.1f grey levels a dB; speckle varies by 5.57 dB = %.0f levels",
                              sl_grey_per_db(range), sl_speckle_grey_sd(range)),
                          .source = "logarithmic compression; Burckhardt 1978 for 5.57 dB (from memory)",
                          .otherwise = sl_plan_text(
                              w, "At %.0f dB %.1f levels a dB: %s", other, sl_grey_per_db(other),
                              other < range
                                  ? "more contrast, but echoes more than that below the strongest are black."
                                  : "less contrast, but weaker echoes are shown."),
                          .chosen_by_user = range != sl_plan_default(SL_TARGET_PLEURA).dynamic_range_db});
}

static void add_output(sl_plan_writer *w)
{
    const sl_plan_setting *s = &w->plan->setting;
    const double index = 0.4;
    double sent = w->plan->request.harmonics ? s->freq_mhz / 2 : s->freq_mhz;
    sl_plan_add(w, (sl_plan_line){
                       .topic = "output",
                       .value = index,
                       .unit = "MI",
                       .choice = "begin with a mechanical index of at most 0.4",
                       .formula = sl_plan_text(
                           w, "MI = p / sqrt(f): p <= 0.4 x sqrt(%.1f) = %.2f MPa, derated by 0.3 dB/cm/MHz",
                           sent, sl_pressure_for_index_mpa(index, sent)),
                       .source = "bleeding in animal lungs begins near 0.4: AIUM statement; start low: "
                                 "Ultraschall Med 2023;44:516, "
                                 "10.1055/a-1978-5575 (the number from memory). Another text begins at 0.7 "
                                 "(Soldati 2020, from memory)",
                       .otherwise = "Raise it only when the picture does not answer the question; the "
                                    "general limit is 1.9 (from memory). No harm "
                                    "in people has been shown."});
}

static void add_clip(sl_plan_writer *w)
{
    sl_plan_add(w, (sl_plan_line){.topic = "clip",
                                  .value = 6,
                                  .unit = "s",
                                  .choice = "at least 6 s, and one whole breath",
                                  .formula = "",
                                  .source = "Platz et al. 2015, 10.1016/j.ajem.2015.06.002: 6 s show more "
                                            "B-lines than 4 s, 4 s more than 2 s",
                                  .otherwise =
                                      "Shorter clips show fewer signs; compare only clips of equal length."});
}

void sl_plan_add_switches(sl_plan_writer *w)
{
    bool artifact = sl_target_rule_get(w->plan->request.target)->artifact;
    add_compounding(w, artifact);
    add_harmonics(w, artifact);
    add_persistence(w, artifact);
    add_gain(w);
    add_display(w);
    add_output(w);
    add_clip(w);
}
