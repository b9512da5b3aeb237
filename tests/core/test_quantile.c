/* Quantiles. Expected values: NumPy 2.4, numpy.quantile(..., method="linear"), which names Hyndman & Fan's type 7. */
#include "core/quantile.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void as_numpy(void **state)
{
    (void)state;
    static const double share[] = {0, 0.025, 0.25, 0.5, 0.75, 0.9, 1}, even[] = {1, 1.075, 1.75, 2.5, 3.25, 3.7, 4},
                        odd[] = {-2, -1.7, 1, 1, 5, 6.2, 7};
    for (int i = 0; i < 7; i++) {
        double a[] = {4, 1, 3, 2}, b[] = {7, 1, 5, -2, 1};
        assert_true(fabs(sl_quantile(a, 4, share[i]) - even[i]) < 1e-12);
        assert_true(fabs(sl_quantile(b, 5, share[i]) - odd[i]) < 1e-12);
    }
}

static void gaps_and_nothing(void **state)
{
    (void)state;
    double gaps[] = {NAN, 3, NAN, 1}, one[] = {8}, none[] = {NAN, NAN};
    assert_true(fabs(sl_quantile(gaps, 4, 0.5) - 2) < 1e-12);
    assert_true(fabs(sl_quantile(one, 1, 0.3) - 8) < 1e-12);
    assert_true(isnan(sl_quantile(none, 2, 0.5)));
    assert_true(isnan(sl_quantile_sorted(NULL, 0, 0.5)));
}

/* numpy.quantile(..., method="nearest") where no share lies halfway between two places; halfway goes up here. */
static void one_of_the_values(void **state)
{
    (void)state;
    static const double share[] = {0, 0.025, 0.25, 0.4, 0.6, 0.75, 0.9, 1}, even[] = {1, 1, 2, 2, 3, 3, 4, 4}, odd[] = {-2, -2, 1, 1, 1, 5, 7, 7};
    for (int i = 0; i < 8; i++) {
        double a[] = {4, 1, 3, 2}, b[] = {7, 1, 5, -2, 1};
        assert_true(sl_quantile_nearest(a, 4, share[i]) == even[i]);
        assert_true(sl_quantile_nearest(b, 5, share[i]) == odd[i]);
    }
    double half[] = {4, 1, 3, 2}, none[] = {NAN};
    assert_true(sl_quantile_nearest(half, 4, 0.5) == 3 && half[0] == 1 && half[3] == 4);
    assert_true(isnan(sl_quantile_nearest(none, 1, 0.5)) && isnan(sl_quantile_nearest(NULL, 0, 0.5)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(as_numpy), cmocka_unit_test(one_of_the_values), cmocka_unit_test(gaps_and_nothing)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
