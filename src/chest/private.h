/* What the parts of the simulator share. One column = one fine line of the calculation; a displayed beam is every
 * `over`-th column. Depth samples lie half a wavelength apart (two a wavelength). Amplitudes are against a perfect
 * mirror at normal incidence, 1 = 0 dB; a speckle field has a mean square of 1. */
#ifndef SL_CHEST_PRIVATE_H
#define SL_CHEST_PRIVATE_H

#include "acoustics/media.h"
#include "chest/chest.h"
#include "chest/scenario.h"

#include <math.h>

enum {
    SL_TILE_COLUMNS = 256,      /* tile of complex noise, repeats */
    SL_TILE_ROWS = 2048,
    SL_TILE_STRIDE = SL_TILE_ROWS + 264 + 8,
    SL_NOISE_KNOTS = 1024,      /* smooth noise: knots of the repeat, and table steps a knot */
    SL_NOISE_STEPS = 16,
    SL_MOST_SEGMENTS = 48,
    SL_MOST_ECHOES = 96,
    SL_MOST_SITES = 600,        /* sources of vertical artifacts in all */
    SL_MOST_LAYERS = 32,
    SL_MOST_LAMELLAE = 28,
    SL_MOST_BUBBLES = 64,
    SL_CLUTTER_BLOCK = 24,      /* columns summed for the clutter */
    SL_MOST_KERNEL = 40,        /* half width of the lateral kernel, columns */
    SL_AXIAL_HALF = 4,
    SL_COLUMN_BLOCK = 8
};

/* Where everything is at one moment. */
typedef struct sl_pose {
    double time_s;
    double breath;       /* 0 end of expiration .. 1 end of inspiration */
    double lung_breath;  /* the same of the lung, which may come later */
    double sway_mm;      /* tissue against probe, sideways */
    double lung_mm;      /* lung against probe, sideways: sway, sliding, heartbeat */
    double through_mm;   /* lung through the plane */
    double pleura_mm;    /* added to the pleural depth */
    double rib_mm;       /* ribs against probe */
    double beat;         /* 0..1 */
} sl_pose;

void sl_pose_at(const sl_scenario *scenario, double time_s, sl_pose *pose);

/* A line's way through the chest. Depths in samples (fractional). */
typedef struct sl_segment {
    float from, to;
    sl_medium_id tissue;
    uint32_t field;      /* which part of the noise tile */
    float shift_columns, shift_rows;
    float gain;          /* on the scatterers' amplitude; 0 = none */
    float decay;         /* of the scatterers along the segment, Np a sample */
    float loss;          /* of all sound on entering, Np there and back */
    bool backwards;      /* a mirror image: the tile is read upwards */
} sl_segment;

typedef struct sl_echo {
    float at;
    float re, im;        /* before attenuation */
} sl_echo;

typedef struct sl_ray {
    int segments, echoes;
    sl_segment segment[SL_MOST_SEGMENTS];
    sl_echo echo[SL_MOST_ECHOES];
    bool contact;
    float mirror_at;     /* of the strongest reflector that sends sound straight back; < 0 = none */
    float mirror_re, mirror_im;
    float mirror_tilt;   /* directivity factor of one reflection there, 0..1 */
    float ring_at;       /* where vertical artifacts start (visceral pleura); < 0 = none here */
    float ring_gain;     /* share of the sound that gets there other than attenuation */
    double lung_x;       /* coordinate of the lung at ring_at, mm */
} sl_ray;

/* What a column leaves for the vertical artifacts, which are added a beam at a time. */
typedef struct sl_ring {
    float at, heard;         /* at < 0: none here */
    double lung_x;
} sl_ring;

/* A source of a vertical artifact. */
typedef struct sl_site {
    double x_mm, y_mm, strength, spread_mm; /* strength: amplitude at the pleura */
    double heard;        /* of that, what the pulse's band excites */
    double decay_np;     /* of its mean ring, Np a sample, for truth */
    float *re[3], *im[3]; /* ring-down from its start, [samples], of three ways across: even, odd, even again */
} sl_site;

typedef struct sl_wall_layer { /* a bright layer in the wall */
    double depth_mm, wave_mm, undulation_mm, amplitude, patch_mm;
    uint64_t key;
} sl_wall_layer;

typedef struct sl_lamella { /* a sheet of the wall */
    double end_mm, undulation_mm, wave_mm, gain, spread_db;
    sl_medium_id tissue;
    uint64_t key;
} sl_lamella;

typedef struct sl_bubble { float x_mm, z_mm, amplitude; } sl_bubble;
/* Half the width of a bronchus that holds fluid, and the spread of one's air along the picture: segmental bronchi are some 3 mm wide
 * (from memory); bubbles lie up to so far from the middle of consolidated lung, the width of a picture. */
