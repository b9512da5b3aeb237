#include "agree/roc.h"

#include <stdlib.h>
#include <string.h>

typedef struct keyed {
    double value;
    int at;
} keyed;

static int by_value(const void *a, const void *b)
{
    const keyed *x = a, *y = b;
    if (x->value != y->value)
        return x->value < y->value ? -1 : 1;
    return (x->at > y->at) - (x->at < y->at);
}

void sl_roc_order(const double *index, int n, int *order)
{
    keyed *sorted = malloc(sizeof *sorted * (size_t)(n > 0 ? n : 1));
    for (int i = 0; i < n; i++) {
        if (sorted)
            sorted[i] = (keyed){index[i], i};
        order[i] = i;
    }
    if (!sorted)
        return;
    qsort(sorted, (size_t)n, sizeof *sorted, by_value);
    for (int i = 0; i < n; i++)
        order[i] = sorted[i].at;
    free(sorted);
}

double sl_roc_weighted_area(const double *index, const int *truth, const int *order, const int *weight, int n)
{
    double no_below = 0, won = 0, yes_all = 0;
    for (int i = 0; i < n;) {
        double yes = 0, no = 0;
        int j = i;
        for (; j < n && index[order[j]] == index[order[i]]; j++) {
            double w = weight ? weight[order[j]] : 1;
            if (truth[order[j]])
                yes += w;
            else
                no += w;
        }
        won += yes * (no_below + 0.5 * no);
        no_below += no;
        yes_all += yes;
        i = j;
    }
    return yes_all > 0 && no_below > 0 ? won / (yes_all * no_below) : SL_UNKNOWN;
}

/* Structural components: for a true case the share of the others below it, for an other case the share of the true
 * ones above it, ties half (V10 and V01 of the paper), in O(n log n). */
static bool components(const double *index, const int *truth, int n, int yes_all, int no_all, sl_arena *arena,
                       double *component)
{
    int *order = SL_NEW(arena, n, int);
    if (!order)
        return false;
    sl_roc_order(index, n, order);
    double yes_below = 0, no_below = 0;
    for (int i = 0; i < n;) {
        double yes = 0, no = 0;
        int j = i;
        for (; j < n && index[order[j]] == index[order[i]]; j++) {
            yes += truth[order[j]] != 0;
            no += truth[order[j]] == 0;
        }
        for (; i < j; i++)
            component[order[i]] = truth[order[i]] ? (no_below + 0.5 * no) / no_all
                                                  : (yes_all - yes_below - 0.5 * yes) / yes_all;
        yes_below += yes;
        no_below += no;
    }
    return true;
}

/* Sample covariance of two rows of components within one class. */
static double class_covariance(const double *a, const double *b, const int *truth, int wanted, int n, int count)
{
    double ma = 0, mb = 0, sum = 0;
    for (int i = 0; i < n; i++)
        if ((truth[i] != 0) == wanted) {
            ma += a[i];
            mb += b[i];
        }
    ma /= count;
    mb /= count;
    for (int i = 0; i < n; i++)
        if ((truth[i] != 0) == wanted)
            sum += (a[i] - ma) * (b[i] - mb);
    return sum / (count - 1);
}

static double class_mean(const double *a, const int *truth, int n, int count)
{
    double sum = 0;
    for (int i = 0; i < n; i++)
        if (truth[i])
            sum += a[i];
    return sum / count;
}

static sl_estimate with_se(double value, double variance, double floor_low, double cap_high, const char *flat)
{
    sl_estimate e = sl_point(value);
    if (!(variance > 0)) {
        e.why = flat;
        return e;
    }
    double z = sl_level_z();
    e.se = sqrt(variance);
    e.low = fmax(floor_low, value - z * e.se);
    e.high = fmin(cap_high, value + z * e.se);
    return e;
}

static const char one_class[] = "only one class among the labels";
static const char too_few[] = "no interval: fewer than two cases in a class";
static const char apart[] = "no interval: the classes are fully apart or fully tied";
static const char no_memory[] = "memory ran out";

static void count_classes(const int *truth, int n, int *yes, int *no)
{
    *yes = 0;
    for (int i = 0; i < n; i++)
        *yes += truth[i] != 0;
    *no = n - *yes;
}

