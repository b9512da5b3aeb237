/* Rhythms in a path over time: one or two periodic parts of a few harmonics each on top of a straight line, by least
 * squares; for breathing and the heartbeat in short clips, where a spectrum has too few bins. Times may be uneven. */
#ifndef SL_READING_RHYTHM_H
#define SL_READING_RHYTHM_H

#include "core/arena.h"

#include <stdbool.h>

enum { SL_HARMONICS = 3 };

typedef struct sl_rhythm {
    double hz, hz_low, hz_high; /* 95 % interval; NAN when nothing periodic was found */
    double explained;           /* 0..1 of the variance about the straight line */
    double swing;               /* peak to peak of the periodic part */
    double cycles;              /* in the time looked at */
} sl_rhythm;

/* The best rhythm between the two frequencies. Of rates that fit about equally well the fastest is taken, since a rhythm
 * also fits at half its rate; and the first harmonic must hold at least `fundamental` of the periodic power, since an
 * overtone also fits. `periodic` (n values or NULL) receives the periodic part. False when memory is out. */
bool sl_rhythm_find(const double *time_s, const double *x, int n, double hz_least, double hz_most, double fundamental,
                    sl_arena *arena, sl_rhythm *rhythm, double *periodic);

typedef struct sl_repeat {
    double likeness; /* -1..1, the highest; -1 where the clip is too short */
    double hz;       /* one over that lag */
    double cycles;   /* in the time looked at */
    double swing;    /* peak to peak of the path without its straight line */
} sl_repeat;

/* How well a path goes to and fro as a breath does: the mean of its correlation with itself a lag later and of the share that one sine of
 * that lag explains (smoothed over RHYTHM_SMOOTH_S, its straight line taken out), the highest over lags from 1 / hz_most on of which the clip holds RHYTHM_REPEAT_CYCLES; not of lags that are two or three
 * shorter ones, as two heartbeats are. What drifts by chance, as a hand does, can be fitted by a few harmonics but seldom does this. `scratch` has room for 2 n. */
sl_repeat sl_rhythm_repeats(const double *time_s, const double *x, int n, double hz_most, double *scratch);

typedef struct sl_phase {
    double degrees;  /* -180..180: the first harmonic of x comes this much later than the other's; 360 is a cycle */
    double error;    /* its standard error from what neither rhythm explains */
    double explained, other_explained; /* 0..1 of the variance about straight lines, at that rate */
    double swing, other_swing;         /* peak to peak of the first harmonics */
} sl_phase;

/* Both at the rate `hz`, a few harmonics on a straight line each. */
sl_phase sl_rhythm_phase(const double *time_s, const double *x, const double *other, int n, double hz);

/* x less its slow part: the mean over `seconds` centred on each time. */
void sl_rhythm_quick(const double *time_s, const double *x, int n, double seconds, double *quick);

#endif
