#include "reading/ridge.h"

#include "core/units.h"

#include <stdlib.h>
#include <string.h>

enum { GROUP_BEAMS = SL_BEAMS / RIDGE_GROUPS };

static const char out_of_memory[] = "Memory ran out while a line was followed.";

static float mean_rows(const float *to, int first, int last)
{
    first = first < 0 ? 0 : first;
    last = last >= SL_DEPTHS ? SL_DEPTHS - 1 : last;
    return last >= first ? (to[last + 1] - to[first]) / (float)(last + 1 - first) : 0;
}

sl_status sl_ridges_score(const sl_stack *stack, int half, int away, sl_arena *arena, sl_ridges *ridges, sl_error *error)
{
    memset(ridges, 0, sizeof *ridges);
    ridges->frames = stack->frames;
    float *value = SL_NEW(arena, (size_t)stack->frames * RIDGE_GROUPS * SL_DEPTHS + 1, float);
    if (!value)
        return sl_fail(error, SL_MEMORY, out_of_memory);
    for (int g = 0; g < RIDGE_GROUPS; g++)
        for (int r = 0; r < SL_DEPTHS; r++) {
            bool in = true;
            for (int j = 0; j < GROUP_BEAMS; j++)
                in = in && stack->mask[r * SL_BEAMS + g * GROUP_BEAMS + j];
            ridges->inside[g][r] = in;
        }
    for (int t = 0; t < stack->frames; t++) {
        const uint8_t *cell = sl_stack_frame(stack, t);
        for (int g = 0; g < RIDGE_GROUPS; g++) {
            float to[SL_DEPTHS + 1];
            to[0] = 0;
            for (int r = 0; r < SL_DEPTHS; r++) {
                int sum = 0;
                for (int j = 0; j < GROUP_BEAMS; j++)
                    sum += cell[r * SL_BEAMS + g * GROUP_BEAMS + j];
                to[r + 1] = to[r] + (float)sum / GROUP_BEAMS;
            }
            float *out = value + ((size_t)t * RIDGE_GROUPS + (size_t)g) * SL_DEPTHS;
            for (int r = 0; r < SL_DEPTHS; r++) {
                if (!ridges->inside[g][r]) {
                    out[r] = -1;
                    continue;
                }
                float middle = mean_rows(to, r - half, r + half);
                float above = mean_rows(to, r - half - 2 * away, r - half - away), below = mean_rows(to, r + half + away, r + half + 2 * away);
                float over = middle - (above > below ? above : below);
                /* Beyond the line it is mostly darker than before it: that also tells it from a layer of the organ. */
                float step = mean_rows(to, r - half - RIDGE_SIDE, r - half - away) - mean_rows(to, r + half + away, r + half + RIDGE_SIDE);
                over += over > 0 && step > 0 ? RIDGE_STEP_SHARE * (step < over ? step : over) : 0;
                out[r] = over < 0 ? 0 : over < RIDGE_MOST ? over : RIDGE_MOST; /* one bright spot is no line */
            }
        }
    }
    ridges->value = value;
    return SL_OK;
}

static const float *at(const sl_ridges *ridges, int t, int g)
{
    return ridges->value + ((size_t)t * RIDGE_GROUPS + (size_t)g) * SL_DEPTHS;
}

static void add_shifted(const float *restrict score, int down, float *restrict sum)
{
    for (int r = down; r < SL_DEPTHS; r++)
        sum[r] += score[r - down];
}

/* The arc of best score through score[group][row], hollow towards the probe or straight; returns the sum. A beam that leaves the
 * rows looked at on the shallow side does not count. */
