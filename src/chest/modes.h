/* Other ways to look at the same chest: one beam over time, flow in colour, and the lines as received. */
#ifndef SL_CHEST_MODES_H
#define SL_CHEST_MODES_H

#include "chest/chest.h"

/* One beam (0..1 from the picture's left) over the clip's time, `rate_hz` lines a second, shown as the scanner's controls
 * say: a picture of one column a line and `height` rows from the near edge to the imaged depth. Owned by `arena`. */
sl_status sl_chest_trace(sl_chest *chest, double beam, double rate_hz, int height, sl_arena *arena, sl_gray *trace,
                         sl_error *error);

/* What colour flow needs. Movement towards the probe is drawn in one colour, away in another; where there is none the
 * grey picture stays. By autocorrelation of a few pulses a line (Kasai et al., IEEE Trans Sonics Ultrason 1985;32:458,
 * doi 10.1109/T-SU.1985.31615) after the mean is taken away. */
typedef struct sl_flow_controls {
    double pulse_hz;            /* pulse repetition within a line's ensemble; limits velocity to c f_p / (4 f) */
    int pulses;                 /* 4 .. 16 */
    double first_beam, last_beam, first_depth, last_depth; /* the box, 0..1 */
    double threshold_db;        /* moving power that is drawn, against a perfect mirror, after depth gain */
} sl_flow_controls;

void sl_flow_defaults(const sl_chest *chest, sl_flow_controls *controls);
double sl_flow_velocity_most_mm_s(const sl_chest *chest, const sl_flow_controls *controls);
/* Frame as packed RGB (3 bytes a pixel, the size of sl_chest_view), owned by the chest until the next call. */
sl_status sl_chest_flow(sl_chest *chest, const sl_flow_controls *controls, int index, const uint8_t **rgb, sl_error *error);
/* Mean axial velocity in the box's moving part, mm/s, positive towards the probe; NAN when nothing moves. For tests. */
double sl_chest_flow_mean_mm_s(sl_chest *chest, const sl_flow_controls *controls, int index);

/* The detected levels of a frame, dB against a perfect mirror after depth gain: [beam][sample], owned by the chest until
 * the next call; sizes and the distance of samples are given. */
const float *sl_chest_lines(sl_chest *chest, int index, int *beams, int *samples, double *sample_mm);

#endif
