/* Shares, likelihood ratios, ROC areas, calibration. */
#include "agree/bootstrap.h"
#include "agree/roc.h"
#include "agree/yesno.h"

#include "near.h"

#include <string.h>

/* Wilson intervals: the four cases of Newcombe, Stat Med 1998;17:857-872 (his method 3; from memory), two more
 * recomputed */
static void wilson(void **state)
{
    (void)state;
    static const struct {
        double right, all, low, high;
    } known[] = {{81, 263, .2553, .3662}, {15, 148, .0624, .1605}, {0, 20, 0, .1611},
                 {1, 29, .0061, .1718},   {20, 20, .8389, 1},      {58, 65, .7940, .9468}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        sl_estimate e = sl_share(known[i].right, known[i].all);
        near(e.low, known[i].low, 5e-5);
        near(e.high, known[i].high, 5e-5);
    }
    assert_true(sl_share(0, 20).low == 0 && sl_share(20, 20).high == 1);
    not_defined(sl_share(0, 0));
}

/* Simel et al. 1991's formula worked by hand: 90 of 100 ill positive, 20 of 100 well positive: LR+ 4.5, SE of the log
 * sqrt(1/90 - 1/100 + 1/20 - 1/100) = .202759 */
static void ratios(void **state)
{
    (void)state;
    sl_fourfold t = {90, 20, 10, 80};
    sl_estimate plus = sl_lr_positive(t), minus = sl_lr_negative(t);
    near(plus.value, 4.5, 1e-12);
    near(plus.se, 0.2027588, 1e-6);
    near(plus.low, 4.5 * exp(-1.959964 * 0.2027588), 1e-5);
    near(minus.value, 0.125, 1e-12);
    near(minus.se, sqrt(1. / 10 - 1. / 100 + 1. / 80 - 1. / 100), 1e-12);
    near(sl_sensitivity(t).value, .9, 1e-12);
    near(sl_specificity(t).value, .8, 1e-12);
    near(sl_ppv(t).value, 90. / 110, 1e-12);
    near(sl_npv(t).value, 80. / 90, 1e-12);
    near(sl_accuracy(t).value, .85, 1e-12);
    sl_fourfold clean = {9, 0, 1, 10}, only_ill = {9, 0, 1, 0}, none = {0, 3, 5, 7};
    not_defined(sl_lr_positive(clean));
    not_defined(sl_specificity(only_ill));
    not_defined(sl_lr_positive(only_ill));
    assert_true(sl_lr_positive(none).value == 0 && isnan(sl_lr_positive(none).low) && sl_lr_positive(none).why);
}

/* Hanley & McNeil, Radiology 1982;143:29-36: five grades, 58 normal and 51 abnormal; published area .893, SE .032 */
static void hanley_mcneil_1982(void **state)
{
    (void)state;
    static const int normal[] = {33, 6, 6, 11, 2}, abnormal[] = {3, 2, 2, 11, 33};
    double index[109];
    int truth[109], n = 0;
    for (int g = 0; g < 5; g++) {
        for (int i = 0; i < normal[g]; i++, n++)
            index[n] = g + 1, truth[n] = 0;
        for (int i = 0; i < abnormal[g]; i++, n++)
            index[n] = g + 1, truth[n] = 1;
    }
    assert_int_equal(n, 109);
    sl_arena arena = {0};
    sl_roc roc;
    sl_estimate area = sl_roc_area(index, truth, n, &arena, &roc);
    near(area.value, .893171, 5e-7);
    near(area.se, .030724, 5e-7);
    near(sl_hanley_mcneil_se(area.value, 51, 58), .032487, 5e-7);
    assert_int_equal(roc.points, 6);
    near(roc.true_positive[1], 33. / 51, 1e-12);
    near(roc.false_positive[1], 2. / 58, 1e-12);
    near(roc.true_positive[5], 1, 0);
    double trapezes = 0;
    for (int i = 1; i < roc.points; i++)
        trapezes += (roc.false_positive[i] - roc.false_positive[i - 1]) *
                    (roc.true_positive[i] + roc.true_positive[i - 1]) / 2;
    near(trapezes, area.value, 1e-12);
    sl_arena_free(&arena);
}

/* DeLong, DeLong & Clarke-Pearson 1988's formulas on an invented pair, recomputed */
static void delong_pair(void **state)
{
    (void)state;
    static const double a[] = {.9, .8, .7, .6, .4, .5, .3, .3, .2, .1}, b[] = {.8, .5, .9, .4, .3, .6, .35, .3, .1, .45};
    static const int truth[] = {1, 1, 1, 1, 1, 0, 0, 0, 0, 0};
    sl_arena arena = {0};
    sl_roc_pair r = sl_roc_compare(a, b, truth, 10, &arena);
    near(r.first.value, .96, 1e-12);
    near(r.second.value, .74, 1e-12);
    near(r.first.se * r.first.se, .0032, 1e-12);
    near(r.second.se * r.second.se, .0292, 1e-12);
    near(r.covariance, .0078, 1e-12);
    near(r.z, 1.697337, 5e-7);
    near(r.p, .089633, 5e-7);
    r = sl_roc_compare(a, a, truth, 10, &arena);
    assert_true(r.difference.value == 0 && isnan(r.p) && r.difference.why);
    sl_arena_free(&arena);
}