#define SL_BRONCHUS_MM 1.5
#define SL_AIR_MM 0.9
#define SL_BRONCHI_MM 50.0

struct sl_chest {
    const sl_scenario *scenario;
    sl_arena arena;
    /* geometry */
    bool polar;
    double face_mm;          /* radius of the face; 0 for linear */
    double pleura_mm;        /* nominal depth */
    double column_mm;        /* column pitch along the pleura's arc */
    double column_rad;       /* polar: angle between columns */
    int beams, over, columns;
    int samples;
    double sample_mm;
    double receive_mhz;      /* twice the transmitted one with harmonics */
    double spectrum_mhz;     /* sd of the amplitude spectrum, two-way */
    sl_view view;
    double alpha[SL_MEDIA];   /* attenuation there and back, Np a sample and MHz, around the working frequency */
    double scatter[SL_MEDIA]; /* speckle's amplitude */
    sl_probe beam_probe;     /* what the widths were worked out for: the scenario may be gone or changed since */
    double beam_focus_mm;
    /* along depth, [samples] */
    float *sigma_mm;         /* lateral two-way amplitude width (sd) */
    float *weight[SL_MOST_KERNEL + 1];
    int *half_of_chunk;
    float *coherent;         /* 1 / sum of weights: makes an extended reflector keep its amplitude */
    float *point;            /* 1 / middle weight: makes a point keep its amplitude */
    float *transmit_sd_mm;   /* width of the transmitted beam, one way */
    float *depth_gain;       /* automatic and manual depth gain, focus, harmonic build-up */
    float axial_tap[SL_AXIAL_HALF + 1];
    double noise;            /* amplitude of the receiver's noise before depth gain */
    uint8_t grey[1024];      /* from level to grey: black at the dynamic range below white, white at 0 dB */
    /* chance */
    float *tile_re, *tile_im;
    float *noise_table;
    uint64_t seed;
    /* the chest */
    int layers;
    sl_wall_layer layer[SL_MOST_LAYERS];
    int lamellae;
    sl_lamella lamella[SL_MOST_LAMELLAE];
    int sites;
    sl_site *site;
    sl_bubble bubble[SL_MOST_CONSOLIDATIONS][SL_MOST_BUBBLES]; /* bronchi in consolidated lung */
    int ring_samples;
    /* a frame at work */
    int workers;
    float *raw_re, *raw_im;  /* [column][samples] */
    sl_ring *ring;           /* [column] where vertical artifacts start */
    float *clutter_re, *clutter_im; /* [block of columns][samples] */
    float *look;             /* [beam][samples], dB, of one steering angle */
    float *level;            /* [beam][samples], dB */
    uint8_t *detected;       /* [beam][samples] */
    struct sl_bench **bench; /* a worker's working room */
    uint8_t *picture;
    uint8_t *rgb;            /* colour flow; NULL until asked for */
    struct sl_scan *scan;
    float *kept[8];          /* persistence: levels of the last frames, by index */
    int kept_index[8];
};

/* Geometry. */
static inline double sl_spread(const sl_chest *chest, double depth_mm)
{
    return chest->polar ? (chest->face_mm + depth_mm) / (chest->face_mm + chest->pleura_mm) : 1;
}

static inline double sl_column_x(const sl_chest *chest, double column)
{
    return (column - 0.5 * (chest->columns - 1)) * chest->column_mm;
}

/* dB of an amplitude; the floor keeps silence finite. */
static inline double sl_level_db(double amplitude)
{
    return 20 * log10(fmax(amplitude, 1e-12));
}

/* Smooth noise from the table: sd about 0.75, changes over 1. */
double sl_chest_noise(const sl_chest *chest, uint64_t key, double x);
/* Depth of the parietal pleura along a beam at x (pleural arc), and its slope against the beam's normal. */
double sl_chest_pleura(const sl_chest *chest, const sl_pose *pose, double x_mm);
double sl_chest_pleura_slope(const sl_chest *chest, const sl_pose *pose, double x_mm);
/* Directivity of a smooth reflector tilted by `slope` at this depth: how much of its echo the beam takes back. */
double sl_chest_directivity(const sl_chest *chest, double depth_mm, double slope);
/* The rib over this place: its top and bottom depth, or false. */
bool sl_chest_rib(const sl_chest *chest, const sl_pose *pose, int rib, double x_mm, double *top, double *bottom);
/* How much of the beam's cone at x the ribs cut off, 0..1. */
double sl_chest_rib_block(const sl_chest *chest, const sl_pose *pose, double x_mm);
/* Thickness of the line that an aerated lung's surface makes. */
double sl_chest_band_mm(const sl_chest *chest);
/* Thickness of the fluid at x. */
double sl_chest_fluid(const sl_chest *chest, const sl_pose *pose, double x_mm);
/* Depth of consolidated lung below the visceral pleura at lung coordinate s; 0 = aerated. `which` is its index. */
double sl_chest_solid(const sl_chest *chest, double s_mm, int *which);
/* x of the end of the lung along the wall, of the pneumothorax's edge. */
double sl_chest_base_edge(const sl_chest *chest, const sl_pose *pose);
double sl_chest_air_edge(const sl_chest *chest, const sl_pose *pose);
/* Thickness of the diaphragm where it lies on the wall; 0 where none is stated. Depth of its dome along the beam at x, looked
 * at from below; NAN where the beam misses it or it is not looked at from there. */
