#include "reading/diaphragm.h"

#include "core/units.h"
#include "reading/motion_table.h"
#include "reading/ridge.h"

#include <string.h>

enum { ROW_HALF = 2, ROW_AWAY = 4, GROUP_BEAMS = SL_BEAMS / RIDGE_GROUPS, PAIRS_MOST = 48 };

/* Rows in which a dome may lie: below the wall, and so far from the far edge that what is beyond it can be seen. */
static sl_ridge_search where(const sl_stack *stack, double row_mm, double frame_s)
{
    sl_ridge_search s = {.first_row = (int)((sl_known(row_mm) ? DOME_DEPTH_LEAST_SCALED : DOME_DEPTH_LEAST) * SL_DEPTHS), .last_row = SL_DEPTHS - 6,
                         .reach = (int)(DOME_REACH_SHARE * SL_DEPTHS), .step = 6};
    if (sl_known(row_mm) && row_mm > 0) {
        int least = (int)(DOME_BELOW_MM / row_mm);
        s.first_row = least > s.first_row ? least : s.first_row;
        s.step = (int)ceil(DOME_SPEED_MM_S / row_mm * (sl_known(frame_s) ? frame_s : MOTION_FRAME_S));
        s.step = s.step < 2 ? 2 : s.step > 40 ? 40 : s.step;
    }
    (void)stack;
    return s;
}

/* How far the line stands out of the scores around it: mean along its path over their standard deviation in single frames,
 * averaged as many as the groups it is seen in. */
static double clearness(const sl_ridges *ridges, const sl_ridge *ridge)
{
    double sum = 0, square = 0, n = 0;
    int step = ridges->frames > 40 ? ridges->frames / 40 : 1;
    for (int t = 0; t < ridges->frames; t += step)
        for (int g = 0; g < RIDGE_GROUPS; g++) {
            if (!isfinite(ridge->row[g]))
                continue;
            const float *v = ridges->value + ((size_t)t * RIDGE_GROUPS + (size_t)g) * SL_DEPTHS;
            int middle = (int)(ridge->row[g] + ridge->moved[t]);
            for (int k = 10; k <= 30; k++)
                for (int side = -1; side <= 1; side += 2) {
                    int r = middle + side * k;
                    if (r < 0 || r >= SL_DEPTHS || v[r] < 0)
                        continue;
                    sum += (double)v[r];
                    square += (double)v[r] * (double)v[r];
                    n++;
                }
        }
    if (n < 10)
        return 0;
    double mean = sum / n, sd = sqrt(fmax(square / n - mean * mean, 0)) + 1;
    return (ridge->level - mean) / sd;
}

/* Cells freed of what changes slowly with depth. */
static float grain(const uint8_t *cell, int r, int j)
{
    const uint8_t *at = cell + r * SL_BEAMS + j;
    return (float)at[0] - 0.5f * ((float)at[-4 * SL_BEAMS] + (float)at[4 * SL_BEAMS]);
}

