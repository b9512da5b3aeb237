/* Two readers and several. Sources stand beside each vector; "recomputed" figures were worked out once by the formula
 * in an independent script, the published figure stands in the comment where it exists. */
#include "agree/kappa.h"
#include "agree/raters.h"

#include "near.h"

#include <string.h>

/* Cohen, Psychol Bull 1968;70:213-220: proportions [.44 .07 .09; .05 .20 .05; .01 .03 .06], N = 200; published kappa
 * .492, weighted .348 */
static const double cohen[] = {88, 14, 18, 10, 40, 10, 2, 6, 12};

static void cohen_1968(void **state)
{
    (void)state;
    sl_kappa r = sl_cohen_kappa(cohen, 3, NULL);
    near(r.observed, 0.70, 1e-12);
    near(r.expected, 0.41, 1e-12);
    near(r.kappa.value, 0.491525, 5e-7);
    near(r.kappa.se, 0.051002, 5e-7);
    near(r.se0, 0.051979, 5e-7);
    static const double v[] = {0, 1, 3, 1, 0, 6, 3, 6, 0}, skew[] = {0, 1, 4, 1, 0, 6, 2, 2, 0};
    double w[9];
    sl_from_disagreement(v, 3, w);
    r = sl_cohen_kappa(cohen, 3, w);
    near(r.kappa.value, 1 - 0.90 / 1.38, 1e-12);
    near(r.kappa.se, 0.075504, 5e-7);
    near(r.se0, 0.059720, 5e-7);
    sl_from_disagreement(skew, 3, w); /* published .353 */
    near(sl_cohen_kappa(cohen, 3, w).kappa.value, 1 - 0.86 / 1.33, 1e-12);
    sl_agreement_weights(SL_WEIGHT_LINEAR, 3, w);
    r = sl_cohen_kappa(cohen, 3, w);
    near(r.kappa.value, 0.473684, 5e-7);
    near(r.kappa.se, 0.054432, 5e-7);
    sl_agreement_weights(SL_WEIGHT_QUADRATIC, 3, w);
    r = sl_cohen_kappa(cohen, 3, w);
    near(r.observed, 0.85, 1e-12);
    near(r.expected, 0.725, 1e-12);
    near(r.kappa.value, 0.454545, 5e-7);
    near(r.kappa.se, 0.066454, 5e-7);
}

/* Fleiss, Cohen & Everitt, Psychol Bull 1969;72:323-327: table and weights as published, standard errors recomputed */
static void fleiss_cohen_everitt_1969(void **state)
{
    (void)state;
    static const double table[] = {106, 10, 4, 22, 28, 10, 2, 12, 6};
    static const double w[] = {1, 0, .4444, 0, 1, .6667, .4444, .6667, 1};
    sl_kappa r = sl_cohen_kappa(table, 3, NULL);
    near(r.kappa.value, 0.428571, 5e-7);
    near(r.kappa.se, 0.053711, 5e-7);
    near(r.se0, 0.055512, 5e-7);
    r = sl_cohen_kappa(table, 3, w);
    near(r.kappa.value, 0.507070, 5e-7);
    near(r.kappa.se, 0.056994, 5e-7);
    near(r.se0, 0.065336, 5e-7);
}

/* Four ordered levels, invented table, recomputed */
static void four_levels(void **state)
{
    (void)state;
    static const double table[] = {40, 5, 1, 0, 6, 22, 4, 1, 1, 5, 14, 3, 0, 1, 2, 15};
    double w[16];
    sl_kappa r = sl_cohen_kappa(table, 4, NULL);
    near(r.kappa.value, .662921, 5e-7);
    near(r.kappa.se, .053921, 5e-7);
    sl_agreement_weights(SL_WEIGHT_LINEAR, 4, w);
    r = sl_cohen_kappa(table, 4, w);
    near(r.kappa.value, .767496, 5e-7);
    near(r.kappa.se, .041753, 5e-7);
    sl_agreement_weights(SL_WEIGHT_QUADRATIC, 4, w);
    r = sl_cohen_kappa(table, 4, w);
    near(r.kappa.value, .854816, 5e-7);
    near(r.kappa.se, .033375, 5e-7);
    near(sl_gwet_ac(table, 4, NULL).kappa.value, .682458, 5e-7);
}