double sl_chest_diaphragm_mm(const sl_chest *chest, const sl_pose *pose);
double sl_chest_dome(const sl_chest *chest, const sl_pose *pose, double x_mm);
/* At the base, looked at through the ribs: depth of the dome along the beam at x, NAN where lung lies behind the wall; and what
 * lies on the dome's far side: lung with air mirrors the organ, fluid and solid lung let sound through. */
double sl_chest_base_dome(const sl_chest *chest, const sl_pose *pose, double x_mm, double pleura_mm);
typedef enum sl_behind_dome { SL_BEHIND_LUNG, SL_BEHIND_FLUID, SL_BEHIND_SOLID } sl_behind_dome;
sl_behind_dome sl_chest_behind_dome(const sl_chest *chest);

/* Share of a ring's amplitude that the receiver, focused at `depth_mm`, keeps of a source at `at_mm`. */
double sl_chest_ring_focus(const sl_chest *chest, double at_mm, double depth_mm);
double sl_chest_ring_sd_mm(const sl_chest *chest, const sl_site *site, double at_mm);

/* -6 dB widths of the amplitude: there and back, and of the transmitted beam alone. */
void sl_chest_beam_widths(const sl_chest *chest, double depth_mm, double *two_way_mm, double *transmit_mm);

/* Solid tissue between two depths whose scatterers differ a little from place to place; x is the tissue's own. */
void sl_ray_tissue(sl_ray *ray, const sl_chest *chest, double from_mm, double to_mm, sl_medium_id tissue, uint32_t field,
                   double shift_mm, double shift_depth_mm, double gain, double own_x);

/* parts */
sl_status sl_chest_beam_tables(sl_chest *chest, const sl_chest *like, sl_error *error);
sl_status sl_chest_sites(sl_chest *chest, sl_error *error);
void sl_chest_ray(const sl_chest *chest, const sl_pose *pose, double column, double steer_rad, sl_ray *ray);
void sl_ray_segment(sl_ray *ray, const sl_chest *chest, double from_mm, double to_mm, sl_medium_id tissue, uint32_t field,
                    double shift_mm, double shift_depth_mm, double gain);
void sl_ray_echo(sl_ray *ray, const sl_chest *chest, double at_mm, double re, double im);
/* What lies behind the pleura along this beam. */
void sl_chest_ray_behind(const sl_chest *chest, const sl_pose *pose, double x_mm, double steer_rad, double pleura_mm,
                         sl_ray *ray);
/* One moment's levels in dB, [beam][samples], as received at all steering angles; frame seeds the noise. */
void sl_chest_levels(sl_chest *chest, const sl_pose *pose, int frame, float *level);
/* One beam at one moment, without the others (no clutter): complex line and level, each of [samples] or NULL. */
void sl_chest_one_line(sl_chest *chest, const sl_pose *pose, int beam, int frame, float *re, float *im, float *level);
/* From the filled columns to levels, for one steering angle. */
void sl_chest_detect(sl_chest *chest, const sl_pose *pose, int frame, int look, float *level);
/* Complex line of one beam (after all filters, before detection); for colour flow and tests. */
void sl_chest_fill(const sl_chest *chest, const sl_pose *pose, double column, double steer_rad, int look,
                   struct sl_bench *bench, float *re, float *im, sl_ring *ring);
/* Share of amplitude left there and back at the lung's surface along this column; 0 = no lung surface there. `at_mm` is
 * its depth. The second also gives the amplitude of the mirror's first repeat. */
double sl_chest_heard(const sl_chest *chest, const sl_pose *pose, double column, struct sl_bench *bench, double *at_mm);
double sl_chest_heard_repeat(const sl_chest *chest, const sl_pose *pose, double column, struct sl_bench *bench, double *at_mm,
                             double *repeat);
/* The same share at any depth along the column, whatever lies there. */
double sl_chest_heard_to(const sl_chest *chest, const sl_pose *pose, double column, struct sl_bench *bench, double depth_mm);
sl_status sl_bench_new(sl_chest *chest, struct sl_bench **bench, sl_error *error);
sl_status sl_scan_new(sl_chest *chest, struct sl_scan **scan, sl_error *error);
void sl_scan_convert(const sl_chest *chest, const struct sl_scan *scan, const uint8_t *detected, uint8_t *picture);

#endif
