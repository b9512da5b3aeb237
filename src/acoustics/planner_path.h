/* What the planner's files share: the completed request and the way of the sound. */
#ifndef SL_ACOUSTICS_PLANNER_PATH_H
#define SL_ACOUSTICS_PLANNER_PATH_H

#include "acoustics/echo.h"
#include "acoustics/planner.h"

/* The second harmonic starts about 20 dB below the fundamental: our assumption. */
#define SL_PLAN_HARMONIC_DB 20.0

/* Checks a request and fills in place and extent. */
sl_status sl_plan_complete(sl_plan_request *request, sl_error *error);

/* sl_plan_set() without the beam's widths (left 0), which cost a millisecond each. */
sl_status sl_plan_set_bare(const sl_plan_request *request, sl_plan_setting *setting, sl_error *error);

/* Loss one way down to a depth through wall and target; there and back with what harmonics cost; what may be
 * lost. */
double sl_plan_path_loss_db(const sl_plan_request *request, double freq_mhz, double depth_mm);
double sl_plan_round_trip_db(const sl_plan_request *request, double freq_mhz, double depth_mm);
double sl_plan_budget_db(const sl_plan_request *request);

/* What lies behind the wall, for a sentence: "the pleura", or "the liver" from below the ribs. */
const char *sl_plan_surface(const sl_plan_request *request);

/* Far end of what must be in the picture. */
double sl_plan_need_mm(const sl_plan_request *request);

sl_frame_budget sl_plan_frame_budget(const sl_plan_request *request, const sl_plan_setting *setting);

/* Two-way -6 dB widths at a depth with the transmit focus at `focus_mm`; out of plane. */
double sl_plan_lateral_mm(const sl_plan_setting *setting, double focus_mm, double depth_mm);
double sl_plan_slice_mm(const sl_plan_setting *setting, double depth_mm);

#endif
