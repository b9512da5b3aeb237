/* The planner's figures: from a request to one way of setting the machine. */
#include "acoustics/planner.h"

#include "acoustics/beam.h"
#include "acoustics/echo.h"
#include "acoustics/loss.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "core/units.h"

#include <stddef.h>
#include <stdio.h>

static const double speed = SL_SPEED_SCANNER_M_S;

sl_plan_request sl_plan_default(sl_target target)
{
    return (sl_plan_request){.probe = -1,
                             .target = target,
                             .place = -1,
                             .rules = SL_RULES_CONSENSUS,
                             .wall_mm = 20,
                             .extent_mm = SL_UNKNOWN,
                             .depth_mm = SL_UNKNOWN,
                             .freq_mhz = SL_UNKNOWN,
                             .focus_mm = SL_UNKNOWN,
                             .frame_rate_hz = SL_UNKNOWN,
                             .budget_db = SL_PLAN_BUDGET_DB,
                             .dynamic_range_db = 60};
}

/* ---- the request ---- */

typedef struct field_range {
    const char *name, *what, *unit;
    double value, low, high;
    bool may_be_unknown;
} field_range;

static sl_status check_fields(const sl_plan_request *request, sl_error *error)
{
    const field_range field[] = {
        {"wall-mm", "the way from the skin to the pleura", "mm", request->wall_mm, 3, 120, false},
        {"extent-mm", "how far behind the pleura the target reaches", "mm", request->extent_mm, 0, 250, true},
        {"depth-mm", "the depth of the picture", "mm", request->depth_mm, 10, 300, true},
        {"freq-mhz", "the frequency", "MHz", request->freq_mhz, 0.5, 20, true},
        {"focus-mm", "the depth of the focus", "mm", request->focus_mm, 3, 300, true},
        {"frame-rate-hz", "the frame rate wanted", "frames/s", request->frame_rate_hz, 1, 1000, true},
        {"beams", "the number of beams", "beams", request->beams ? request->beams : 128, 16, 1024, false},
        {"focal-zones", "the number of transmit foci", "foci",
         request->focal_zones ? request->focal_zones : 1, 1, 8, false},
        {"angles", "the number of compounding angles", "angles", request->angles ? request->angles : 1, 1, 15,
         false},
        {"parallel", "the number of receive beams a transmission", "beams",
         request->parallel ? request->parallel : 1, 1, 64, false},
        {"budget-db", "the span from the strongest echo to the noise", "dB", request->budget_db, 40, 160,
         false},
        {"dynamic-range-db", "the dynamic range of the display", "dB", request->dynamic_range_db, 20, 120,
         false},
    };
    for (size_t i = 0; i < sizeof field / sizeof field[0]; i++) {
        if (field[i].may_be_unknown && isnan(field[i].value))
            continue;
        if (!(field[i].value >= field[i].low && field[i].value <= field[i].high))
            return sl_fail(error, SL_USAGE, "%s (%s) is %g; it must lie between %g and %g %s.", field[i].name,
                           field[i].what, field[i].value, field[i].low, field[i].high, field[i].unit);
    }
    return SL_OK;
}

static sl_status check_kinds(const sl_plan_request *request, sl_error *error)
{
    const sl_target_rule *target = sl_target_rule_get(request->target);
    if (!target)
        return sl_fail(error, SL_USAGE, "there is no target number %d.", (int)request->target);
    if ((int)request->rules < 0 || request->rules >= SL_RULES)
        return sl_fail(error, SL_USAGE, "there is no rule set number %d.", (int)request->rules);
    if (request->place >= SL_PLAN_PLACES || request->probe >= SL_TRANSDUCERS)
        return sl_fail(error, SL_USAGE, "there is no such place or probe.");
    if (request->place >= 0 && !(target->places & (1u << request->place))) {
        char where[128] = "";
        size_t used = 0;
        for (int i = 0; i < SL_PLAN_PLACES; i++)
            if (target->places & (1u << i) && used < sizeof where)
                used += (size_t)snprintf(where + used, sizeof where - used, "%s%s", used ? ", " : "",
                                         sl_plan_place_names[i]);
        return sl_fail(error, SL_USAGE, "zone is %s, where %s is not sought; it can be: %s.",
                       sl_plan_place_names[request->place], target->title, where);
    }
    return SL_OK;
}

