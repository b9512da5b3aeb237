/* Learning charts. Sequences and exact probabilities were recomputed in an independent script from the formulas of the
 * papers named in agree/cusum.h. */
#include "agree/cusum.h"

#include "near.h"

static const int sequence[] = {1, 1, 0, 1, 1, 0, 0, 1, 1, 0};

static void standard(void **state)
{
    (void)state;
    static const double expected[] = {0, 0, .6931, .5754, .4576, 1.1507, 1.8439, 1.7261, 1.6083, 2.3015};
    double s[10];
    assert_int_equal(sl_cusum(.1, .2, 2.0, sequence, 10, s), 10);
    for (int i = 0; i < 10; i++)
        near(s[i], expected[i], 5.1e-5);
    assert_int_equal(sl_cusum(.1, .2, 2.5, sequence, 10, s), 0);
}

static void two_limits(void **state)
{
    (void)state;
    sl_two_limits r = sl_two_limits_for(.2, .4, .1, .1);
    near(r.p, .693147, 5e-7);
    near(r.q, .287682, 5e-7);
    near(r.s, .293305, 1e-6);
    near(r.upper, 2.240170, 1e-6);
    near(r.lower, 2.240170, 1e-6);
    r = sl_two_limits_for(.1, .2, .1, .1);
    near(r.s, .145244, 1e-6);
    near(r.upper, 2.709511, 1e-6);
    double s[3];
    sl_two_limit_chart(&r, sequence, 3, s);
    near(s[2], 1 - 3 * r.s, 1e-12);
}

static void learning(void **state)
{
    (void)state;
    sl_lc_plan plan = {.2, .1, 1.25, 100};
    int run[30] = {1, 1, 0};
    double s[30];
    for (int i = 3; i < 30; i++)
        run[i] = 1;
    assert_int_equal(sl_lc_cusum(&plan, run, 30, s), 14);
    near(s[0], .1178, 5e-5);
    near(s[1], .2356, 5e-5);
    assert_true(s[2] == 0);
    near(s[3], .1178, 5e-5);
    near(s[13], 1.2956, 5e-5);
    plan.h = 2.5;
    run[2] = 1;
    assert_int_equal(sl_lc_cusum(&plan, run, 30, NULL), 22);
    assert_int_equal(sl_lc_fewest(&plan, 0), 22);
    assert_int_equal(sl_lc_cusum(&plan, run, 21, NULL), 0);
}

static void exact(void **state)
{
    (void)state;
    static const struct {
        double h;
        int n;
        double false_discovery, power;
    } known[] = {{1.25, 100, .903, .9996}, {2.0, 100, .484, .981}, {2.5, 100, .250, .938}, {3.0, 100, .128, .870},
                 {1.25, 50, .653, .972},   {2.0, 50, .234, .801},  {2.5, 50, .094, .633},  {3.0, 50, .036, .441}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        sl_lc_plan plan = {.2, .1, known[i].h, known[i].n};
        near(sl_lc_signal_probability(&plan, .2, 0, plan.n), known[i].false_discovery, 5.1e-4);
        near(sl_lc_signal_probability(&plan, .1, 0, plan.n), known[i].power, 5.1e-4);
    }
}

static void limits(void **state)
{
    (void)state;
    static const struct {
        double p0, p1;
        int n;
        double h, power;
    } known[] = {{.2, .1, 25, 2.15, .216},  {.2, .1, 50, 2.85, .497},  {.2, .1, 100, 3.70, .748},
                 {.3, .1, 25, 3.30, .680},  {.3, .1, 50, 4.10, .906},  {.3, .1, 100, 4.95, .992},
                 {.4, .2, 25, 3.05, .581},  {.4, .2, 50, 3.85, .825},  {.4, .2, 100, 4.70, .971},
                 {.2, .05, 25, 2.95, .536}, {.2, .05, 50, 3.95, .826}, {.2, .05, 100, 4.80, .980}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        sl_lc_plan plan = {known[i].p0, known[i].p1, sl_lc_limit(known[i].p0, known[i].p1, known[i].n, .05),
                           known[i].n};
        near(plan.h, known[i].h, 1e-9);
        near(sl_lc_signal_probability(&plan, plan.p1, 0, plan.n), known[i].power, 5.1e-4);
    }
}

/* The exact probability against counting every sequence of 12 attempts */
static void exhaustive(void **state)
{
    (void)state;
    sl_lc_plan plan = {.4, .2, .8, 12};
    double sum = 0;
    for (int bits = 0; bits < 4096; bits++) {
        int run[12];
        double chance = 1;
        for (int i = 0; i < 12; i++) {
            run[i] = bits >> i & 1;
            chance *= run[i] ? .7 : .3;
        }
        sum += sl_lc_cusum(&plan, run, 12, NULL) ? chance : 0;
    }
    near(sl_lc_signal_probability(&plan, .3, 0, 12), sum, 1e-12);
    assert_true(sl_lc_signal_probability(&plan, .3, .5, 12) > sum);
}

static void nonsense(void **state)
{
    (void)state;
    sl_lc_plan turned = {.1, .2, 2, 50}, fine = {.4, .2, 2, 50};
    assert_true(isnan(sl_lc_signal_probability(&turned, .1, 0, 50)));
    assert_int_equal(sl_lc_fewest(&turned, 0), -1);
    assert_true(isnan(sl_lc_limit(.1, .2, 50, .05)));
    assert_true(isnan(sl_lc_signal_probability(&fine, .4, 0, 0)));
    assert_int_equal(sl_lc_median(&fine, 1.0, 0, 100), -1);
    int median = sl_lc_median(&fine, .1, 0, 200);
    assert_true(median >= sl_lc_fewest(&fine, 0) && median < 40);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(standard),   cmocka_unit_test(two_limits),
                                       cmocka_unit_test(learning),   cmocka_unit_test(exact),
                                       cmocka_unit_test(limits),     cmocka_unit_test(exhaustive),
                                       cmocka_unit_test(nonsense)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