static float arc(const float (*score)[SL_DEPTHS], const sl_ridge_search *s, int *row)
{
    static const float bow[] = {0, 0.02f, 0.05f, 0.08f, 0.12f, 0.17f, 0.23f, 0.3f, 0.4f, 0.55f}; /* rows a group squared */
    float near[RIDGE_GROUPS][SL_DEPTHS], best = 0;
    for (int g = 0; g < RIDGE_GROUPS; g++)
        for (int r = 0; r < SL_DEPTHS; r++) {
            float v = score[g][r];
            v = r > 0 && score[g][r - 1] > v ? score[g][r - 1] : v;
            v = r < SL_DEPTHS - 1 && score[g][r + 1] > v ? score[g][r + 1] : v;
            near[g][r] = r < s->first_row || r > s->last_row || v < 0 ? 0 : v;
        }
    for (size_t k = 0; k < sizeof bow / sizeof *bow; k++)
        for (int middle = -2; middle < RIDGE_GROUPS + 2; middle++) {
            int rise[RIDGE_GROUPS], best_row = -1;
            float sum[SL_DEPTHS] = {0};
            for (int g = 0; g < RIDGE_GROUPS; g++) {
                rise[g] = (int)(bow[k] * (float)((g - middle) * (g - middle)) + 0.5f);
                add_shifted(near[g], rise[g], sum);
            }
            for (int r = s->first_row; r <= s->last_row; r += 2) /* `near` looks a row to either side */
                if (sum[r] > best) {
                    best = sum[r];
                    best_row = r;
                }
            for (int g = 0; best_row >= 0 && g < RIDGE_GROUPS; g++)
                row[g] = best_row - rise[g];
        }
    return best;
}

/* The course of best score within RIDGE_OFF rows of the arc. */
static void course(const float (*score)[SL_DEPTHS], const sl_ridge_search *s, int *row)
{
    enum { WIDE = 2 * RIDGE_OFF + 1 };
    float sum[RIDGE_GROUPS][WIDE] = {{0}};
    int8_t from[RIDGE_GROUPS][WIDE] = {{0}};
    for (int g = 0; g < RIDGE_GROUPS; g++)
        for (int k = 0; k < WIDE; k++) {
            float best = g ? -INFINITY : 0;
            for (int i = 0; g && i < WIDE; i++) {
                float v = sum[g - 1][i] - RIDGE_BEND * (float)abs(i - k);
                if (v > best) {
                    best = v;
                    from[g][k] = (int8_t)i;
                }
            }
            int r = row[g] + k - RIDGE_OFF;
            sum[g][k] = best + (r >= s->first_row && r <= s->last_row && score[g][r] > 0 ? score[g][r] : 0);
        }
    int k = 0;
    for (int i = 0; i < WIDE; i++)
        k = sum[RIDGE_GROUPS - 1][i] > sum[RIDGE_GROUPS - 1][k] ? i : k;
    for (int g = RIDGE_GROUPS - 1; g >= 0; g--) {
        int at_k = k;
        k = from[g][k];
        row[g] += at_k - RIDGE_OFF;
    }
}

typedef struct room {
    float *score;   /* [frames][2 reach + 1] */
    int16_t *from;
    float *sum[2];
} room;

/* The movement of best score, given the course and how much each group counts; with `about` only so near to that one. */
static void movement(const sl_ridges *ridges, const sl_ridge_search *s, const int *row, const float *weight, const int *about, room *m,
                     int *moved)
{
    int states = 2 * s->reach + 1;
    memset(m->score, 0, (size_t)ridges->frames * (size_t)states * sizeof *m->score);
    for (int t = 0; t < ridges->frames; t++) {
        float *score = m->score + (size_t)t * (size_t)states;
        for (int g = 0; g < RIDGE_GROUPS; g++) {
            if (!(weight[g] > 0))
                continue;
            const float *v = at(ridges, t, g);
            int low = s->first_row - row[g], high = s->last_row - row[g];
            low = low < -s->reach ? -s->reach : low;
            high = high > s->reach ? s->reach : high;
            if (about) {
                int band = RIDGE_LOCAL + abs(about[t]) / 2;
                low = low < about[t] - band ? about[t] - band : low;
                high = high > about[t] + band ? about[t] + band : high;
            }
            for (int k = low; k <= high; k++)
                score[k + s->reach] += weight[g] * v[row[g] + k];
        }
    }
    for (int t = 0; t < ridges->frames; t++) {
        const float *score = m->score + (size_t)t * (size_t)states, *before = m->sum[(t + 1) % 2];
        float *sum = m->sum[t % 2];
        int16_t *from = m->from + (size_t)t * (size_t)states;
        for (int k = 0; k < states; k++) {
            float best = t ? -INFINITY : 0;
            int by = k;
            int first = k - s->step < 0 ? 0 : k - s->step, last = k + s->step >= states ? states - 1 : k + s->step;
            for (int i = first; t && i <= last; i++) {
                float v = before[i] - RIDGE_STEP_COST * (float)(i < k ? k - i : i - k);
                if (v > best) {
                    best = v;
                    by = i;
                }
            }
            sum[k] = best + score[k];
            from[k] = (int16_t)by;
        }
    }
    const float *last = m->sum[(ridges->frames + 1) % 2];
    int k = 0;
    for (int i = 0; i < states; i++)
        if (last[i] > last[k])
            k = i;
    for (int t = ridges->frames - 1; t >= 0; t--) {
        moved[t] = k - s->reach;
        k = m->from[(size_t)t * (size_t)states + (size_t)k];
    }
}