static sl_status check_probe(const sl_plan_request *request, sl_error *error)
{
    const sl_transducer *probe =
        request->probe >= 0 ? sl_transducer_get((sl_transducer_kind)request->probe) : NULL;
    if (!probe)
        return SL_OK;
    if (sl_known(request->freq_mhz) &&
        !(request->freq_mhz >= probe->freq_low_mhz && request->freq_mhz <= probe->freq_high_mhz))
        return sl_fail(error, SL_USAGE, "freq-mhz is %g; a %s probe works between %g and %g MHz.",
                       request->freq_mhz, probe->name, probe->freq_low_mhz, probe->freq_high_mhz);
    if (sl_known(request->depth_mm) &&
        !(request->depth_mm >= probe->depth_least_mm && request->depth_mm <= probe->depth_most_mm))
        return sl_fail(error, SL_USAGE, "depth-mm is %g; with a %s probe it must lie between %g and %g mm.",
                       request->depth_mm, probe->name, probe->depth_least_mm, probe->depth_most_mm);
    return SL_OK;
}

/* ---- the way of the sound ---- */

double sl_plan_path_loss_db(const sl_plan_request *request, double freq_mhz, double depth_mm)
{
    sl_layer layer[3];
    int layers = sl_wall_layers(request->wall_mm, layer);
    double loss = 0, left = depth_mm, wall = 0;
    for (int i = 0; i < layers; i++) {
        sl_attenuation attenuation = sl_medium_get(layer[i].medium)->attenuation;
        wall += sl_loss_db(attenuation, freq_mhz, layer[i].thickness_mm);
        double here = fmin(left, layer[i].thickness_mm);
        loss += sl_loss_db(attenuation, freq_mhz, here);
        left -= here;
    }
    if (left <= 0)
        return loss;
    int behind = sl_target_rule_get(request->target)->behind;
    /* Behind an air mirror the way goes through the wall again. */
    return loss + (behind < 0 ? wall * left / request->wall_mm
                              : sl_loss_db(sl_medium_get((sl_medium_id)behind)->attenuation, freq_mhz, left));
}

double sl_plan_round_trip_db(const sl_plan_request *request, double freq_mhz, double depth_mm)
{
    double back = sl_plan_path_loss_db(request, freq_mhz, depth_mm);
    if (!request->harmonics)
        return 2 * back;
    return sl_plan_path_loss_db(request, freq_mhz / 2, depth_mm) + back + SL_PLAN_HARMONIC_DB;
}

double sl_plan_budget_db(const sl_plan_request *request)
{
    return request->budget_db + sl_target_rule_get(request->target)->echo_db;
}

static double penetration_mm(const sl_plan_request *request, double freq_mhz)
{
    double low = 0, high = 400, budget = sl_plan_budget_db(request);
    if (sl_plan_round_trip_db(request, freq_mhz, high) <= budget)
        return high;
    for (int i = 0; i < 50; i++) {
        double middle = 0.5 * (low + high);
        if (sl_plan_round_trip_db(request, freq_mhz, middle) <= budget)
            low = middle;
        else
            high = middle;
    }
    return low;
}

/* ---- the choices ---- */

const char *sl_plan_surface(const sl_plan_request *request)
{
    return request->place == SL_PLAN_PLACE_SUBCOSTAL ? "the liver" : "the pleura";
}

double sl_plan_need_mm(const sl_plan_request *request)
{
    const sl_target_rule *target = sl_target_rule_get(request->target);
    return fmax(request->wall_mm * target->repeats, request->wall_mm + request->extent_mm);
}

static double choose_depth_mm(const sl_plan_request *request, const sl_transducer *probe, double need_mm)
{
    if (sl_known(request->depth_mm))
        return request->depth_mm;
    double wanted = 5 * ceil(need_mm * 1.05 / 5 - 1e-9);
    sl_depth_rule rule =
        sl_rules_depth(request->rules, probe, request->target, (sl_plan_place)request->place);
    if (wanted < rule.low_mm)
        wanted = rule.low_mm;
    return fmin(probe->depth_most_mm, fmax(probe->depth_least_mm, wanted));
}

