/* A scenario: what chest lies under which probe with which controls. It comes from JSON (docs/scenario.schema.json,
 * made from the same table that checks it) or from the seeded generator. Lengths are mm, times s, unless said.
 *
 * Sideways positions `x_mm` are measured along the pleura's arc from the middle of the picture (positive to the
 * picture's right before mirroring); depths along the beam from the probe's face. Lung structures lie in the lung's own
 * coordinates: their x_mm is where they are at mid breath. */
#ifndef SL_CHEST_SCENARIO_H
#define SL_CHEST_SCENARIO_H

#include "core/error.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

enum {
    SL_MOST_RIBS = 6,
    SL_MOST_TRAPS = 64,          /* stated one by one; interstitial disease makes its own */
    SL_MOST_CONSOLIDATIONS = 4
};

typedef enum sl_probe_kind { SL_PROBE_CONVEX, SL_PROBE_LINEAR, SL_PROBE_PHASED } sl_probe_kind;
typedef enum sl_grey_map { SL_MAP_LINEAR, SL_MAP_SOFT, SL_MAP_HARD } sl_grey_map;
typedef enum sl_fluid_kind { SL_FLUID_SIMPLE, SL_FLUID_PARTICLES, SL_FLUID_SEPTATED } sl_fluid_kind;
typedef enum sl_bronchogram { SL_BRONCHO_NONE, SL_BRONCHO_AIR, SL_BRONCHO_AIR_MOVING, SL_BRONCHO_FLUID } sl_bronchogram;
typedef enum sl_organ { SL_ORGAN_NONE, SL_ORGAN_LIVER, SL_ORGAN_SPLEEN } sl_organ;

typedef struct sl_probe {
    int kind;                /* sl_probe_kind */
    double freq_mhz;         /* centre of the transmitted pulse */
    double bandwidth;        /* two-way -6 dB width over the centre frequency */
    double radius_mm;        /* of curvature (convex); of the virtual apex behind the face (phased) */
    double field_deg;        /* angle between first and last beam (convex, phased) */
    double width_mm;         /* between first and last beam (linear) */
    double aperture_mm;      /* largest active aperture */
    double fnumber;          /* smallest receiving F-number: the aperture grows with depth at this ratio */
    double slice_mm;         /* slice thickness, -6 dB */
    double face_reflection;  /* amplitude reflected at the probe's face when an echo returns */
    double clutter_db;       /* side lobes and aberration: what leaks in from other directions, against the beam itself */
} sl_probe;

typedef struct sl_controls {
    double depth_mm;         /* imaged depth from the probe's face */
    double crop_top_mm;      /* what the picture leaves out below the face */
    double focus_mm;
    double gain_db;
    double depth_gain_db_cm; /* added to the automatic depth gain */
    double dynamic_range_db;
    int grey_map;            /* sl_grey_map */
    int beams;
    int parallel_beams;      /* lines received from one transmission */
    double frame_rate_hz;
    double duration_s;
    int compound_angles;     /* 1 = off */
    double compound_step_deg;
    bool harmonics;
    int persistence_frames;  /* 1 = off */
    bool mirrored;           /* orientation mark on the right */
    int picture_height;      /* pixels */
    bool ruler;              /* centimetre marks at the picture's right edge */
} sl_controls;

typedef struct sl_wall {
    double skin_mm, fat_mm, muscle_mm; /* their sum is the pleural depth in the middle */
    int fascias;             /* bright layers in fat and muscle */
    double texture;          /* unevenness of its scatterers: 0 even .. 1 as in people */
    double conform;          /* 0: the pleura is flat; 1: it follows the probe's face */
    double tilt_deg;         /* of the pleura against the face */
    double bow_mm;           /* sag of the pleura over the picture's width, positive = deeper at the sides */
    double lost_left, lost_right; /* share of the beams without contact */
    double backscatter_db;   /* added to all media of the wall */
} sl_wall;

typedef struct sl_rib {
    double x_mm, depth_mm;   /* middle and top of the rib */
    double width_mm, height_mm;
    bool cartilage;
} sl_rib;

typedef struct sl_motion {
    double breaths_per_min;  /* 0 = apnoea */
    bool ventilated;         /* inspiration by pressure: short rise, passive fall */
    bool sniff;              /* short breaths in through the nose */
    double sliding_mm;       /* peak to peak, in the picture's plane */
    double sliding_lag;      /* share of a breath by which the lung comes after the chest */
    double through_mm;       /* peak to peak, through the plane */
    double pleura_rise_mm;   /* how much nearer the pleura comes in expiration */
    double rib_glide_mm;     /* how far ribs glide under the skin */
    double beats_per_min, pulse_mm; /* heartbeat transmitted to the lung, peak */
    double sway_mm;          /* unsteady hand: rms of the probe's sideways path */
} sl_motion;

typedef struct sl_trap {
    double x_mm, y_mm;       /* place on the visceral pleura; y through the plane */
    double strength_db;      /* of the ring-down at the pleura against a perfect mirror */
    double size_mm;          /* largest inner length: resonances at whole multiples of c / 2 size */
    double q;                /* quality: how long it rings */
} sl_trap;

