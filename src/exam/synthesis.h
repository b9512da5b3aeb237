/* What the examination says as a whole: patterns, symmetry, gravity, and the published decision tree as "this pattern is
 * described with ...". Never a diagnosis; what was not looked at is said, and so what cannot be excluded. */
#ifndef SL_EXAM_SYNTHESIS_H
#define SL_EXAM_SYNTHESIS_H

#include "exam/schemes.h"

typedef enum sl_pattern {
    SL_PATTERN_NOT_SEEN,      /* no clip, or none that could be read */
    SL_PATTERN_OPEN,          /* read, but not told */
    SL_PATTERN_DRY,           /* air behind the pleura and at most two B-lines, nothing else */
    SL_PATTERN_INTERSTITIAL,  /* three B-lines and more, or white */
    SL_PATTERN_CONSOLIDATED, SL_PATTERN_FLUID,
    SL_PATTERNS
} sl_pattern;

const char *sl_pattern_name(sl_pattern pattern);

typedef struct sl_zone_pattern {
    const sl_zone *zone;
    sl_pattern pattern;
    bool fluid, consolidated, interstitial; /* may stand together */
    sl_answer sliding, a_lines, lung_point;
} sl_zone_pattern;

/* A published pair of pattern and diagnosis. */
typedef struct sl_profile {
    const char *word;                      /* in keys: "b" */
    const char *key, *pattern, *diagnosis; /* "B", "sliding on both sides, anterior B-lines on both", "pulmonary oedema" */
    int true_positive, ill, true_negative, well; /* counts behind sensitivity and specificity */
    const char *needs;      /* what else must be known before it may be thought of; "" nothing */
    const char *source;
} sl_profile;

typedef struct sl_profile_match {
    const sl_profile *profile;
    bool complete;          /* false: `needs` or points are missing */
} sl_profile_match;

enum { SL_PROFILES_MOST = 8 };

typedef struct sl_synthesis {
    int zones;
    sl_zone_pattern *zone;
    sl_scheme_total scheme[SL_SCHEMES];
    int positive_right, positive_left, judged_right, judged_left; /* zones with three B-lines and more, of those told */
    const char *interstitial;  /* "diffuse", "focal", "none seen", "not told" and why: a sentence */
    const char *symmetry;      /* sentences; "" where nothing can be said */
    const char *gravity;
    int profiles;
    sl_profile_match profile[SL_PROFILES_MOST];
    const char *no_profile;    /* why none is offered, a sentence; "" when one is */
    const char *not_looked_at; /* zones, and what was not sought: a sentence; "" when everything was */
    const char *cannot_exclude;/* sentences */
    int b_lines, b_line_zones; /* sum of the counts over the zones told */
} sl_synthesis;

/* After sl_exam_score(). All memory is from `arena`. */
sl_status sl_exam_synthesis(const sl_exam *exam, sl_arena *arena, sl_synthesis *synthesis, sl_error *error);
/* The same into exam->synthesis. */
sl_status sl_exam_sum_up(sl_exam *exam, sl_arena *arena, sl_error *error);

#endif