/* Printout of an independent statistics package (a zero column is part of it) */
static void package_printout(void **state)
{
    (void)state;
    static const double table[] = {0, 4, 1, 0, 8, 0, 0, 1, 5};
    sl_kappa r = sl_cohen_kappa(table, 3, NULL);
    near(r.kappa.value, .4842, 5e-5);
    near(r.kappa.se, .1380, 5e-5);
    near(r.kappa.low, .2137, 5e-5);
    near(r.kappa.high, .7547, 5e-5);
    near(r.se0, .1484, 5e-5);
    near(r.z, 3.2626, 5e-5);
    near(r.p, .0011, 5e-5);
    double w[9];
    sl_agreement_weights(SL_WEIGHT_LINEAR, 3, w);
    r = sl_cohen_kappa(table, 3, w);
    near(r.kappa.value, .4701, 5e-5);
    near(r.kappa.se, .1457, 5e-5);
    near(r.kappa.low, .1845, 5e-5);
    near(r.kappa.high, .7558, 5e-5);
    near(r.se0, .1426, 5e-5);
    near(r.z, 3.2971, 5e-5);
    near(r.p, .0010, 5e-5);
}

/* Gwet, Br J Math Stat Psychol 2008;61:29-48: the prevalence paradox, N = 125 */
static void gwet_2008(void **state)
{
    (void)state;
    static const double table[] = {118, 5, 2, 0};
    sl_kappa ac = sl_gwet_ac(table, 2, NULL), kappa = sl_cohen_kappa(table, 2, NULL);
    near(ac.observed, .944, 1e-12);
    near(ac.expected, .054432, 5e-7);
    near(ac.kappa.value, .940776, 5e-7);
    near(kappa.kappa.value, -.023392, 5e-7);
    near(sl_gwet_ac(cohen, 3, NULL).kappa.value, .575972, 5e-7);
}

static void kappa_undefined(void **state)
{
    (void)state;
    static const double one_class[] = {12, 0, 0, 0}, empty[4] = {0};
    not_defined(sl_cohen_kappa(one_class, 2, NULL).kappa);
    not_defined(sl_cohen_kappa(empty, 2, NULL).kappa);
    not_defined(sl_gwet_ac(empty, 2, NULL).kappa);
    not_defined(sl_cohen_kappa(one_class, 0, NULL).kappa);
    assert_string_equal(sl_kappa_word(0.61), "substantial");
    assert_string_equal(sl_kappa_word(NAN), "not defined");
}

/* The table of 10 items, 14 readers, 5 classes of the common encyclopaedia example: .210 in an open test suite */
static const double ten[] = {0, 0, 0, 0, 14, 0, 2, 6, 4, 2, 0, 0, 3, 5, 6, 0, 3, 9, 2, 0, 2, 2, 8, 1, 1,
                             7, 7, 0, 0, 0,  3, 2, 6, 3, 0, 2, 5, 3, 2, 2, 6, 5, 2, 1, 0, 0, 2, 2, 3, 7};
/* Fleiss 1971's own 30 patients, 6 readers; reference outputs in an open test suite: .4302445, z 17.65183 */
static const double patients[] = {
    0, 0, 0, 6, 0, 0, 3, 0, 0, 3, 0, 1, 4, 0, 1, 0, 0, 0, 0, 6, 0, 3, 0, 3, 0, 2, 0, 4, 0, 0, 0, 0, 4, 0, 2, 2, 0, 3,
    1, 0, 2, 0, 0, 4, 0, 0, 0, 0, 0, 6, 1, 0, 0, 5, 0, 1, 1, 0, 4, 0, 0, 3, 3, 0, 0, 1, 0, 0, 5, 0, 0, 2, 0, 3, 1, 0,
    0, 5, 0, 1, 3, 0, 0, 1, 2, 5, 1, 0, 0, 0, 0, 2, 0, 4, 0, 1, 0, 2, 0, 3, 0, 0, 0, 0, 6, 0, 1, 0, 5, 0, 0, 2, 0, 1,
    3, 2, 0, 0, 4, 0, 1, 0, 0, 4, 1, 0, 5, 0, 1, 0, 4, 0, 0, 0, 2, 0, 2, 0, 4, 0, 1, 0, 5, 0, 0, 0, 0, 0, 0, 6};

