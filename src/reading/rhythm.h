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

/* x less its slow part: the mean over `seconds` centred on each time. */
void sl_rhythm_quick(const double *time_s, const double *x, int n, double seconds, double *quick);

#endif
