/* What the audit needs of the pixels, measured while a clip is read: small sums a clip, nothing that grows with its
 * length. Two halves: the grey levels as the scanner gave them (taken before reading brings them to one map), and how
 * the probe was held (taken once the pleural line is known). What the numbers mean is decided in audit/.
 *
 * Bands are sixteenths of the imaged depth, the nearest first; grey is that of the straightened frames. */
#ifndef SL_READING_QUALITY_H
#define SL_READING_QUALITY_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/pleura.h"
#include "view/stack.h"

enum { SL_QUALITY_BANDS = 16 };

/* Grey levels and grain. NAN where not measured. */
typedef struct sl_grey_quality {
    double frames;                    /* looked at; 0 = nothing measured */
    double top;                       /* the ceiling: highest grey level that one cell in 2000 reaches */
    double mean[SL_QUALITY_BANDS];    /* grey of the band */
    double strong[SL_QUALITY_BANDS];  /* of its brighter beams: the 80th percentile over beams of their means */
    double black[SL_QUALITY_BANDS];   /* share of cells at the floor */
    double white[SL_QUALITY_BANDS];   /* share of cells at the ceiling */
    double grain_lower, grain_upper;  /* the speckle's spread in even places, grey levels: median over 25th percentile, 90th over
                                         median. Plain speckle in dB: 3.82 and 5.21 (quantiles of an exponential) */
    double grain_windows;             /* places that these two rest on */
    double lateral[SL_QUALITY_BANDS]; /* correlation of the grain two beams apart */
    double grain_rows[SL_QUALITY_BANDS];  /* width of the grain along the beam, rows of the straightened frame (grain.h) */
    double grain_beams[SL_QUALITY_BANDS]; /* across it, beams */
    /* Correlation of the change from frame to frame with the change one and two frames later, in the darkest band that
     * still shows noise: -0.5 and 0 for noise that comes anew with each frame; with persistence the second is negative. */
    double step_one, step_two;
} sl_grey_quality;

/* How the probe was held. Shares are of the beams that lie in the picture at the depth of the line. */
typedef struct sl_hold_quality {
    double frames;
    double found, clear;       /* sl_pleura */
    double space, rib;         /* shares: between ribs, behind a rib */
    double dark;               /* without contact: dark from the skin on; of it, how much at the picture's left and right end */
    double dark_first, dark_last;
    double widest;             /* share of the widest space */
    double central;            /* of the beams in the picture's middle third, the share that looks between ribs */
    double caps;               /* ribs with a cap in sight */
    double tilt_deg;           /* of the pleura against the beams' perpendicular: slope of a line fitted over all spaces */
    double tilt_widest_deg;    /* the same over the widest space alone */
    double tilt_rms;           /* of the pleural line about that fit, share of the imaged depth */
    double echo;               /* grey of the line over that of the wall above it, as a ratio */
    double wall_shift;         /* beams the wall wandered sideways in the clip, 5th to 95th percentile */
    double wall_kept;          /* how like its first frame the wall still looks after that shift, 0..1, median */
} sl_hold_quality;

typedef struct sl_quality {
    sl_grey_quality grey;
    sl_hold_quality hold;
} sl_quality;

/* Everything unknown. */
void sl_quality_clear(sl_quality *quality);

/* Measures a settled stack whose grey is still the scanner's own, and pools it into `into` (weighted by frames). Memory from
 * `scratch`, nothing stays. SL_MEMORY leaves `into` as it was. */
sl_status sl_quality_add_grey(const sl_stack *stack, sl_arena *scratch, sl_grey_quality *into, sl_error *error);
sl_status sl_quality_add_hold(const sl_stack *stack, const sl_pleura *pleura, sl_arena *scratch, sl_hold_quality *into,
                              sl_error *error);

#endif
