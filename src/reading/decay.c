#include "reading/decay.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/lines_table.h"

#include <math.h>
#include <stdlib.h>

/* Mean grey of rows first..last-1 of a beam that lie in the picture; NAN when none does. */
static double mean_of(const float *mean, const uint8_t *mask, int beam, int first, int last, int *cells)
{
    double sum = 0;
    *cells = 0;
    for (int row = first; row < last; row++)
        if (mask[row * SL_BEAMS + beam]) {
            sum += (double)mean[row * SL_BEAMS + beam];
            ++*cells;
        }
    return *cells ? sum / *cells : SL_UNKNOWN;
}

/* Grey of the darkest beams in the far half. */
double sl_decay_floor(const sl_stack *stack, const float *mean)
{
    double grey[SL_BEAMS];
    int beams = 0, cells;
    for (int j = 0; j < SL_BEAMS; j++) {
        double far = mean_of(mean, stack->mask, j, DECAY_FLOOR_FIRST, DECAY_LAST, &cells);
        if (2 * cells > DECAY_LAST - DECAY_FLOOR_FIRST)
            grey[beams++] = far;
    }
    return beams ? sl_quantile(grey, beams, DECAY_FLOOR_SHARE) : 0;
}

double sl_decay_ratio(const sl_stack *stack, const sl_pleura *pleura)
{
    const float *mean = pleura->mean;
    double ratio[SL_BEAMS], dark = mean ? sl_decay_floor(stack, mean) : 0;
    int beams = 0, cells;
    for (int j = 0; mean && j < SL_BEAMS; j++) {
        if (pleura->beams.kind[j] != SL_BEAM_SPACE || !isfinite(pleura->line[j]))
            continue;
        int first = (int)pleura->line[j] + DECAY_BELOW, length = DECAY_LAST - first;
        if (length < DECAY_ROWS_LEAST)
            continue;
        double near = mean_of(mean, stack->mask, j, first, first + length / 4, &cells) - dark;
        double far = mean_of(mean, stack->mask, j, first + length * 5 / 8, DECAY_LAST, &cells) - dark;
        if (sl_known(near) && sl_known(far))
            ratio[beams++] = ((far > 0 ? far : 0) + 1) / ((near > 0 ? near : 0) + 3);
    }
    return sl_quantile(ratio, beams, 0.5);
}
