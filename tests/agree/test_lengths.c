/* Numbers measured twice, and intraclass correlation. */
#include "agree/icc.h"
#include "agree/lengths.h"

#include "near.h"

/* Bland & Altman, Lancet 1986;1:307-310: peak flow in L/min, 17 subjects, two meters, twice each */
static const double w1[] = {494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427};
static const double w2[] = {490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421};
static const double m1[] = {512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451};
static const double m2[] = {525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443};

static void bland_altman_1986(void **state)
{
    (void)state;
    sl_bland_altman r = sl_limits_of_agreement(w1, m1, 17);
    near(r.bias.value, -2.117647, 5e-7);       /* paper: -2.1 */
    near(r.sd, 38.7651298736, 5e-10);          /* an independent test's printout; paper: 38.8 */
    near(r.lower.value, -78.0959054849, 5e-8); /* the same printout; its normal quantile is good to ten digits */
    near(r.upper.value, 73.8606113673, 5e-8);
    near(r.bias.se, 9.4019, 5e-5);
    near(r.bias.low, -22.05, 5e-3); /* t(16) = 2.12; paper: -22.0 to 17.8 */
    near(r.bias.high, 17.81, 5e-3);
    near(r.lower.se, 16.2846, 5e-5);
    near(r.lower.value - r.lower.low, 34.52, 5e-3);
    near(sl_pearson(w1, m1, 17), .943279, 5e-7); /* paper: 0.94 */
    double w[17], m[17];
    for (int i = 0; i < 17; i++) {
        w[i] = (w1[i] + w2[i]) / 2;
        m[i] = (m1[i] + m2[i]) / 2;
    }
    r = sl_limits_of_agreement(w, m, 17); /* paper: mean -6.0, SD 33.2 */
    near(r.bias.value, -6.0294, 5e-5);
    near(r.sd, 33.2041, 5e-5);
}

static void repeatability_1986(void **state)
{
    (void)state;
    sl_repeatability w = sl_repeat_pairs(w1, w2, 17), m = sl_repeat_pairs(m1, m2, 17);
    near(w.within_sd.value, 15.3067, 5e-5);
    near(w.coefficient.value, 42.428, 1.5e-3); /* 1.96 against the exact quantile; paper's 2 gives 43.2938 */
    near(m.within_sd.value, 19.9108, 5e-5);
    near(m.coefficient.value, 55.190, 2e-3);
    near(2 * sqrt(2.) * w.within_sd.value, 43.2938, 5e-4);
    near(2 * sqrt(2.) * m.within_sd.value, 56.3163, 5e-4);
    assert_true(w.coefficient.low < w.coefficient.value && w.coefficient.value < w.coefficient.high);
    not_defined(sl_repeat_pairs(w1, w2, 0).coefficient);
    near(sl_smallest_detectable_change(15.3067), 42.428, 1.5e-3);
    /* Ten values of SD 1: chi-square of 9 degrees of freedom, 2.700 and 19.023 (NIST/SEMATECH e-Handbook 1.3.6.7.4, from memory). */
    static const double ten[] = {-1.5, -1, -0.5, -0.5, 0, 0, 0.5, 0.5, 1, 1.5};
    sl_repeatability t = sl_repeat_values(ten, 10);
    near(t.within_sd.value, sqrt(7.5 / 9), 1e-12);
    near(t.within_sd.low / t.within_sd.value, sqrt(9 / 19.023), 5e-4);
    near(t.within_sd.high / t.within_sd.value, sqrt(9 / 2.700), 5e-4);
    near(t.coefficient.value, 1.959964 * sqrt(2.) * t.within_sd.value, 1e-5);
    not_defined(sl_repeat_values(ten, 1).within_sd);
}

/* Shrout & Fleiss, Psychol Bull 1979;86:420-428: 6 targets, 4 judges; published .17 .29 .71 .44 .62 .91 (from memory);
 * mean squares recomputed */
static void shrout_fleiss_1979(void **state)
{
    (void)state;
    static const double v[] = {9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8, 7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7};
    sl_icc r = sl_intraclass(v, 6, 4);
    near(r.between, 11.241667, 5e-7);
    near(r.within, 6.263889, 5e-7);
    near(r.judges, 32.486111, 5e-7);
    near(r.error, 1.019444, 5e-7);
    near(r.one_1.value, .165742, 5e-7);
    near(r.two_1.value, .289764, 5e-7);
    near(r.three_1.value, .714841, 5e-7);
    near(r.one_k.value, .442797, 5e-7);
    near(r.two_k.value, .620051, 5e-7);
    near(r.three_k.value, .909316, 5e-7);
    /* intervals as printed by a common package for this table, two digits (from memory): (1,1) -.13 .72, (2,1) .02
     * .76, (3,1) .34 .95 */
    near(r.one_1.low, -.13, 5.1e-3);
    near(r.one_1.high, .72, 5.1e-3);
    near(r.two_1.low, .02, 5.1e-3);
    near(r.two_1.high, .76, 5.1e-3);
    near(r.three_1.low, .34, 5.1e-3);
    near(r.three_1.high, .95, 5.1e-3);
    near(r.sem_consistency, sqrt(r.error), 1e-12);
    near(r.sem_agreement, sqrt((32.486111 - 1.019444) / 6 + 1.019444), 1e-6);
}

static void edges(void **state)
{
    (void)state;
    static const double flat[] = {3, 3, 3, 3, 3, 3}, equal[] = {1, 1, 2, 2, 5, 5};
    not_defined(sl_intraclass(flat, 3, 2).two_1);
    not_defined(sl_intraclass(equal, 1, 2).two_1);
    sl_icc r = sl_intraclass(equal, 3, 2);
    assert_true(r.two_1.value == 1 && isnan(r.two_1.low) && r.two_1.why);
    not_defined(sl_concordance(flat, flat, 6));
    not_defined(sl_concordance(flat, flat, 1));
    assert_true(sl_limits_of_agreement(w1, m1, 1).bias.value == -18);
    not_defined(sl_limits_of_agreement(w1, m1, 1).lower);
    not_defined(sl_limits_of_agreement(w1, m1, 0).bias);
    /* Lin 1989 by hand: x = 1 2 3 4, y = 2 3 4 5: covariance 1.25, variances 1.25, shift 1: 2.5 / 3.5 */
    static const double x[] = {1, 2, 3, 4}, y[] = {2, 3, 4, 5};
    near(sl_concordance(x, y, 4).value, 2.5 / 3.5, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(bland_altman_1986), cmocka_unit_test(repeatability_1986),
                                       cmocka_unit_test(shrout_fleiss_1979), cmocka_unit_test(edges)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