/* The highest frequency, in steps of 0.5 MHz, whose echo from the far end is still above the noise. */
static double choose_freq_mhz(const sl_plan_request *request, const sl_transducer *probe, double reach_mm)
{
    if (sl_known(request->freq_mhz))
        return request->freq_mhz;
    double least = fmax(probe->freq_low_mhz,
                        fmin(probe->freq_high_mhz, sl_target_rule_get(request->target)->freq_least_mhz));
    double budget = sl_plan_budget_db(request), freq = least;
    for (double f = least; f <= probe->freq_high_mhz + 1e-9; f += 0.5)
        if (sl_plan_round_trip_db(request, f, reach_mm) <= budget)
            freq = f;
    return freq;
}

static double choose_focus_mm(const sl_plan_request *request, double depth_mm)
{
    if (sl_known(request->focus_mm))
        return request->focus_mm;
    switch (sl_rules_focus(request->rules, request->target)) {
    case SL_FOCUS_PLEURA:
        return fmin(request->wall_mm, depth_mm);
    case SL_FOCUS_TARGET:
        return fmin(request->wall_mm + request->extent_mm / 2, depth_mm);
    case SL_FOCUS_MIDDLE:
        break;
    }
    return depth_mm / 2;
}

sl_frame_budget sl_plan_frame_budget(const sl_plan_request *request, const sl_plan_setting *setting)
{
    return (sl_frame_budget){.depth_mm = setting->depth_mm,
                             .beams = request->beams ? request->beams : setting->probe->beams,
                             .focal_zones = request->focal_zones,
                             .angles = request->angles,
                             .pulses = request->harmonics ? 2 : 1,
                             .parallel = request->parallel};
}

double sl_plan_lateral_mm(const sl_plan_setting *setting, double focus_mm, double depth_mm)
{
    const sl_transducer *probe = setting->probe;
    sl_aperture transmit = {sl_transducer_aperture_most_mm(probe, setting->freq_mhz, focus_mm, speed),
                            focus_mm};
    sl_aperture receive = {sl_transducer_aperture_most_mm(probe, setting->freq_mhz, depth_mm, speed),
                           depth_mm};
    return sl_beam_width_integral_mm(setting->freq_mhz, transmit, receive, depth_mm, speed);
}

double sl_plan_slice_mm(const sl_plan_setting *setting, double depth_mm)
{
    sl_aperture lens = {setting->probe->elevation_mm, setting->probe->elevation_focus_mm};
    return sl_beam_width_integral_mm(setting->freq_mhz, lens, lens, depth_mm, speed);
}

static void set_with_probe(const sl_plan_request *request, const sl_transducer *probe,
                           sl_plan_setting *setting)
{
    double need_mm = sl_plan_need_mm(request), depth_mm = choose_depth_mm(request, probe, need_mm);
    double freq_mhz = choose_freq_mhz(request, probe, need_mm), focus_mm = choose_focus_mm(request, depth_mm);
    double aperture_mm = sl_transducer_aperture_most_mm(probe, freq_mhz, focus_mm, speed);
    double f_number = sl_f_number(focus_mm, aperture_mm);
    *setting = (sl_plan_setting){
        .probe = probe,
        .depth_mm = depth_mm,
        .freq_mhz = freq_mhz,
        .focus_mm = focus_mm,
        .need_mm = need_mm,
        .aperture_mm = aperture_mm,
        .f_number = f_number,
        .axial_mm = sl_axial_resolution_mm(freq_mhz, probe->cycles, speed),
        .lateral_focus_mm = sl_lateral_resolution_mm(SL_WIDTH_TWO_WAY_6DB, freq_mhz, f_number, speed),
        .focal_zone_mm = sl_focal_zone_mm(freq_mhz, f_number, speed),
        .penetration_mm = penetration_mm(request, freq_mhz),
    };
    setting->reaches = setting->penetration_mm >= need_mm - 1e-6;
    setting->fits = depth_mm >= need_mm - 1e-6;
    sl_frame_budget budget = sl_plan_frame_budget(request, setting);
    setting->frame_rate_hz = sl_frame_rate_most_hz(&budget, speed);
}

