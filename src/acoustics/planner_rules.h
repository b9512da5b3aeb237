/* The tables behind the settings planner: targets, places, rule sets, common practice. Every number has its
 * source beside it; what is ours is called "our assumption". */
#ifndef SL_ACOUSTICS_PLANNER_RULES_H
#define SL_ACOUSTICS_PLANNER_RULES_H

#include "acoustics/media.h"
#include "acoustics/planner.h"
#include "acoustics/transducer.h"

#include <stdbool.h>

/* What is looked for. */
typedef struct sl_target_rule {
    const char *name;                          /* "pleura" */
    const char *title;                         /* "pleural line and sliding" */
    sl_plan_place place;                       /* where it is usually sought */
    unsigned places;                           /* bit set of places where it can be sought */
    sl_transducer_kind prefer[SL_TRANSDUCERS]; /* best first; ends with SL_TRANSDUCERS when shorter */
    int preferred;
    const char *probe_source;
    double freq_least_mhz; /* 0 = the probe's band decides */
    double extent_mm;      /* how far behind the pleura it reaches */
    const char *extent_reason;
    int repeats;    /* the picture must hold this many appearances of the pleura (1 = the pleura itself) */
    int behind;     /* medium behind the pleura on the way there (sl_medium_id), -1 = the wall again */
    double echo_db; /* strength of its echo against a perfect mirror, negative */
    const char *echo_reason;
    bool artifact;     /* judged by artifacts: what removes artifacts must be off */
    double speed_mm_s; /* movement that a frame must follow */
    const char *speed_reason;
} sl_target_rule;

const sl_target_rule *sl_target_rule_get(sl_target target);

/* A rule set: what it says of depth and focus. Depths 0 = it says nothing. */
typedef struct sl_depth_rule {
    double low_mm, high_mm;
    const char *source;
} sl_depth_rule;

/* The depth a rule set asks for, for a picture of this probe at this place. */
sl_depth_rule sl_rules_depth(sl_rules rules, const sl_transducer *probe, sl_target target,
                             sl_plan_place place);

typedef enum sl_focus_rule { SL_FOCUS_PLEURA, SL_FOCUS_TARGET, SL_FOCUS_MIDDLE } sl_focus_rule;
sl_focus_rule sl_rules_focus(sl_rules rules, sl_target target);

extern const char *const sl_rules_names[SL_RULES], *const sl_rules_titles[SL_RULES];
extern const char *const sl_rules_focus_sources[SL_RULES];
extern const char *const sl_plan_place_names[SL_PLAN_PLACES];

/* The wall as layers: skin 2 mm (or the whole wall when thinner), the rest half subcutaneous fat, half
 * muscle: our assumption, from the media table. Returns the layers' count (at most 3). */
typedef struct sl_layer {
    sl_medium_id medium;
    double thickness_mm;
} sl_layer;
int sl_wall_layers(double wall_mm, sl_layer layer[3]);

/* Sources of the planner's own constants. */
#define SL_PLAN_BUDGET_DB 100.0
#define SL_PLAN_BUDGET_SOURCE                                                                                \
    "textbook example: 100 dB between the strongest echo and the noise floor (from memory)"
/* Diffuse echoes 40 dB below a mirror: with 100 dB this gives 60 / f(MHz) cm of penetration, the trade's
 * rule. */
#define SL_PLAN_SCATTER_DB (-40.0)
#define SL_PLAN_SCATTER_SOURCE                                                                               \
    "diffuse echo taken 40 dB below a mirror, so that penetration is about 60/f cm (common practice, no "    \
    "source)"
/* Part of the sound that the probe's face and skin send back, in amplitude. */
#define SL_PLAN_FACE_REFLECTION 0.2
/* A vertical artifact that fades within 2 to 4 cm is a Z-line and has no meaning. */
#define SL_PLAN_Z_LINE_MM 40.0

#endif
