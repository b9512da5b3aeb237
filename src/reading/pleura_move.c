#include "reading/pleura_move.h"

#include "core/order.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BEAMS = SL_BEAMS };

/* The interval is that of the middle of so many beams, of which neighbours within a beam's width are not independent, at least half a
 * cell each way. */
static void set_depth(const float *counted, sl_pleura *pleura)
{
    enum { NEIGHBOURS = 4 };
    double row[BEAMS];
    int n = 0;
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(counted[j]))
            row[n++] = (double)counted[j];
    if (!n)
        return;
    qsort(row, (size_t)n, sizeof *row, sl_by_double);
    double middle = row[(int)(0.5 * (n - 1) + 0.5)],
           spread = 0.7413 * (row[(int)(0.75 * (n - 1) + 0.5)] - row[(int)(0.25 * (n - 1) + 0.5)]),
           half = fmax(0.5, 1.96 * 1.2533 * spread / sqrt(fmax(1, (double)n / NEIGHBOURS)));
    pleura->depth = (middle + 0.5) / SL_DEPTHS;
    pleura->depth_low = fmax(0, middle + 0.5 - half) / SL_DEPTHS;
    pleura->depth_high = (middle + 0.5 + half) / SL_DEPTHS;
}

bool sl_pleura_move(const float *line, const float *counted, double found, sl_arena *arena, sl_pleura *pleura)
{
    float *row = SL_NEW(arena, pleura->blocks * BEAMS + 1, float);
    if (!row)
        return false;
    memcpy(pleura->line, line, sizeof pleura->line);
    for (int b = 0; b < pleura->blocks; b++)
        memcpy(row + b * BEAMS, pleura->line, sizeof pleura->line);
    pleura->row = row;
    if (!pleura->out_of_view) { /* what looks like fluid or solid lung there is as little below a pleura */
        pleura->seen = true;
        pleura->found = fmax(pleura->found, found);
        pleura->right = fmax(pleura->right, found);
    }
    set_depth(counted, pleura);
    return true;
}
