/* cmocka's own comparisons of doubles are not in every version: |a - b| <= tolerance, with the values on failure. */
#ifndef SL_TESTS_AGREE_NEAR_H
#define SL_TESTS_AGREE_NEAR_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#define near(a, b, tolerance)                                                                                        \
    do {                                                                                                             \
        double near_a = (a), near_b = (b);                                                                           \
        if (!(fabs(near_a - near_b) <= (tolerance))) {                                                               \
            fprintf(stderr, "%s is %.10g, not %.10g\n", #a, near_a, near_b);                                         \
            fail();                                                                                                  \
        }                                                                                                            \
    } while (0)

#define not_defined(e)                                                                                               \
    do {                                                                                                             \
        assert_true(isnan((e).value));                                                                               \
        assert_non_null((e).why);                                                                                    \
    } while (0)

#endif
