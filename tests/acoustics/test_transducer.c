/* The probe table against common practice (no source): convex 2 to 5 MHz, linear 6 to 13 MHz down to about 5
 * cm, phased 1 to 5 MHz; and the aperture geometry against a search along the face. */
#include "acoustics/transducer.h"

#include "acoustics/beam.h"
#include "core/units.h"
#include "near.h"

static void table(void **state)
{
    (void)state;
    static const double band[SL_TRANSDUCERS][2] = {[SL_TRANSDUCER_CONVEX] = {2, 5},
                                                   [SL_TRANSDUCER_MICROCONVEX] = {4, 8},
                                                   [SL_TRANSDUCER_LINEAR] = {6, 13},
                                                   [SL_TRANSDUCER_PHASED] = {1, 5}};
    for (int i = 0; i < SL_TRANSDUCERS; i++) {
        const sl_transducer *probe = sl_transducer_get((sl_transducer_kind)i);
        assert_int_equal(sl_transducer_find(probe->name), i);
        assert_near(probe->freq_low_mhz, band[i][0], 0);
        assert_near(probe->freq_high_mhz, band[i][1], 0);
        assert_near(probe->pitch_mm * probe->elements, probe->footprint_mm, 1e-9);
        /* no grating lobe straight ahead (phased: over its whole sector) in the middle of the band */
        double middle = 0.5 * (probe->freq_low_mhz + probe->freq_high_mhz);
        assert_true(probe->pitch_mm <= sl_pitch_most_mm(middle, probe->sector_rad / 2, 1540) * 1.4);
    }
    assert_int_equal(sl_transducer_find("none"), -1);
    assert_null(sl_transducer_get(SL_TRANSDUCERS));
}

static void field(void **state)
{
    (void)state;
    const sl_transducer *convex = sl_transducer_get(SL_TRANSDUCER_CONVEX);
    assert_near(sl_transducer_opening_rad(convex), 1, 1e-12);
    assert_near(sl_transducer_field_mm(convex, 100), 160, 1e-12);
    assert_near(sl_transducer_field_mm(sl_transducer_get(SL_TRANSDUCER_LINEAR), 40), 38.4, 1e-12);
    assert_near(sl_transducer_field_mm(sl_transducer_get(SL_TRANSDUCER_PHASED), 100), 100 * SL_PI / 2, 1e-12);
}

/* Widest chord whose outer element still sees the point under its acceptance angle, by walking along the arc.
 */
static double walk(const sl_transducer *probe, double psi, double depth)
{
    double most = 0;
    for (double phi = 0; phi < SL_PI / 2; phi += 1e-5) {
        double x = probe->radius_mm * sin(phi), z = probe->radius_mm * cos(phi);
        double to_x = -x, to_z = probe->radius_mm + depth - z;
        double angle = acos((to_x * sin(phi) + to_z * cos(phi)) / hypot(to_x, to_z));
        if (angle <= psi)
            most = 2 * x;
        else
            break;
    }
    return most;
}

static void aperture(void **state)
{
    (void)state;
    const sl_transducer *convex = sl_transducer_get(SL_TRANSDUCER_CONVEX);
    sl_transducer open = *convex; /* without the F-number limit the geometry alone decides */
    open.f_number_least = 0.01;
    double psi = sl_transducer_acceptance_rad(&open, 3.5, 1540);
    assert_within(sl_aperture_response(3.5, open.pitch_mm, sin(psi), 1540), 0.5, 1e-12);
    for (double depth = 20; depth <= 120; depth += 25)
        assert_within(sl_transducer_aperture_most_mm(&open, 3.5, depth, 1540),
                      fmin(walk(&open, psi, depth), 2 * 60 * sin(0.5)), 0.01);
    assert_near(sl_transducer_aperture_most_mm(convex, 2, 30, 1540), 15, 1e-12); /* F# 2 */
    const sl_transducer *linear = sl_transducer_get(SL_TRANSDUCER_LINEAR);
    assert_near(sl_transducer_aperture_most_mm(linear, 7, 30, 1540), 20, 1e-12);    /* F# 1.5 */
    assert_near(sl_transducer_aperture_most_mm(linear, 7, 300, 1540), 38.4, 1e-12); /* the whole face */
    assert_near(sl_transducer_aperture_most_mm(sl_transducer_get(SL_TRANSDUCER_PHASED), 2, 100, 1540), 19.2,
                1e-12);
    assert_near(sl_transducer_acceptance_rad(sl_transducer_get(SL_TRANSDUCER_PHASED), 2, 1540), SL_PI / 2,
                1e-12);
    assert_unknown(sl_transducer_aperture_most_mm(linear, 7, 0, 1540));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(table), cmocka_unit_test(field),
                                       cmocka_unit_test(aperture)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