static bool curve(const double *index, const int *truth, int n, int yes, int no, sl_arena *arena, sl_roc *roc)
{
    int *order = SL_NEW(arena, n, int);
    roc->threshold = SL_NEW(arena, n + 1, double);
    roc->false_positive = SL_NEW(arena, n + 1, double);
    roc->true_positive = SL_NEW(arena, n + 1, double);
    if (!order || !roc->threshold || !roc->false_positive || !roc->true_positive)
        return false;
    sl_roc_order(index, n, order);
    int count = 1;
    double tp = 0, fp = 0;
    roc->threshold[0] = INFINITY;
    for (int i = n - 1; i >= 0;) {
        double at = index[order[i]];
        for (; i >= 0 && index[order[i]] == at; i--) {
            tp += truth[order[i]] != 0;
            fp += truth[order[i]] == 0;
        }
        roc->threshold[count] = at;
        roc->true_positive[count] = tp / yes;
        roc->false_positive[count++] = fp / no;
    }
    roc->points = count;
    return true;
}

sl_estimate sl_roc_area(const double *index, const int *truth, int n, sl_arena *arena, sl_roc *roc)
{
    if (roc)
        memset(roc, 0, sizeof *roc);
    int yes, no;
    count_classes(truth, n, &yes, &no);
    if (!yes || !no)
        return sl_undefined(n ? one_class : "no case with an index and a label");
    double *component = SL_NEW(arena, n, double);
    if (!component || !components(index, truth, n, yes, no, arena, component) ||
        (roc && !curve(index, truth, n, yes, no, arena, roc)))
        return sl_undefined(no_memory);
    double area = class_mean(component, truth, n, yes);
    if (yes < 2 || no < 2) {
        sl_estimate e = sl_point(area);
        e.why = too_few;
        return e;
    }
    double variance = class_covariance(component, component, truth, 1, n, yes) / yes +
                      class_covariance(component, component, truth, 0, n, no) / no;
    return with_se(area, variance, 0, 1, apart);
}

double sl_hanley_mcneil_se(double area, int yes, int no)
{
    if (yes < 1 || no < 1)
        return SL_UNKNOWN;
    double q1 = area / (2 - area), q2 = 2 * area * area / (1 + area), square = area * area;
    return sqrt((area * (1 - area) + (yes - 1) * (q1 - square) + (no - 1) * (q2 - square)) / ((double)yes * no));
}

sl_roc_pair sl_roc_compare(const double *first, const double *second, const int *truth, int n, sl_arena *arena)
{
    sl_roc_pair pair = {sl_roc_area(first, truth, n, arena, NULL), sl_roc_area(second, truth, n, arena, NULL),
                        sl_undefined(one_class), SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN};
    int yes, no;
    count_classes(truth, n, &yes, &no);
    if (!yes || !no)
        return pair;
    double difference = pair.first.value - pair.second.value;
    pair.difference = sl_point(difference);
    pair.difference.why = too_few;
    double *a = SL_NEW(arena, n, double), *b = SL_NEW(arena, n, double);
    if (yes < 2 || no < 2 || !a || !b || !components(first, truth, n, yes, no, arena, a) ||
        !components(second, truth, n, yes, no, arena, b))
        return pair;
    double va = class_covariance(a, a, truth, 1, n, yes) / yes + class_covariance(a, a, truth, 0, n, no) / no;
    double vb = class_covariance(b, b, truth, 1, n, yes) / yes + class_covariance(b, b, truth, 0, n, no) / no;
    pair.covariance = class_covariance(a, b, truth, 1, n, yes) / yes + class_covariance(a, b, truth, 0, n, no) / no;
    double variance = va + vb - 2 * pair.covariance;
    if (variance < 1e-15) /* the same ranking: rounding errors only */
        variance = 0;
    pair.difference = with_se(difference, variance, -1, 1, "no interval: the two indices rank alike");
    if (variance > 0) {
        pair.z = difference / sqrt(variance);
        pair.p = sl_normal_two_sided(pair.z);
    }
    return pair;
}
