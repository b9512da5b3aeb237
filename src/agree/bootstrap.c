#include "agree/bootstrap.h"

#include "core/quantile.h"
#include "core/pool.h"

#include <stdlib.h>
#include <string.h>

/* SplitMix64 (Steele, Lea & Flood, OOPSLA 2014, doi 10.1145/2660193.2660195): a stream is one number, which lets every
 * draw have its own. */
static uint64_t next(uint64_t *state)
{
    uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

/* 0 .. n-1 without bias. */
static int below(uint64_t *state, int n)
{
    uint64_t range = (uint64_t)n, limit = UINT64_MAX - UINT64_MAX % range;
    uint64_t z = next(state);
    while (z >= limit)
        z = next(state);
    return (int)(z % range);
}

void sl_bootstrap_draw(uint64_t seed, int draw, int groups, int *times)
{
    uint64_t state = seed;
    state = next(&state) + (uint64_t)draw * UINT64_C(0xd1342543de82ef95);
    memset(times, 0, sizeof *times * (size_t)groups);
    for (int i = 0; i < groups; i++)
        times[below(&state, groups)]++;
}

void sl_shuffled(uint64_t seed, int n, int *order)
{
    uint64_t state = seed;
    state = next(&state);
    for (int i = 0; i < n; i++)
        order[i] = i;
    for (int i = n - 1; i > 0; i--) {
        int j = below(&state, i + 1), kept = order[i];
        order[i] = order[j];
        order[j] = kept;
    }
}

typedef struct job {
    const int *group;
    int groups, cases, statistics;
    sl_resampled statistic;
    const void *context;
    uint64_t seed;
    int *times, *weight; /* one row a worker */
    double *value;       /* one row a draw */
} job;

static void one_draw(void *context, int draw, int worker)
{
    job *j = context;
    int *times = j->times + (size_t)worker * (size_t)j->groups, *weight = j->weight + (size_t)worker * (size_t)j->cases;
    sl_bootstrap_draw(j->seed, draw, j->groups, times);
    for (int i = 0; i < j->cases; i++)
        weight[i] = times[j->group[i]];
    j->statistic(j->context, weight, j->value + (size_t)draw * (size_t)j->statistics);
}

static void leave_out(sl_spread *spread, int statistics, const char *why)
{
    for (int s = 0; s < statistics; s++)
        spread[s] = (sl_spread){SL_UNKNOWN, SL_UNKNOWN, 0, why};
}

sl_status sl_bootstrap(const int *group, int groups, int cases, int statistics, sl_resampled statistic,
                       const void *context, const sl_resampling *how, sl_spread *spread, sl_error *error)
{
    if (groups < 2 || cases < 1 || how->draws < 1) {
        leave_out(spread, statistics, how->draws < 1 ? "resampling was not asked for" : "fewer than two persons");
        return SL_OK;
    }
    int workers = how->workers < 1 ? sl_cores() : how->workers;
    job j = {group, groups, cases, statistics, statistic, context, how->seed, NULL, NULL, NULL};
    j.times = calloc((size_t)workers * (size_t)groups, sizeof *j.times);
    j.weight = calloc((size_t)workers * (size_t)cases, sizeof *j.weight);
    j.value = calloc((size_t)how->draws * (size_t)statistics, sizeof *j.value);
    double *column = calloc((size_t)how->draws, sizeof *column);
    sl_status status = SL_OK;
    if (!j.times || !j.weight || !j.value || !column) {
        leave_out(spread, statistics, "memory ran out");
        status = sl_fail(error, SL_MEMORY, "Memory ran out while resampling %d persons.", groups);
    } else {
        sl_pool_run(workers, how->draws, one_draw, &j);
        for (int s = 0; s < statistics; s++) {
            int known = 0;
            for (int d = 0; d < how->draws; d++) {
                double value = j.value[(size_t)d * (size_t)statistics + (size_t)s];
                if (sl_known(value))
                    column[known++] = value;
            }
            spread[s] = (sl_spread){SL_UNKNOWN, SL_UNKNOWN, how->draws - known, NULL};
            if (known * 10 < how->draws * 9) {
                spread[s].why = "not defined in over a tenth of the draws";
                continue;
            }
            sl_sort_known(column, known);
            if (column[0] == column[known - 1]) { /* e.g. a share of 100 %: no spread is not certainty */
                spread[s].why = "the same in every draw";
                continue;
            }
            spread[s].low = sl_quantile_sorted(column, known, 0.5 - SL_LEVEL / 2);
            spread[s].high = sl_quantile_sorted(column, known, 0.5 + SL_LEVEL / 2);
        }
    }
    free(j.times);
    free(j.weight);
    free(j.value);
    free(column);
    return status;
}
