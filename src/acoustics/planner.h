/* The settings planner: for a probe, a body, a target and a place it says which depth, frequency, focus,
 * frame rate and filters to choose, what resolution and penetration follow, and what would be lost otherwise,
 * each with its formula and source. Where the literature disagrees the caller chooses the rule set, and the
 * plan shows all of them side by side. Everything comes from the closed forms of this folder and the tables
 * of planner_rules.c. */
#ifndef SL_ACOUSTICS_PLANNER_H
#define SL_ACOUSTICS_PLANNER_H

#include "acoustics/transducer.h"
#include "core/arena.h"
#include "core/error.h"

#include <jansson.h>
#include <stdbool.h>

typedef enum sl_target {
    SL_TARGET_PLEURA, /* pleural line and sliding */
    SL_TARGET_A_LINES,
    SL_TARGET_B_LINES,
    SL_TARGET_CONSOLIDATION,
    SL_TARGET_EFFUSION,
    SL_TARGET_EXCURSION, /* of the diaphragm */
    SL_TARGET_THICKNESS, /* of the diaphragm */
    SL_TARGET_SPINE,
    SL_TARGETS
} sl_target;

typedef enum sl_plan_place {
    SL_PLAN_PLACE_ANTERIOR,
    SL_PLAN_PLACE_LATERAL,
    SL_PLAN_PLACE_POSTEROLATERAL,
    SL_PLAN_PLACE_SUBCOSTAL,
    SL_PLAN_PLACES
} sl_plan_place;

typedef enum sl_rules {
    SL_RULES_CONSENSUS, /* shallow picture, focus on the pleura */
    SL_RULES_PRACTICE,  /* deeper picture, the structure of interest mid-screen */
    SL_RULES_LEAST,     /* the least depth that holds the target, focus on the target */
    SL_RULES
} sl_rules;

/* What is asked. NAN or 0 as said beside a field means "choose". */
typedef struct sl_plan_request {
    int probe; /* sl_transducer_kind, -1 = choose */
    sl_target target;
    int place; /* sl_plan_place, -1 = where the target is usually sought */
    sl_rules rules;
    double wall_mm;                    /* skin to pleura (subcostal: skin to liver) */
    double extent_mm;                  /* how far behind the pleura the target may reach; NAN = usual */
    double depth_mm;                   /* of the picture; NAN = choose */
    double freq_mhz;                   /* NAN = choose */
    double focus_mm;                   /* NAN = choose */
    double frame_rate_hz;              /* wanted; NAN = as fast as possible */
    int beams;                         /* 0 = usual for the probe */
    int focal_zones, angles, parallel; /* 0 = 1 */
    bool harmonics;                    /* second harmonic by pulse inversion */
    double budget_db;                  /* strongest echo to noise floor */
    double dynamic_range_db;           /* of the display */
} sl_plan_request;

/* A request with everything left to choose: wall 20 mm, 100 dB, display 60 dB. */
sl_plan_request sl_plan_default(sl_target target);

typedef struct sl_plan_line {
    const char *topic;   /* "depth" */
    const char *choice;  /* "70 mm", one line */
    double value;        /* the number in it, NAN when it is not a number */
    const char *unit;    /* of the value, "" without */
    const char *formula; /* with the numbers put in */
    const char *source;
    const char *otherwise; /* what would be lost, a sentence or two; "" when nothing */
    bool chosen_by_user;
} sl_plan_line;

/* The core figures of one way to set the machine. */
typedef struct sl_plan_setting {
    const sl_transducer *probe;
    double depth_mm, freq_mhz, focus_mm;
    double need_mm; /* far end of what must be in the picture */
    double aperture_mm, f_number;
    double axial_mm;                          /* half the pulse */
    double lateral_pleura_mm, lateral_far_mm; /* two-way -6 dB, at the pleura and at the target's far end */
    double lateral_focus_mm;                  /* in the focal plane */
    double slice_pleura_mm;                   /* out of plane, two-way -6 dB, from the lens */
    double focal_zone_mm;
    double penetration_mm; /* where the budget ends for this target's echo; at most 400 */
    double frame_rate_hz;  /* most */
    double frame_rate_need_hz;
    bool reaches; /* penetration >= need */
    bool fits;    /* depth >= need */
} sl_plan_setting;

typedef struct sl_plan_alternative {
    sl_rules rules;
    bool chosen;
    sl_plan_setting setting;
    const char *depth_source, *focus_source;
} sl_plan_alternative;

/* One value of common practice held against the plan. */
typedef struct sl_plan_check {
    const char *practice; /* what is common, no source */
    const char *plan;     /* what the plan gives */
    int agrees;           /* 1 yes, 0 no, -1 does not apply */
} sl_plan_check;

enum { SL_PLAN_MOST_LINES = 24, SL_PLAN_MOST_CHECKS = 12, SL_PLAN_MOST_NOTES = 8 };

typedef struct sl_plan {
    sl_plan_request request; /* with the place and the extent that were used */
    const char *title;
    sl_plan_setting setting;
    int lines, checks, notes;
    sl_plan_line line[SL_PLAN_MOST_LINES];
    sl_plan_alternative alternative[SL_RULES];
    sl_plan_check check[SL_PLAN_MOST_CHECKS];
    const char *note[SL_PLAN_MOST_NOTES]; /* what does not work out, what the plan leaves out */
} sl_plan;

/* Makes the plan; texts live in `arena`. SL_USAGE with a sentence that names the field and the allowed range
 * for an impossible request. */
sl_status sl_plan_make(const sl_plan_request *request, sl_arena *arena, sl_plan *plan, sl_error *error);

/* The figures alone for a request, as sl_plan_make() would choose them. Used by the audit and the simulator's
 * lessons. */
sl_status sl_plan_set(const sl_plan_request *request, sl_plan_setting *setting, sl_error *error);

/* New reference; field names carry units. */
json_t *sl_plan_json(const sl_plan *plan);

/* Names as on the command line and in JSON; -1 when unknown. */
const char *sl_target_name(sl_target target);
int sl_target_find(const char *name);
const char *sl_plan_place_name(sl_plan_place place);
int sl_plan_place_find(const char *name);
const char *sl_rules_name(sl_rules rules);
int sl_rules_find(const char *name);

#endif