/* Mean score of each group's rows in the frame's own place. */
static void carried_back(const sl_ridges *ridges, const sl_ridge_search *s, const int *moved, float (*mean)[SL_DEPTHS])
{
    memset(mean, 0, RIDGE_GROUPS * sizeof *mean);
    for (int t = 0; t < ridges->frames; t++)
        for (int g = 0; g < RIDGE_GROUPS; g++) {
            const float *v = at(ridges, t, g);
            int first = s->first_row - moved[t], last = s->last_row - moved[t];
            first = first < 0 ? 0 : first;
            last = last >= SL_DEPTHS ? SL_DEPTHS - 1 : last;
            for (int r = first; r <= last; r++)
                mean[g][r] += v[r + moved[t]];
        }
    for (int g = 0; g < RIDGE_GROUPS; g++)
        for (int r = 0; r < SL_DEPTHS; r++)
            mean[g][r] /= (float)ridges->frames;
}

/* The fraction of a row: centre of the scores about the line in the groups near the clearest. */
static double fine(const sl_ridges *ridges, const sl_ridge *ridge, const int *row, int t, int moved)
{
    double profile[2 * RIDGE_FINE + 1] = {0}, least = INFINITY, sum = 0, weights = 0;
    for (int g = ridge->best - RIDGE_NEAR_GROUPS; g <= ridge->best + RIDGE_NEAR_GROUPS; g++) {
        if (g < 0 || g >= RIDGE_GROUPS || !(ridge->strength[g] > 0) || !isfinite(ridge->row[g]))
            continue;
        const float *v = at(ridges, t, g);
        for (int k = -RIDGE_FINE; k <= RIDGE_FINE; k++) {
            int r = row[g] + moved + k;
            profile[k + RIDGE_FINE] += r >= 0 && r < SL_DEPTHS && v[r] > 0 ? (double)(ridge->strength[g] * v[r]) : 0;
        }
    }
    for (int k = 0; k <= 2 * RIDGE_FINE; k++)
        least = fmin(least, profile[k]);
    for (int k = -RIDGE_FINE; k <= RIDGE_FINE; k++) {
        double w = profile[k + RIDGE_FINE] - least;
        sum += w * w * k;
        weights += w * w;
    }
    return moved + (weights > 0 ? sum / weights : 0);
}

static void find_run(sl_ridge *ridge, const int *row, const float (*mean)[SL_DEPTHS])
{
    ridge->best = 0;
    for (int g = 0; g < RIDGE_GROUPS; g++)
        ridge->strength[g] = row[g] >= 0 && row[g] < SL_DEPTHS && mean[g][row[g]] > 0 ? mean[g][row[g]] : 0;
    float most = 0;
    for (int g = 0; g < RIDGE_GROUPS; g++) {
        float left = ridge->strength[g ? g - 1 : 0], right = ridge->strength[g < RIDGE_GROUPS - 1 ? g + 1 : g];
        float v = 0.25f * left + 0.5f * ridge->strength[g] + 0.25f * right;
        int a = g > 1 ? g - 2 : 0, b = g < RIDGE_GROUPS - 2 ? g + 2 : RIDGE_GROUPS - 1;
        float slope = (float)(row[b] - row[a]) / (float)(b - a) / RIDGE_LEAN;
        v *= expf(-0.5f * slope * slope); /* a beam that meets it straight shows its way whole */
        if (v > most) {
            most = v;
            ridge->best = g;
        }
    }
    float least = (float)DOME_STRONG * ridge->strength[ridge->best];
    int first = ridge->best, last = ridge->best;
    while (first > 0 && ridge->strength[first - 1] >= least)
        first--;
    while (last < RIDGE_GROUPS - 1 && ridge->strength[last + 1] >= least)
        last++;
    ridge->seen = last - first + 1;
    ridge->level = 0;
    for (int g = 0; g < RIDGE_GROUPS; g++) {
        ridge->row[g] = g >= first && g <= last ? (float)row[g] : NAN;
        if (g >= first && g <= last)
            ridge->level += (double)ridge->strength[g] / ridge->seen;
    }
}