static double alike(const sl_stack *stack, const sl_ridge *ridge, int t, int u, int shift, int least)
{
    const uint8_t *a = sl_stack_frame(stack, t), *b = sl_stack_frame(stack, u);
    double ab = 0, aa = 0, bb = 0;
    for (int g = 0; g < RIDGE_GROUPS; g++) {
        if (!isfinite(ridge->row[g]))
            continue;
        int line = (int)lrint((double)ridge->row[g] + ridge->moved[t]);
        for (int r = line - DOME_ABOVE_LAST; r <= line - DOME_ABOVE_FIRST; r++) {
            if (r < least || r + shift < least || r + shift + 4 >= SL_DEPTHS || r + 4 >= SL_DEPTHS)
                continue;
            for (int j = g * GROUP_BEAMS; j < (g + 1) * GROUP_BEAMS; j++) {
                double x = (double)grain(a, r, j), y = (double)grain(b, r + shift, j);
                ab += x * y;
                aa += x * x;
                bb += y * y;
            }
        }
    }
    return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

/* Share of the cells before the line that show anything: fluid before a lung's surface is dark. */
static double lit_before(const sl_stack *stack, const sl_ridge *ridge, int least)
{
    int lit = 0, all = 0, step = 1 + stack->frames / 20;
    for (int t = 0; t < stack->frames; t += step)
        for (int g = 0; g < RIDGE_GROUPS; g++) {
            if (!isfinite(ridge->row[g]))
                continue;
            int line = (int)lrint((double)ridge->row[g] + ridge->moved[t]);
            for (int r = line - DOME_NEAR_LAST; r <= line - DOME_ABOVE_FIRST; r++)
                for (int j = g * GROUP_BEAMS; r >= least && r < SL_DEPTHS && j < (g + 1) * GROUP_BEAMS; j++, all++)
                    lit += sl_stack_frame(stack, t)[r * SL_BEAMS + j] >= DOME_LIT;
        }
    return all ? (double)lit / all : 0;
}

/* Pairs of frames between which the line moved a little: the tissue before it must have gone the same way. */
static double goes_along(const sl_stack *stack, const sl_ridge *ridge, int least)
{
    double sum = 0;
    int pairs = 0, n = stack->frames, step = 1 + n / PAIRS_MOST;
    for (int t = 0; t < n && pairs < PAIRS_MOST; t += step)
        for (int u = t + 1; u < n; u++) {
            double way = ridge->moved[u] - ridge->moved[t];
            if (sl_known(stack->time_s[u]) && stack->time_s[u] - stack->time_s[t] > MOTION_LAG_MOST_S)
                break;
            if (fabs(way) < DOME_MOVED_LEAST)
                continue;
            if (fabs(way) > DOME_MOVED_MOST)
                break;
            sum += alike(stack, ridge, t, u, (int)lrint(way), least) - alike(stack, ridge, t, u, 0, least);
            pairs++;
            break;
        }
    return pairs >= 3 ? sum / pairs : SL_UNKNOWN;
}

static void keep_line(const sl_stack *stack, const sl_ridge *ridge, sl_dome *dome)
{
    int near = 0, far = 0;
    for (int t = 0; t < stack->frames; t++) {
        near = ridge->moved[t] < ridge->moved[near] ? t : near;
        far = ridge->moved[t] > ridge->moved[far] ? t : far;
    }
    double row = (double)ridge->row[ridge->best];
    dome->beam = (ridge->best + 0.5) / RIDGE_GROUPS;
    dome->near_depth = (row + ridge->moved[near] + 0.5) / SL_DEPTHS;
    dome->far_depth = (row + ridge->moved[far] + 0.5) / SL_DEPTHS;
    dome->near_source = stack->source[near];
    dome->far_source = stack->source[far];
    for (int g = 0; g < RIDGE_GROUPS; g++)
        if (isfinite(ridge->row[g])) {
            dome->point_beam[dome->points] = (g + 0.5) / RIDGE_GROUPS;
            dome->point_depth[dome->points++] = ((double)ridge->row[g] + ridge->moved[far] + 0.5) / SL_DEPTHS;
        }
}

static double index_of(const sl_dome *dome, double range_mm)
{
    double together = sl_known(dome->together) ? dome->together : 0;
    double z = DOME_INTERCEPT + DOME_W_CLEAR * fmin(dome->clear, 6) + DOME_W_WIDE * dome->wide + DOME_W_TOGETHER * together +
               DOME_W_RHYTHM * fmax(dome->rhythm.explained, 0) + DOME_W_RANGE * log(fmin(fmax(range_mm, 0.5), 20));
    return 1 / (1 + exp(-z));
}

bool sl_dome_breaths(const double *time_s, const double *path, int n, double row_mm, sl_arena *arena, sl_breaths *breaths)
{
    double *towards = SL_NEW(arena, n + 1, double);
    if (!towards)
        return false;
    for (int t = 0; t < n; t++)
        towards[t] = -path[t] * SL_DEPTHS;
    return sl_breaths_find(time_s, towards, n, sl_known(row_mm) ? DOME_STILL_MM / row_mm / 2 : 2, arena, breaths);
}

sl_status sl_dome_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_dome *dome, sl_error *error)
{
    memset(dome, 0, sizeof *dome);
    dome->reason = "";
    dome->index = dome->together = SL_UNKNOWN;
    int n = stack->frames;
    double depth_mm = sl_view_depth_mm(stack->view);
    dome->row_mm = sl_known(depth_mm) ? depth_mm / SL_DEPTHS : SL_UNKNOWN;
    dome->times_known = stack->times_known;
    dome->frame_s = stack->times_known ? stack->frame_s : SL_UNKNOWN;
    if (n < MOTION_FRAMES_LEAST) {
        dome->reason = "too few frames to see anything move";
        return SL_OK;
    }
    dome->seconds = stack->times_known ? stack->time_s[n - 1] - stack->time_s[0] : SL_UNKNOWN;
    dome->first_source = stack->source[0];
    dome->last_source = stack->source[n - 1];
    sl_ridges ridges;
    sl_ridge ridge;
    sl_ridge_search s = where(stack, dome->row_mm, dome->frame_s);
    sl_status status = sl_ridges_score(stack, ROW_HALF, ROW_AWAY, arena, &ridges, error);
    if (status == SL_OK)
        status = sl_ridge_follow(&ridges, &s, arena, &ridge, error);
    if (status != SL_OK)
        return status;
    dome->frames = n;
    dome->index = 0;
    if (ridge.best < 0)
        return SL_OK;
    double *towards = SL_NEW(arena, n, double), *time_s = SL_NEW(arena, n, double), *path = SL_NEW(arena, n, double);
    if (!towards || !time_s || !path)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the diaphragm was followed.");
    for (int t = 0; t < n; t++) {
        towards[t] = -ridge.moved[t];
        path[t] = ((double)ridge.row[ridge.best] + ridge.moved[t] + 0.5) / SL_DEPTHS;
        time_s[t] = stack->times_known ? stack->time_s[t] : t * MOTION_FRAME_S;
    }
    dome->path = path;
    if (!sl_dome_breaths(time_s, path, n, dome->row_mm, arena, &dome->breaths) ||
        !sl_rhythm_find(time_s, towards, n, BREATH_HZ_LEAST, BREATH_HZ_MOST, BREATH_FUNDAMENTAL, arena, &dome->rhythm, NULL))
        return sl_fail(error, SL_MEMORY, "Memory ran out while the diaphragm was followed.");
    for (int b = 0; b < dome->breaths.count; b++) {
        sl_breath *it = &dome->breaths.breath[b];
        it->from_source = stack->source[it->from];
        it->to_source = stack->source[it->to];
    }
    dome->clear = clearness(&ridges, &ridge);
    dome->wide = (double)ridge.seen / RIDGE_GROUPS;
    int wall = pleura->seen && sl_known(pleura->depth) ? (int)(pleura->depth * SL_DEPTHS) + 4 : s.first_row / 2;
    int from = wall < s.first_row ? wall : s.first_row;
    dome->together = goes_along(stack, &ridge, from);
    dome->lit = lit_before(stack, &ridge, from);
    if (dome->lit < DOME_LIT_SHARE)
        dome->together = 0;
    dome->index = index_of(dome, dome->breaths.range * (sl_known(dome->row_mm) ? dome->row_mm : 0.6));
    keep_line(stack, &ridge, dome);
    return SL_OK;
}

void sl_dome_merge(sl_dome *into, const sl_dome *from)
{
    if (!(into->frames > 0) || (from->frames > 0 && from->index > into->index))
        *into = *from;
}