/* The widths cost a millisecond each: only for the setting that is chosen. */
static void add_widths(const sl_plan_request *request, sl_plan_setting *setting)
{
    setting->lateral_pleura_mm = sl_plan_lateral_mm(setting, setting->focus_mm, request->wall_mm);
    setting->lateral_far_mm = sl_plan_lateral_mm(setting, setting->focus_mm, setting->need_mm);
    setting->slice_pleura_mm = sl_plan_slice_mm(setting, request->wall_mm);
    bool at_pleura = sl_target_rule_get(request->target)->artifact;
    double cell_mm = at_pleura ? setting->lateral_pleura_mm : setting->lateral_far_mm;
    setting->frame_rate_need_hz = sl_target_rule_get(request->target)->speed_mm_s / cell_mm;
}

static const sl_transducer *choose_probe(const sl_plan_request *request)
{
    const sl_target_rule *target = sl_target_rule_get(request->target);
    const sl_transducer *best = NULL;
    double most = -1;
    for (int i = 0; i < target->preferred; i++) {
        const sl_transducer *probe = sl_transducer_get(target->prefer[i]);
        sl_plan_request asked = *request;
        asked.probe = probe->kind;
        if (check_probe(&asked, NULL) != SL_OK)
            continue;
        sl_plan_setting setting;
        set_with_probe(&asked, probe, &setting);
        if (setting.reaches && setting.fits)
            return probe;
        double reach = fmin(setting.penetration_mm, setting.depth_mm);
        if (reach > most) {
            most = reach;
            best = probe;
        }
    }
    return best;
}

sl_status sl_plan_complete(sl_plan_request *request, sl_error *error)
{
    sl_status status = check_kinds(request, error);
    if (status == SL_OK)
        status = check_fields(request, error);
    if (status == SL_OK)
        status = check_probe(request, error);
    if (status != SL_OK)
        return status;
    const sl_target_rule *target = sl_target_rule_get(request->target);
    if (request->place < 0)
        request->place = (int)target->place;
    if (!sl_known(request->extent_mm))
        request->extent_mm = target->extent_mm;
    return SL_OK;
}

sl_status sl_plan_set_bare(const sl_plan_request *asked, sl_plan_setting *setting, sl_error *error)
{
    sl_plan_request request = *asked;
    sl_status status = sl_plan_complete(&request, error);
    if (status != SL_OK)
        return status;
    const sl_transducer *probe =
        request.probe >= 0 ? sl_transducer_get((sl_transducer_kind)request.probe) : choose_probe(&request);
    if (!probe)
        return sl_fail(error, SL_USAGE,
                       "no probe works at %g MHz and %g mm together; leave freq-mhz or depth-mm to the plan, "
                       "or name the "
                       "probe.",
                       request.freq_mhz, request.depth_mm);
    set_with_probe(&request, probe, setting);
    if (setting->focus_mm > setting->depth_mm)
        return sl_fail(error, SL_USAGE,
                       "focus-mm is %g; it must lie within the picture, between 3 and %g mm.",
                       setting->focus_mm, setting->depth_mm);
    if (sl_known(request.frame_rate_hz) && request.frame_rate_hz > setting->frame_rate_hz * (1 + 1e-9))
        return sl_fail(error, SL_USAGE,
                       "frame-rate-hz is %g; sound needs so long for %g mm and these beams that at most %.1f "
                       "are possible. "
                       "Allowed: 1 to %.1f, or a shallower picture, fewer beams, foci or angles.",
                       request.frame_rate_hz, setting->depth_mm, setting->frame_rate_hz,
                       floor(setting->frame_rate_hz * 10) / 10);
    return SL_OK;
}

sl_status sl_plan_set(const sl_plan_request *asked, sl_plan_setting *setting, sl_error *error)
{
    sl_status status = sl_plan_set_bare(asked, setting, error);
    if (status == SL_OK)
        add_widths(asked, setting);
    return status;
}