typedef struct sl_lung {
    double haze_db;          /* sound scattered many times in the outer alveoli, against a perfect mirror */
    double haze_decay_db_cm; /* its decay before depth gain */
    double roughness;        /* 0 smooth pleura .. 1 ragged */
    double interstitial_per_cm;  /* sources of vertical artifacts per cm of pleura, by chance */
    double interstitial_spread;  /* 0 all alike .. 1 very unlike in strength and ring */
    double interstitial_from_mm, interstitial_to_mm; /* where along the pleura */
    double interstitial_db, interstitial_q;
    int traps;
    sl_trap trap[SL_MOST_TRAPS];
} sl_lung;

typedef struct sl_consolidation {
    double x_mm, width_mm, depth_mm;
    double shred;            /* raggedness of the deep border, 0 regular .. 1 */
    int bronchogram;         /* sl_bronchogram */
    double bronchogram_move_mm;
} sl_consolidation;

typedef struct sl_effusion {
    double depth_mm;         /* between the pleurae at mid breath; 0 = none */
    double swing_mm;         /* change with breathing, peak to peak */
    int kind;                /* sl_fluid_kind */
    bool solid_lung;         /* the lung behind it is collapsed, not aerated */
    double lung_mm;          /* thickness of that collapsed lung */
} sl_effusion;

typedef struct sl_pneumothorax {
    bool present;
    double edge_mm;          /* the lung touches the wall to the left of it, air lies to the right */
    double swing_mm;         /* how far the edge travels in a breath */
} sl_pneumothorax;

typedef struct sl_base {     /* the base of the chest */
    int organ;               /* sl_organ; none = not in the picture */
    double edge_mm;          /* where the lung ends along the wall, at mid breath */
    double swing_mm;         /* its travel in a breath; negative = paradoxical */
    double dome_mm, dome_width_mm; /* depth of the diaphragm below the wall and over what width it gets there */
    double spine_mm;         /* depth of the spine; 0 = none */
} sl_base;

typedef struct sl_diaphragm {  /* beyond what `base` says of it */
    double dome_mm;          /* looked at from below, through the organ: depth of the dome in the middle, measured from the
                                probe's face, at the end of expiration; 0 = not looked at from below */
    double excursion_mm;     /* its travel towards the probe in inspiration; negative = paradoxical */
    double radius_mm;        /* of the dome */
    double aside_mm;         /* how far the dome's middle lies to the right of the picture's */
    double thickness_mm;     /* where it lies on the wall (base): between pleura and peritoneum at the end of expiration; 0 = 1.6
                                and nothing seen between the two */
    double thickening;       /* by what share it is thicker at the end of inspiration */
} sl_diaphragm;

typedef struct sl_heart_beside {
    bool present;
    double edge_mm;          /* heart to the right of it */
    double depth_mm;         /* of the pericardium below the pleura */
} sl_heart_beside;

typedef struct sl_scenario {
    char name[64], title[160], note[400];
    int grade;               /* 1 plain .. 3 hard */
    double seed;             /* whole number 0 .. 2^53 */
    sl_probe probe;
    sl_controls controls;
    sl_wall wall;
    int ribs;
    sl_rib rib[SL_MOST_RIBS];
    sl_motion motion;
    sl_lung lung;
    int consolidations;
    sl_consolidation consolidation[SL_MOST_CONSOLIDATIONS];
    sl_effusion effusion;
    sl_pneumothorax pneumothorax;
    sl_base base;
    sl_diaphragm diaphragm;
    sl_heart_beside heart;
} sl_scenario;

/* A plain chest: convex probe, two ribs, aerated lung, quiet breathing. */
void sl_scenario_defaults(sl_scenario *scenario);
/* What a probe of this kind is set to when the scenario does not say. */
void sl_scenario_probe_defaults(sl_scenario *scenario, sl_probe_kind kind);

/* From JSON; fields that are absent keep the defaults of the stated probe. Errors name the field and what is allowed. */
sl_status sl_scenario_from_json(const json_t *json, const char *name, sl_scenario *scenario, sl_error *error);
sl_status sl_scenario_load(const char *path, sl_scenario *scenario, sl_error *error);
json_t *sl_scenario_to_json(const sl_scenario *scenario);
/* JSON Schema of the above, made from the same table. New reference. */
json_t *sl_scenario_schema(void);
/* What no single range can say: rib inside the probe, a depth that the frame rate forbids, ... */
sl_status sl_scenario_check(const sl_scenario *scenario, sl_error *error);
/* Sets one field by its path, "controls.depth_mm", from text; for `simulate --vary`. Does not check the whole. */
sl_status sl_scenario_set(sl_scenario *scenario, const char *path, const char *value, sl_error *error);

/* What the field at this path means, in a few words; "" when there is none. */
const char *sl_scenario_meaning(const char *path);

/* A chest by chance: the same seed gives the same chest. grade 1 (plain) to 3 (hard). */
void sl_scenario_random(uint64_t seed, int grade, sl_scenario *scenario);

/* Depth of the pleura in the middle of the picture at mid breath. */
double sl_scenario_pleura_mm(const sl_scenario *scenario);
/* The highest frame rate the speed of sound allows, Hz (physics: c / (2 depth lines), more with parallel lines). */
double sl_scenario_frame_rate_most_hz(const sl_scenario *scenario);

#endif
