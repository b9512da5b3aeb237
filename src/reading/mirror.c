#include "reading/behind_parts.h"

#include "core/units.h"

#include <stdlib.h>

/* Correlation of what lies beyond the line with what lies before it turned over, the image shifted by `off` rows. */
static double turned(const sl_looked *l, const sl_ridge *ridge, int least, int off, double *count)
{
    double ab = 0, aa = 0, bb = 0;
    int cells = 0;
    for (int t = 0; t < l->frames; t++)
        for (int g = 0; g < GROUPS; g++) {
            int line = sl_line_at(ridge, t, g);
            if (line < 0)
                continue;
            for (int k = MIRROR_FIRST; k <= MIRROR_LAST; k++) {
                int up = line - k, down = line + k + off;
                if (up < least || up >= SL_DEPTHS || down <= line + 2 || down >= SL_DEPTHS)
                    continue;
                const float *x = l->grain[t] + up * SL_BEAMS + g * GROUP_BEAMS, *y = l->grain[t] + down * SL_BEAMS + g * GROUP_BEAMS;
                for (int j = 0; j < GROUP_BEAMS; j++) {
                    ab += (double)(x[j] * y[j]);
                    aa += (double)(x[j] * x[j]);
                    bb += (double)(y[j] * y[j]);
                }
                cells += GROUP_BEAMS;
            }
        }
    *count = cells;
    return cells > 400 && aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : SL_UNKNOWN;
}

void sl_mirror_measure(const sl_looked *l, const sl_ridge *ridge, int least, sl_behind *b)
{
    double sum = 0, square = 0, n = 0, cells = 0;
    b->image = b->chance = b->image_sd = SL_UNKNOWN;
    for (int off = -MIRROR_ELSE_LAST; off <= MIRROR_ELSE_LAST; off++) {
        double v = turned(l, ridge, least, off, &cells);
        if (!off)
            b->image_cells = cells / l->frames;
        if (!sl_known(v))
            continue;
        if (abs(off) <= MIRROR_OFF)
            b->image = !sl_known(b->image) || v > b->image ? v : b->image;
        if (abs(off) < MIRROR_ELSE_FIRST)
            continue;
        b->chance = !sl_known(b->chance) || v > b->chance ? v : b->chance;
        sum += v;
        square += v * v;
        n++;
    }
    if (n > 4 && sl_known(b->image))
        b->image_sd = (b->image - sum / n) / (sqrt(fmax(square / n - sum * sum / (n * n), 0)) + 0.01);
}
