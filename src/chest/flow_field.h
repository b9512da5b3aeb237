/* What flows in a chest apart from tissue: fluid between the pleurae, driven to and fro by breath and heart, and vessels in lung without
 * air. Invented; speeds are those of a few cm/s (common practice, no source). */
#ifndef SL_CHEST_FLOW_FIELD_H
#define SL_CHEST_FLOW_FIELD_H

#include "chest/modes.h"
#include "chest/private.h"

typedef enum sl_flow_kind { SL_FLOWS_NOT, SL_FLOWS_FLUID, SL_FLOWS_VESSEL } sl_flow_kind;

/* What flows at place x (pleural arc) and depth below the face, and its velocity along the beam, mm/s towards the probe. */
sl_flow_kind sl_flow_field(const sl_chest *chest, const sl_flow_controls *controls, const sl_pose *pose, double x_mm, double depth_mm,
                           double *velocity_mm_s);

/* Velocity as a display of this Nyquist limit shows it: what is faster turns over. */
double sl_flow_turn_over(double velocity_mm_s, double most_mm_s);

#endif
