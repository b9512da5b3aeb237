/* The few physical numbers that the answers on lines rest on, pooled over a clip. NAN where not measured. */
#ifndef SL_READING_SIGNS_H
#define SL_READING_SIGNS_H

typedef struct sl_signs {
    double flicker;    /* sl_flicker_index */
    double coherence;  /* A-lines: agreement of neighbouring beams (a_lines.h) */
    double repetition; /* A-lines: autocorrelation of the profile (a_lines.h) */
    double decay;      /* sl_decay_ratio */
    double sway;       /* beams a pair of frames 0.12 s apart is shifted by, mean of the absolute values */
} sl_signs;

/* ln with the small offsets the rules were fitted with; NAN stays NAN. */
double sl_ln_flicker(double flicker);
double sl_flicker_of_ln(double ln); /* the other way */
double sl_ln_decay(double decay);

#endif
