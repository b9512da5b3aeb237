/* Comparison with a relative tolerance; most checks of the acoustics are exact to 1e-6. */
#ifndef SL_TESTS_ACOUSTICS_NEAR_H
#define SL_TESTS_ACOUSTICS_NEAR_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

static inline void check_near(double actual, double expected, double relative, const char *what,
                              const char *file, int line)
{
    double allowed = relative * fmax(fabs(expected), 1e-300);
    if (!(fabs(actual - expected) <= allowed)) {
        print_error("%s = %.12g, expected %.12g within %g of it\n", what, actual, expected, relative);
        _fail(file, line);
    }
}

static inline void check_within(double actual, double expected, double absolute, const char *what,
                                const char *file, int line)
{
    if (!(fabs(actual - expected) <= absolute)) {
        print_error("%s = %.12g, expected %.12g within %g\n", what, actual, expected, absolute);
        _fail(file, line);
    }
}

#define assert_near(actual, expected, relative)                                                              \
    check_near((actual), (expected), (relative), #actual, __FILE__, __LINE__)
#define assert_within(actual, expected, absolute)                                                            \
    check_within((actual), (expected), (absolute), #actual, __FILE__, __LINE__)
#define assert_unknown(value) assert_true(isnan(value))

#endif
