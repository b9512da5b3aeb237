#include "reading/behind_parts.h"

#include "core/units.h"

#include <stdlib.h>
#include <string.h>

/* Best course through how far each place stands out in the mean of the frames, over the groups: the spine stands still. */
bool sl_spine_find(const sl_stack *stack, const sl_looked *l, double row_mm, sl_arena *arena, sl_deep *d)
{
    typedef float plane[SL_DEPTHS];
    plane *score = (plane *)sl_arena_alloc(arena, GROUPS, sizeof *score), *shade = (plane *)sl_arena_alloc(arena, GROUPS, sizeof *shade);
    plane *best = (plane *)sl_arena_alloc(arena, GROUPS, sizeof *best);
    int8_t(*from)[SL_DEPTHS] = (int8_t(*)[SL_DEPTHS])sl_arena_alloc(arena, GROUPS, sizeof *from);
    double shallowest = row_mm > 0 ? SPINE_DEPTH_LEAST_MM / row_mm : SPINE_DEPTH_LEAST * SL_DEPTHS; /* deeper than a shallow picture ends */
    int first = (int)fmin(shallowest, SL_DEPTHS);
    memset(d, 0, sizeof *d);
    if (!score || !shade || !best || !from)
        return false;
    for (int g = 0; g < GROUPS; g++) {
        float mean[SL_DEPTHS] = {0}, sum[SL_DEPTHS + 1];
        for (int t = 0; t < l->frames; t++)
            for (int r = 0; r < SL_DEPTHS; r++)
                mean[r] += l->group[t][g][r] / (float)l->frames;
        sl_add_up(mean, sum);
        for (int r = first; r < SL_DEPTHS - SPINE_SHADE; r++) {
            if (!stack->mask[(r + SPINE_OFF) * SL_BEAMS + g * GROUP_BEAMS])
                continue;
            float before = sl_mean_of(sum, r - SPINE_OFF_LAST, r - SPINE_OFF), beyond = sl_mean_of(sum, r + SPINE_OFF, r + SPINE_OFF_LAST);
            float v = sl_mean_of(sum, r - SPINE_HALF, r + SPINE_HALF) - (before > beyond ? before : beyond);
            score[g][r] = v < 0 ? 0 : v > SPINE_LINE_MOST ? SPINE_LINE_MOST : v;
            shade[g][r] = before - sl_mean_of(sum, r + SPINE_SHADE, r + SPINE_SHADE_LAST);
        }
    }
    for (int g = 0; g < GROUPS; g++)
        for (int r = 0; r < SL_DEPTHS; r++) {
            best[g][r] = g ? -INFINITY : 0;
            for (int k = -SPINE_STEP; g && k <= SPINE_STEP; k++) {
                float v = r + k >= 0 && r + k < SL_DEPTHS ? best[g - 1][r + k] - SPINE_BEND * (float)abs(k) : -INFINITY;
                if (v > best[g][r]) {
                    best[g][r] = v;
                    from[g][r] = (int8_t)k;
                }
            }
            best[g][r] += score[g][r];
        }
    int at = 0;
    for (int r = 0; r < SL_DEPTHS; r++)
        at = best[GROUPS - 1][r] > best[GROUPS - 1][at] ? r : at;
    double n = 0, sum_score = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
    for (int g = GROUPS - 1; g >= 0; at += from[g][at], g--) {
        d->row[g] = at;
        d->score[g] = score[g][at];
        d->shade[g] = shade[g][at];
        if (d->score[g] < SPINE_LINE_LEAST)
            continue;
        n++;
        sum_score += (double)d->score[g];
        sx += g;
        sy += at;
        sxx += g * g;
        sxy += g * at;
        syy += at * at;
    }
    d->wide = n / GROUPS;
    if (n < 2)
        return true;
    double vx = sxx - sx * sx / n, vy = syy - sy * sy / n, cxy = sxy - sx * sy / n;
    d->clear = sum_score / n;
    d->bent = sqrt(fmax(vy - (vx > 0 ? cxy * cxy / vx : 0), 0) / n);
    return true;
}
