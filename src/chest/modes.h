/* Other ways to look at the same chest: one beam over time, flow in colour, and the lines as received. */
#ifndef SL_CHEST_MODES_H
#define SL_CHEST_MODES_H

#include "chest/chest.h"

/* One beam (0..1 from the picture's left) over the clip's time, `rate_hz` lines a second, shown as the scanner's controls
 * say: a picture of one column a line and `height` rows from the near edge to the imaged depth. Owned by `arena`. */
sl_status sl_chest_trace(sl_chest *chest, double beam, double rate_hz, int height, sl_arena *arena, sl_gray *trace,
                         sl_error *error);

/* What colour flow needs. Movement towards the probe is drawn red, away blue (common practice, no source), or the other way round,
 * as the bar in the strip to the right of the picture says; where there is none the grey picture stays. Tissue by autocorrelation of a few pulses a line (Kasai et al., IEEE Trans Sonics Ultrason 1985;32:458,
 * doi 10.1109/T-SU.1985.31615) after the mean is taken away; fluid and vessels
 * by the velocity put in (flow_field.h), with the same limit, over which it turns over. */
enum { SL_FLOW_STRIP = 76 }; /* pixels */
typedef struct sl_flow_controls {
    double pulse_hz;            /* pulse repetition within a line's ensemble; limits velocity to c f_p / (4 f) */
    int pulses;                 /* 4 .. 16 */
    double first_beam, last_beam, first_depth, last_depth; /* the box, 0..1 */
    double threshold_db;        /* moving power that is drawn, against a perfect mirror, after depth gain */
    double fluid_mm_s;          /* fastest movement of the fluid between the pleurae; 0 = it stands still */
    int vessels;                /* in lung without air: 0, 1, 2, each parting into two */
    double vessel_mm, vessel_mm_s, vessel_pulse; /* width; speed at its middle; share of it that comes and goes with the heart */
    bool vessel_away;           /* a vein: from the surface to the deep */
    bool blue_toward;           /* the bar turned over */
} sl_flow_controls;

void sl_flow_defaults(const sl_chest *chest, sl_flow_controls *controls);
double sl_flow_velocity_most_mm_s(const sl_chest *chest, const sl_flow_controls *controls);
/* Frame as packed RGB (3 bytes a pixel; as high as sl_chest_view, wider by the strip), owned by the chest until the next call. */
sl_status sl_chest_flow(sl_chest *chest, const sl_flow_controls *controls, int index, const uint8_t **rgb, sl_error *error);
/* True share of the box, in beam coordinates, in which fluid or vessels flow towards the probe and away, as shown (turned over where too
 * fast), mean over the clip; and the share of what flows that is faster than can be shown. */
typedef struct sl_flow_truth {
    double fluid, vessel, toward, away, turned_over;
} sl_flow_truth;
void sl_chest_flow_truth(const sl_chest *chest, const sl_flow_controls *controls, sl_flow_truth *truth);
/* Mean axial velocity in the box's moving part, mm/s, positive towards the probe; NAN when nothing moves. For tests. */
double sl_chest_flow_mean_mm_s(sl_chest *chest, const sl_flow_controls *controls, int index);

/* The detected levels of a frame, dB against a perfect mirror after depth gain: [beam][sample], owned by the chest until
 * the next call; sizes and the distance of samples are given. */
const float *sl_chest_lines(sl_chest *chest, int index, int *beams, int *samples, double *sample_mm);

#endif
