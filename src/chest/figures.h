/* The numbers that a control changes, for the picture made with it: what `simulate --vary` prints under each. */
#ifndef SL_CHEST_FIGURES_H
#define SL_CHEST_FIGURES_H

#include "chest/chest.h"

typedef struct sl_figure {
    const char *name, *unit;
    int decimals;
    double value; /* NAN: does not apply */
} sl_figure;

enum { SL_FIGURES = 11 };

/* Fills `figure` for frame `index`. */
void sl_chest_figures(sl_chest *chest, int index, sl_figure figure[SL_FIGURES]);

#endif
