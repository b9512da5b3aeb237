/* The common kinds of probe (transducer), as general values of the trade (common practice, no source): no
 * maker's product. */
#ifndef SL_ACOUSTICS_TRANSDUCER_H
#define SL_ACOUSTICS_TRANSDUCER_H

typedef enum sl_transducer_kind {
    SL_TRANSDUCER_CONVEX,
    SL_TRANSDUCER_MICROCONVEX,
    SL_TRANSDUCER_LINEAR,
    SL_TRANSDUCER_PHASED,
    SL_TRANSDUCERS
} sl_transducer_kind;

typedef struct sl_transducer {
    sl_transducer_kind kind;
    const char *name; /* "convex" */
    double freq_low_mhz, freq_high_mhz;
    double radius_mm;    /* of curvature of the face; 0 = flat */
    double footprint_mm; /* length of the face along the array (its arc when curved) */
    int elements;
    double pitch_mm;                      /* footprint / elements */
    double elevation_mm;                  /* height of the elements */
    double elevation_focus_mm;            /* of the lens */
    double sector_rad;                    /* opening of a steered sector; 0 when the face sets it */
    double depth_least_mm, depth_most_mm; /* of the picture, as usually offered */
    int beams;                            /* usual number */
    double f_number_least;                /* usual lower limit of transmit focusing */
    double cycles;                        /* of the transmitted pulse, usual */
    double angles;                        /* usual number of compounding angles when switched on */
} sl_transducer;

/* The row of a kind, NULL when out of range. Static. */
const sl_transducer *sl_transducer_get(sl_transducer_kind kind);
/* By name, or -1. */
int sl_transducer_find(const char *name);

/* Opening of the picture: footprint / radius for a curved face, the sector for a steered one, 0 for a flat
 * one. */
double sl_transducer_opening_rad(const sl_transducer *probe);

/* Width of the field at `depth_mm`, along the arc (curved, steered) or straight. */
double sl_transducer_field_mm(const sl_transducer *probe, double depth_mm);

/* Angle from an element's normal at which its own directivity sinc(pi p sin / lambda) has fallen by 6 dB one
 * way; pi/2 when it never does. */
double sl_transducer_acceptance_rad(const sl_transducer *probe, double freq_mhz, double speed_m_s);

/* Widest aperture (straight across, mm) that can focus straight ahead at `depth_mm`: the least of the
 * footprint, the F-number limit depth / f_number_least, and what the elements can see: on a curved face an
 * element at arc angle phi sees the point under phi + asin(R sin(psi) / (R + z)) = psi, psi its acceptance.
 */
double sl_transducer_aperture_most_mm(const sl_transducer *probe, double freq_mhz, double depth_mm,
                                      double speed_m_s);

#endif