static void fleiss_1971(void **state)
{
    (void)state;
    sl_fleiss r = sl_fleiss_kappa(ten, 10, 5);
    near(r.observed, .378022, 5e-7);
    near(r.expected, .212755, 5e-7);
    near(r.kappa.value, .209931, 5e-7);
    near(r.se0, .016965, 5e-7);
    assert_int_equal(sizeof patients / sizeof *patients, 150);
    r = sl_fleiss_kappa(patients, 30, 5);
    near(r.observed, .555556, 5e-7);
    near(r.expected, .219938, 5e-7);
    near(r.kappa.value, .4302445, 5e-8);
    near(r.se0, .024374, 5e-7);
    near(r.z, 17.65183, 5e-6);
}

/* Randolph's free-marginal kappa: the two tables of an open test suite */
static void free_marginal(void **state)
{
    (void)state;
    static const double a[] = {7, 1, 3, 5};
    static const double two[] = {6, 1, 0, 0, 7, 0};
    near(sl_fleiss_kappa(a, 2, 2).kappa.value, .161905, 5e-7);
    near(sl_free_marginal_kappa(a, 2, 2).value, .214286, 5e-7);
    near(sl_fleiss_kappa(two, 2, 3).kappa.value, .708333, 5e-7);
    near(sl_free_marginal_kappa(two, 2, 3).value, .785714, 5e-7);
    static const double uneven[] = {3, 1, 2, 1}, same[] = {4, 0, 4, 0};
    not_defined(sl_fleiss_kappa(uneven, 2, 2).kappa);
    not_defined(sl_fleiss_kappa(same, 2, 2).kappa);
}

/* Krippendorff, Computing Krippendorff's Alpha-Reliability (2011), section C: four readers, 12 units, gaps;
 * nominal .743, ordinal .815, interval .849, ratio .797 as published there */
static void krippendorff_2011(void **state)
{
    (void)state;
    static const double by_reader[4][12] = {
        {1, 2, 3, 3, 2, 1, 4, 1, 2, NAN, NAN, NAN},
        {1, 2, 3, 3, 2, 2, 4, 1, 2, 5, NAN, 3},
        {NAN, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, NAN},
        {1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, NAN},
    };
    double value[48];
    for (int i = 0; i < 12; i++)
        for (int r = 0; r < 4; r++)
            value[i * 4 + r] = by_reader[r][i];
    static const double published[] = {.743, .815, .849, .797};
    static const sl_metric metric[] = {SL_NOMINAL, SL_ORDINAL, SL_INTERVAL, SL_RATIO};
    sl_arena arena = {0};
    for (int m = 0; m < 4; m++)
        near(sl_krippendorff_alpha(value, 12, 4, metric[m], NULL, &arena).value, published[m], 5e-4);
    /* weights count an item several times: the same as writing it several times */
    static const int weight[12] = {1, 2, 0, 1, 1, 3, 1, 1, 0, 1, 1, 1};
    double longer[4 * 13];
    int items = 0;
    for (int i = 0; i < 12; i++)
        for (int w = 0; w < weight[i]; w++)
            memcpy(longer + 4 * items++, value + 4 * i, 4 * sizeof *value);
    for (int m = 0; m < 4; m++)
        near(sl_krippendorff_alpha(value, 12, 4, metric[m], weight, &arena).value,
             sl_krippendorff_alpha(longer, items, 4, metric[m], NULL, &arena).value, 1e-12);
    static const double same[] = {2, 2, 2, 2}, alone[] = {1, NAN, NAN, 2}, minus[] = {-1, 2, 1, 1};
    not_defined(sl_krippendorff_alpha(same, 2, 2, SL_NOMINAL, NULL, &arena));
    not_defined(sl_krippendorff_alpha(alone, 2, 2, SL_NOMINAL, NULL, &arena));
    not_defined(sl_krippendorff_alpha(minus, 2, 2, SL_RATIO, NULL, &arena));
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cohen_1968),      cmocka_unit_test(fleiss_cohen_everitt_1969),
        cmocka_unit_test(four_levels),     cmocka_unit_test(package_printout),
        cmocka_unit_test(gwet_2008),       cmocka_unit_test(kappa_undefined),
        cmocka_unit_test(fleiss_1971),     cmocka_unit_test(free_marginal),
        cmocka_unit_test(krippendorff_2011),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
