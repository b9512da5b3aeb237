#include "agree/cusum.h"

#include <stdlib.h>

int sl_cusum(double p0, double p1, double h, const int *success, int n, double *s)
{
    double at = 0, good = log((1 - p1) / (1 - p0)), bad = log(p1 / p0);
    int alarm = 0;
    for (int i = 0; i < n; i++) {
        at = fmax(0, at + (success[i] ? good : bad));
        s[i] = at;
        if (!alarm && at > h)
            alarm = i + 1;
    }
    return alarm;
}

sl_two_limits sl_two_limits_for(double p0, double p1, double alpha, double beta)
{
    sl_two_limits r = {log(p1 / p0), log((1 - p0) / (1 - p1)), 0, 0, 0};
    r.s = r.q / (r.p + r.q);
    r.upper = log((1 - beta) / alpha) / (r.p + r.q);
    r.lower = log((1 - alpha) / beta) / (r.p + r.q);
    return r;
}

void sl_two_limit_chart(const sl_two_limits *limits, const int *success, int n, double *s)
{
    double at = 0;
    for (int i = 0; i < n; i++) {
        at += success[i] ? -limits->s : 1 - limits->s;
        s[i] = at;
    }
}

static double gain(const sl_lc_plan *plan)
{
    return log((1 - plan->p1) / (1 - plan->p0));
}

static double loss(const sl_lc_plan *plan)
{
    return -log(plan->p1 / plan->p0);
}

static bool sensible(const sl_lc_plan *plan)
{
    return plan->p1 > 0 && plan->p1 < plan->p0 && plan->p0 < 1 && plan->h > 0;
}

/* S is written as start + successes * gain - failures * loss since the last reset, never as a running sum, so that
 * the chart and the exact distribution agree to the last bit on which side of h a state lies. */
static double state_value(const sl_lc_plan *plan, double start, int successes, int failures)
{
    return start + successes * gain(plan) - failures * loss(plan);
}

int sl_lc_cusum(const sl_lc_plan *plan, const int *success, int n, double *s)
{
    int successes = 0, failures = 0, signal = 0;
    for (int i = 0; i < n; i++) {
        if (success[i])
            successes++;
        else
            failures++;
        double at = state_value(plan, 0, successes, failures);
        if (at <= 0) {
            at = 0;
            successes = failures = 0;
        }
        if (s)
            s[i] = at;
        if (!signal && at > plan->h)
            signal = i + 1;
    }
    return signal;
}

/* One attempt: mass in `from` (successes x failures since the last reset, `wide` columns) goes to `to`. What passes h
 * is returned; what falls to 0 is collected in *reset. */
static double one_attempt(const sl_lc_plan *plan, double rate, double start, int done, int wide, const double *from,
                          double *to, double *reset)
{
    double signalled = 0;
    for (int f = 0; f <= done; f++)
        for (int s = 0; s + f <= done; s++) {
            double mass = from[f * wide + s];
            if (mass == 0)
                continue;
            if (state_value(plan, start, s + 1, f) > plan->h)
                signalled += mass * (1 - rate);
            else
                to[f * wide + s + 1] += mass * (1 - rate);
            if (state_value(plan, start, s, f + 1) <= 0)
                *reset += mass * rate;
            else
                to[(f + 1) * wide + s] += mass * rate;
        }
    return signalled;
}

/* Fills chance[i] with the probability of a signal within i + 1 attempts; stops early once it passes `enough`.
 * Returns the attempts done, 0 on bad arguments or without memory. Two families of states: those that still come from
 * `start`, and those since a reset to 0. */
static int propagate(const sl_lc_plan *plan, double rate, double start, int n, double enough, double *chance)
{
    int wide = n + 2;
    size_t room = (size_t)wide * (size_t)wide;
    if (!sensible(plan) || n < 1 || n > 2000 || !(rate >= 0 && rate <= 1) || !(start >= 0))
        return 0;
    double *memory = calloc(4 * room, sizeof *memory);
    if (!memory)
        return 0;
    double *first = memory, *first_next = memory + room, *later = memory + 2 * room, *later_next = memory + 3 * room;
    double signalled = 0;
    first[0] = 1;
    int done = 0;
    while (done < n) {
        double reset = 0;
        for (size_t i = 0; i < (size_t)(done + 2) * (size_t)wide; i++)
            first_next[i] = later_next[i] = 0;
        signalled += one_attempt(plan, rate, start, done, wide, first, first_next, &reset);
        signalled += one_attempt(plan, rate, 0, done, wide, later, later_next, &reset);
        later_next[0] += reset;
        double *swap = first;
        first = first_next;
        first_next = swap;
        swap = later;
        later = later_next;
        later_next = swap;
        chance[done++] = signalled;
        if (signalled >= enough)
            break;
    }
    free(memory);
    return done;
}

double sl_lc_signal_probability(const sl_lc_plan *plan, double rate, double start, int n)
{
    double *chance = n > 0 ? malloc(sizeof *chance * (size_t)n) : NULL;
    int done = chance ? propagate(plan, rate, start, n, 2, chance) : 0;
    double result = done ? chance[done - 1] : SL_UNKNOWN;
    free(chance);
    return result;
}

double sl_lc_limit(double p0, double p1, int n, double most)
{
    for (int step = 1; step <= 400; step++) {
        sl_lc_plan plan = {p0, p1, step * 0.05, n};
        double false_discovery = sl_lc_signal_probability(&plan, p0, 0, n);
        if (!sl_known(false_discovery))
            return SL_UNKNOWN;
        if (false_discovery <= most)
            return plan.h;
    }
    return SL_UNKNOWN;
}

int sl_lc_fewest(const sl_lc_plan *plan, double start)
{
    int more = 0;
    while (sensible(plan) && more < 100000 && !(state_value(plan, start, more, 0) > plan->h))
        more++;
    return sensible(plan) && more < 100000 ? more : -1;
}

int sl_lc_median(const sl_lc_plan *plan, double rate, double start, int most)
{
    double *chance = most > 0 ? malloc(sizeof *chance * (size_t)most) : NULL;
    int done = chance ? propagate(plan, rate, start, most, 0.5, chance) : 0;
    int result = done && chance[done - 1] >= 0.5 ? done : -1;
    free(chance);
    return result;
}