static void area_edges(void **state)
{
    (void)state;
    static const double index[] = {.1, .2, .8, .9};
    static const int one[] = {1, 1, 1, 1}, apart[] = {0, 0, 1, 1}, single[] = {0, 0, 0, 1};
    sl_arena arena = {0};
    not_defined(sl_roc_area(index, one, 4, &arena, NULL));
    not_defined(sl_roc_area(index, one, 0, &arena, NULL));
    sl_estimate e = sl_roc_area(index, apart, 4, &arena, NULL);
    assert_true(e.value == 1 && isnan(e.low) && e.why);
    e = sl_roc_area(index, single, 4, &arena, NULL);
    assert_true(e.value == 1 && isnan(e.low) && e.why);
    int order[4];
    sl_roc_order(index, 4, order);
    static const int twice[] = {1, 0, 2, 1};
    near(sl_roc_weighted_area(index, apart, order, twice, 4), 1, 0);
    static const int no_ill[] = {1, 3, 0, 0};
    assert_true(isnan(sl_roc_weighted_area(index, apart, order, no_ill, 4)));
    sl_arena_free(&arena);
}

static void calibration(void **state)
{
    (void)state;
    static const double index[] = {0, .1, .2, .5, .75, 1};
    static const int truth[] = {0, 0, 1, 1, 1, 1};
    /* by hand: 0 + .01 + .64 + .25 + .0625 + 0 over 6 */
    near(sl_brier(index, truth, 6).value, .9625 / 6, 1e-12);
    static const double wide[] = {1.5};
    not_defined(sl_brier(wide, truth, 1));
    not_defined(sl_brier(index, truth, 0));
    sl_reliability_bin bin[4];
    sl_reliability(index, truth, 6, 4, bin);
    assert_int_equal(bin[0].n, 3);
    assert_int_equal(bin[1].n, 0);
    assert_int_equal(bin[3].n, 2);
    near(bin[0].mean_index, .1, 1e-12);
    not_defined(bin[1].observed);
    near(sl_calibration_gap(bin, 4).value, (3 * (1. / 3 - .1) + .5 + 2 * (1 - .875)) / 6, 1e-12);
}

struct mean_of {
    const double *x;
    int n;
};

static void weighted_mean(const void *context, const int *weight, double *value)
{
    const struct mean_of *m = context;
    double sum = 0, all = 0;
    for (int i = 0; i < m->n; i++) {
        sum += weight[i] * m->x[i];
        all += weight[i];
    }
    value[0] = sum / all;
    value[1] = weight[0] ? NAN : 1; /* not defined in about two thirds of the draws */
}

static void resampling(void **state)
{
    (void)state;
    double x[60];
    int group[60];
    for (int i = 0; i < 60; i++) {
        group[i] = i / 6;
        x[i] = group[i] + 0.01 * (i % 6);
    }
    struct mean_of m = {x, 60};
    sl_resampling how = {SL_DRAWS, 7, 1};
    sl_spread one[2], many[2], other[2];
    assert_int_equal(sl_bootstrap(group, 10, 60, 2, weighted_mean, &m, &how, one, NULL), SL_OK);
    how.workers = 4;
    assert_int_equal(sl_bootstrap(group, 10, 60, 2, weighted_mean, &m, &how, many, NULL), SL_OK);
    assert_true(one[0].low == many[0].low && one[0].high == many[0].high);
    how.seed = 8;
    assert_int_equal(sl_bootstrap(group, 10, 60, 2, weighted_mean, &m, &how, other, NULL), SL_OK);
    assert_true(other[0].low != one[0].low);
    /* The mean of 10 persons 0..9 drawn with replacement has SD sqrt(8.25 / 10); normal limits, tolerance 0.15 */
    near(one[0].low, 4.525 - 1.96 * sqrt(.825), .15);
    near(one[0].high, 4.525 + 1.96 * sqrt(.825), .15);
    assert_true(isnan(one[1].low) && one[1].why && one[1].undefined > SL_DRAWS / 2);
    assert_int_equal(sl_bootstrap(group, 1, 6, 2, weighted_mean, &m, &how, one, NULL), SL_OK);
    assert_true(isnan(one[0].low) && one[0].why);
}

static void draws_are_even(void **state)
{
    (void)state;
    int times[5], all[5] = {0}, order[200], seen[200] = {0};
    for (int d = 0; d < 2000; d++) {
        sl_bootstrap_draw(3, d, 5, times);
        assert_int_equal(times[0] + times[1] + times[2] + times[3] + times[4], 5);
        for (int g = 0; g < 5; g++)
            all[g] += times[g];
    }
    for (int g = 0; g < 5; g++) /* binomial: mean 2000, SD 40; four SD */
        assert_in_range(all[g], 1840, 2160);
    sl_shuffled(11, 200, order);
    for (int i = 0; i < 200; i++)
        seen[order[i]]++;
    for (int i = 0; i < 200; i++)
        assert_int_equal(seen[i], 1);
    assert_true(order[0] != 0 || order[1] != 1 || order[2] != 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wilson),      cmocka_unit_test(ratios),      cmocka_unit_test(hanley_mcneil_1982),
        cmocka_unit_test(delong_pair), cmocka_unit_test(area_edges),  cmocka_unit_test(calibration),
        cmocka_unit_test(resampling),  cmocka_unit_test(draws_are_even),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
