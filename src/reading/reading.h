/* A reading is a reading, whoever made it: the program's measurement, a clinician's read, an expert's label file and
 * the simulator's truth are this one type, with the author as a field. What can be found is listed once, in
 * findings.c. A reading and all it points to belong to the arena it was made in. */
#ifndef SL_READING_READING_H
#define SL_READING_READING_H

#include "core/arena.h"
#include "core/error.h"
#include "view/view.h"

#include <jansson.h>
#include <stdbool.h>

/* ---- what can be found: one row each in findings.c ---- */
typedef enum sl_code {
    SL_PLEURA_DEPTH,     /* fraction of the imaged depth; median over the intercostal space */
    SL_PLEURA_DEPTH_MM,
    SL_RIB_SHARE,        /* share of the beams in rib shadow or without contact */
    SL_A_LINES,          /* answer + index */
    SL_A_LINE_COUNT,     /* repeats below the pleura */
    SL_A_LINE_SPACING,   /* in units of the pleural depth from the probe's face when visible, else fraction of depth */
    SL_B_LINES,          /* answer + index */
    SL_B_LINE_COUNT,     /* the most in one frame */
    SL_B_LINE_COVERAGE,  /* largest share of the pleural width in one frame */
    SL_WHITE_LUNG,       /* answer + index: merged over the whole space */
    SL_SCORE,            /* 0 to 3 */
    SL_SLIDING, SL_SLIDING_AMPLITUDE, SL_LUNG_PULSE, SL_LUNG_POINT,
    SL_EFFUSION, SL_EFFUSION_DEPTH, SL_CONSOLIDATION, SL_CONSOLIDATION_EXTENT,
    SL_PLEURA_IRREGULAR, SL_CURTAIN, SL_ORGAN, SL_BREATHING_RATE,
    SL_SLIDING_AMPLITUDE_MM, SL_SLIDING_SPEED, SL_LUNG_POINT_TRAVEL, /* mm, mm/s, mm */
    SL_PLEURA_THICKNESS, SL_PLEURA_ROUGHNESS, /* mm */ SL_PLEURA_BROKEN, SL_SUBPLEURAL_SPOTS, SL_PLEURA_BUMPS,
    SL_TRACE_TEXTURE, /* change below the pleura over change above */
    SL_CURTAIN_TRAVEL,  /* mm */
    SL_DIAPHRAGM,       /* answer + index: its dome seen from below */
    SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED, /* mm, mm/s */
    SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING, /* mm at end of expiration, inspiration; percent */
    SL_HEART_RATE, /* beats a minute of a heart in the picture */
    SL_EFFUSION_SWING,  /* mm over the clip */
    SL_EFFUSION_SEPTA, SL_EFFUSION_SEPTA_COUNT, SL_EFFUSION_PARTICLES, /* answer + index, count, answer + index */
    SL_EFFUSION_EVENNESS, /* 0 to 1 */
    SL_CONSOLIDATION_WIDTH, SL_CONSOLIDATION_AREA, SL_CONSOLIDATION_TORN, /* mm, cm2, mm */
    SL_AIR_BRONCHOGRAM, SL_AIR_BRONCHOGRAM_MOVES, SL_AIR_BRONCHOGRAM_TRAVEL, /* answer + index, twice; mm */
    SL_FLUID_BRONCHOGRAM, /* answer + index */
    SL_SPINE, SL_MIRROR_IMAGE, /* answer + index: beyond the diaphragm */
    SL_COLOUR_TOWARD, SL_COLOUR_AWAY, SL_COLOUR_SCALE, /* shares of the colour box; cm/s at the bar's ends */
    SL_COLOUR_ALIASING, SL_FLUID_COLOUR, SL_VESSEL_COLOUR, /* answer + index; only where colour lies over the picture */
    SL_SLIDING_PHASE, /* degrees: where in the chest's own breath the lung slides (phase.h) */
    SL_EFFUSION_BASE, /* mm: depth of fluid beside the diaphragm */
    SL_CODES
} sl_code;

typedef enum sl_kind {
    SL_KIND_ANSWER,  /* present, absent, uncertain; `value` is the index 0..1, monotone in how surely it is there */
    SL_KIND_ORDERED, /* 0, 1, 2, 3 */
    SL_KIND_COUNT,
    SL_KIND_AMOUNT   /* a number with a unit */
} sl_kind;

typedef struct sl_finding_info {
    sl_code code;
    const char *key;    /* in files: "b_lines" */
    const char *name;   /* for people: "B-lines" */
    const char *unit;   /* "", "mm", "share of the imaged depth" ... */
    sl_kind kind;
    double low, high;   /* range a statement must lie in */
    int decimals;       /* how it prints */
    const char *source; /* definition and where it is from */
} sl_finding_info;

const sl_finding_info *sl_finding_info_of(sl_code code);
/* Row with this key, or NULL. */
const sl_finding_info *sl_finding_info_by_key(const char *key);

typedef enum sl_answer { SL_UNCERTAIN, SL_ABSENT, SL_PRESENT } sl_answer;
const char *sl_answer_name(sl_answer answer); /* "uncertain", "absent", "present" */

/* Where in the clip. Frames are indices in the file; beams and depths are beam coordinates 0..1 of the view. A line
 * has `points` (beam, depth) pairs; otherwise the box first..last. */
typedef struct sl_evidence {
    int first_frame, last_frame;
    double first_time_s, last_time_s; /* NAN when times are not known */
    double first_beam, last_beam, first_depth, last_depth;
    int points;
    const double *beam, *depth;
    const char *label; /* "A-line 2", "rib shadow" or NULL */
} sl_evidence;

typedef struct sl_finding {
    sl_code code;
    bool known;           /* false: could not tell; then `reason` says why and value is NAN */
    sl_answer answer;     /* for SL_KIND_ANSWER */
    double value, low, high; /* low..high: 95 % interval; NAN where none is given */
    double confidence;    /* 0..1 that the statement is right; NAN when the author gives none */
    const char *reason;   /* a clause; "" when nothing is to be said */
    int evidences;
    const sl_evidence *evidence;
} sl_finding;

typedef enum sl_author_kind { SL_BY_PROGRAM, SL_BY_PERSON, SL_BY_LABELS, SL_BY_SIMULATOR } sl_author_kind;

typedef struct sl_reading {
    sl_author_kind by;
    const char *author;   /* "strandline 0.1.0", "reader A", "labels.csv" */
    const char *clip;     /* file name */
    const char *method;   /* one line */
    int findings;
    sl_finding *finding;  /* room for SL_CODES, one a code at most */
} sl_reading;

/* An empty reading with room for every code. NULL when memory is out. */
sl_reading *sl_reading_new(sl_arena *arena, sl_author_kind by, const char *author, const char *clip);

/* The finding of `code`, or NULL. */
const sl_finding *sl_reading_get(const sl_reading *reading, sl_code code);

/* The place to fill for `code` (an existing one is reset): known = false, numbers NAN, reason "". */
sl_finding *sl_reading_put(sl_reading *reading, sl_code code);

/* The same as JSON, one way and back (schema: docs/reading.schema.json). New reference / arena memory. */
json_t *sl_reading_to_json(const sl_reading *reading);
sl_status sl_reading_from_json(const json_t *json, const char *where, sl_arena *arena, sl_reading **reading,
                               sl_error *error);

#endif
