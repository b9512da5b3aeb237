/* One grey map for all clips: see sl_stack_level_grey in stack.h. */
#include "view/stack.h"
#include "view/view_table.h"

#include <math.h>

/* Grey level that `share` of the cells do not exceed, between whole levels. */
static double level_below(const double count[256], double total, double share)
{
    double below = 0;
    int v = 0;
    while (v < 255 && below + count[v] < share * total)
        below += count[v++];
    double within = count[v] > 0 ? (share * total - below) / count[v] : 0;
    return v + within - 0.5;
}

double sl_stack_level_grey(sl_stack *stack)
{
    static const double share[] = SL_GREY_SHARES;
    enum { SHARES = sizeof share / sizeof *share, STEP = 7 };
    double count[256] = {0}, total = 0, mean_log = 0;
    for (int i = 0; i < stack->frames; i++) {
        const uint8_t *cell = sl_stack_frame(stack, i);
        for (int c = i % STEP; c < SL_CELLS; c += STEP)
            if (stack->mask[c]) {
                count[cell[c]]++;
                total++;
            }
    }
    if (total < 1)
        return 1;
    for (int i = 0; i < SHARES; i++)
        mean_log += log(fmax(level_below(count, total, share[i]), 1) / 255) / SHARES;
    double gamma = SL_GREY_MEAN_LOG / mean_log;
    gamma = gamma > SL_GREY_LEAST_GAMMA ? fmin(gamma, SL_GREY_MOST_GAMMA) : SL_GREY_LEAST_GAMMA;
    uint8_t map[256];
    for (int v = 0; v < 256; v++)
        map[v] = (uint8_t)lrint(255 * pow(v / 255.0, gamma));
    for (size_t c = 0; c < (size_t)stack->frames * SL_CELLS; c++)
        stack->cell[c] = map[stack->cell[c]];
    return gamma;
}
