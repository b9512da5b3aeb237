/* The smooth course of a border: a parabola is found again, beams that leave it are put on it, and too few beams give none. */
#include "core/units.h"
#include "reading/course.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* Rows of a wall that bends, a little uneven; beams outside first .. last show nothing. */
static double bent(int beam)
{
    double x = (beam - 0.5 * SL_BEAMS) / SL_BEAMS;
    return 60 + 8 * x - 8 * x * x;
}

static void draw(int first, int last, float *row)
{
    for (int j = 0; j < SL_BEAMS; j++)
        row[j] = j < first || j > last ? NAN : (float)(bent(j) + 0.5 * sin(1.7 * j));
}

static void parabola_found_again(void **state)
{
    (void)state;
    float row[SL_BEAMS];
    bool none[SL_BEAMS] = {false};
    double a[3];
    draw(0, SL_BEAMS - 1, row);
    assert_true(sl_course_fit(row, none, 20, a));
    for (int j = 0; j < SL_BEAMS; j++)
        assert_true(fabs(sl_course_at(a, j) - bent(j)) < 1.5); /* what keeps it level where few beams are left bends it less */
    draw(40, 52, row);
    assert_false(sl_course_fit(row, none, 20, a));
}

static void stray_beams_are_put_on_it(void **state)
{
    (void)state;
    float row[SL_BEAMS];
    double a[3];
    draw(10, 110, row);
    for (int j = 50; j < 62; j++)
        row[j] += 25; /* a septum at the rim */
    assert_true(sl_course_mend(row, 20, 3, a));
    for (int j = 0; j < SL_BEAMS; j++) {
        if (j < 10 || j > 110)
            assert_true(isnan(row[j])); /* beams that show nothing still show nothing */
        else
            assert_true(fabs((double)row[j] - bent(j)) < 2);
    }
    draw(40, 52, row);
    assert_false(sl_course_mend(row, 20, 3, a));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(parabola_found_again), cmocka_unit_test(stray_beams_are_put_on_it)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