sl_status sl_ridge_follow(const sl_ridges *ridges, const sl_ridge_search *search, sl_arena *arena, sl_ridge *ridge, sl_error *error)
{
    memset(ridge, 0, sizeof *ridge);
    ridge->best = -1;
    int n = ridges->frames, states = 2 * search->reach + 1;
    if (n < 1 || search->last_row <= search->first_row)
        return SL_OK;
    room m = {.score = SL_NEW(arena, (size_t)n * (size_t)states, float), .from = SL_NEW(arena, (size_t)n * (size_t)states, int16_t),
              .sum = {SL_NEW(arena, states, float), SL_NEW(arena, states, float)}};
    int *moved = SL_NEW(arena, n, int), *kept = SL_NEW(arena, n, int);
    float (*mean)[SL_DEPTHS] = (float (*)[SL_DEPTHS])sl_arena_alloc(arena, RIDGE_GROUPS, sizeof *mean);
    float (*best_mean)[SL_DEPTHS] = (float (*)[SL_DEPTHS])sl_arena_alloc(arena, RIDGE_GROUPS, sizeof *mean);
    ridge->moved = SL_NEW(arena, n, double);
    if (!m.score || !m.from || !m.sum[0] || !m.sum[1] || !moved || !kept || !mean || !best_mean || !ridge->moved)
        return sl_fail(error, SL_MEMORY, out_of_memory);
    int row[RIDGE_GROUPS], best_row[RIDGE_GROUPS];
    float best = 0;
    for (int start = 0; start < RIDGE_STARTS; start++) {
        int t0 = (int)((long)start * (n - 1) / (RIDGE_STARTS - 1)), round = 0;
        if (start && n < 2 * RIDGE_STARTS)
            break;
        for (int g = 0; g < RIDGE_GROUPS; g++)
            memcpy(mean[g], at(ridges, t0, g), sizeof mean[g]);
        float total = arc((const float (*)[SL_DEPTHS])mean, search, row);
        for (; round < RIDGE_ROUNDS; round++) {
            float weight[RIDGE_GROUPS];
            int deepest = 0;
            for (int g = 0; g < RIDGE_GROUPS; g++)
                deepest = row[g] > row[deepest] ? g : deepest;
            for (int g = 0; g < RIDGE_GROUPS; g++)
                weight[g] = row[g] >= search->first_row && row[deepest] - row[g] <= RIDGE_SAG ? 1.0f / RIDGE_GROUPS : 0;
            movement(ridges, search, row, weight, NULL, &m, moved);
            carried_back(ridges, search, moved, mean);
            total = arc((const float (*)[SL_DEPTHS])mean, search, row);
        }
        if (total > best) {
            best = total;
            memcpy(best_row, row, sizeof row);
            memcpy(kept, moved, (size_t)n * sizeof *kept);
            memcpy(best_mean, mean, RIDGE_GROUPS * sizeof *mean);
        }
    }
    if (!(best > 0))
        return SL_OK;
    course((const float (*)[SL_DEPTHS])best_mean, search, best_row);
    find_run(ridge, best_row, (const float (*)[SL_DEPTHS])best_mean);
    /* The movement once more from the groups near the clearest alone: a dome does not move alike along all beams. */
    float weight[RIDGE_GROUPS];
    for (int g = 0; g < RIDGE_GROUPS; g++) {
        bool near = abs(g - ridge->best) <= RIDGE_NEAR_GROUPS && isfinite(ridge->row[g]);
        weight[g] = near ? ridge->strength[g] / ridge->strength[ridge->best] / (2 * RIDGE_NEAR_GROUPS + 1) : 0;
    }
    memcpy(moved, kept, (size_t)n * sizeof *kept);
    movement(ridges, search, best_row, weight, moved, &m, kept);
    for (int t = 0; t < n; t++)
        ridge->moved[t] = fine(ridges, ridge, best_row, t, kept[t]);
    return SL_OK;
}
