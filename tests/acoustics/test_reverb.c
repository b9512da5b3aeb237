/* Reverberation and traps against worked examples: computed from the stated formulas; zeros of Bessel
 * functions as tabulated (Abramowitz & Stegun, table 9.5, from memory). */
#include "acoustics/reverb.h"

#include "acoustics/beam.h"
#include "acoustics/echo.h"
#include "core/units.h"
#include "near.h"

static const double c = 1540;
static const sl_attenuation half = {0.5, 1};

static void repeats(void **state)
{
    (void)state;
    static const double depth[] = {23.7, 47.4, 71.1, 94.8, 118.5};
    static const double time_us[] = {30.7792, 61.5584, 92.3377, 123.1169, 153.8961};
    for (int k = 1; k <= 5; k++) {
        assert_near(sl_repeat_depth_mm(23.7, k), depth[k - 1], 1e-12);
        assert_near(sl_repeat_time_s(23.7, k, c) * 1e6, time_us[k - 1], 1e-6);
    }
    /* pleura at 18 mm: A-lines at 36, 54, 72 mm (clinical sheet, geometry) */
    assert_near(sl_repeat_depth_mm(18, 4), 72, 1e-12);
    assert_unknown(sl_repeat_depth_mm(18, 0));
}

static void strengths(void **state)
{
    (void)state;
    /* R_p = -0.9995, R_t = 0.2, alpha f = 2.5 dB/cm, d = 2 cm */
    assert_within(sl_repeat_step_db(-0.9995, 0.2, half, 5, 20, false), -23.98, 0.005);
    assert_within(sl_repeat_step_db(-0.9995, 0.2, half, 5, 20, true), -13.98, 0.005);
    double one = sl_repeat_amplitude(1, -0.9995, 0.2, half, 5, 20),
           two = sl_repeat_amplitude(2, -0.9995, 0.2, half, 5, 20);
    assert_near(one, 0.9995 * pow(10, -0.5), 1e-12);
    assert_near(20 * log10(two / one), sl_repeat_step_db(-0.9995, 0.2, half, 5, 20, false), 1e-12);
    assert_unknown(sl_repeat_amplitude(0, -1, 0.2, half, 5, 20));
}

static void tilt(void **state)
{
    (void)state;
    assert_near(sl_repeat_tilt_share(3, 0, 20, 10, 20, 3.5, c), 1, 1e-12);
    /* Far from a small aperture the image lies at the tilt itself, and both sides see it under sinc(D sin t /
     * lambda) (Fraunhofer, computed from formula). */
    for (double deg = 1; deg <= 10; deg += 3) {
        double side = sl_aperture_response(3.5, 2, sin(sl_rad(deg)), c);
        assert_within(sl_repeat_tilt_share(1, sl_rad(deg), 500, 2, HUGE_VAL, 3.5, c), side * side, 0.01);
    }
    /* Focused on the pleura, what comes back is the sent cone turned by twice the tilt: half of it misses the
     * aperture when d tan(2 t) = D / 2 (geometry). */
    double half_rad = atan(10 / 2.0 / 20) / 2;
    assert_near(sl_repeat_tilt_share(1, half_rad, 20, 10, 20, 3.5, c), 0.5, 0.15);
    /* Later repeats leave sooner, a tilt to either side is the same. */
    double t = sl_rad(2);
    double one = sl_repeat_tilt_share(1, t, 20, 10, 20, 3.5, c),
           two = sl_repeat_tilt_share(2, t, 20, 10, 20, 3.5, c);
    assert_true(two < one && sl_repeat_tilt_share(3, t, 20, 10, 20, 3.5, c) < two);
    assert_near(sl_repeat_tilt_share(2, -t, 20, 10, 20, 3.5, c), two, 1e-9);
    assert_within(sl_repeat_tilt_share(5, sl_rad(10), 20, 10, 20, 3.5, c), 0, 0);
    assert_unknown(sl_repeat_tilt_share(0, t, 20, 10, 20, 3.5, c));
    assert_unknown(sl_repeat_tilt_share(1, t, 20, 0, 20, 3.5, c));
}

static void bands_and_mirror(void **state)
{
    (void)state;
    assert_near(sl_band_spacing_mm(2, 3514.9), 2 * 1540 / 3514.9, 1e-12);
    assert_near(sl_band_spacing_mm(2, c), 2, 1e-12);
    assert_near(sl_mirror_depth_mm(100, 15), 115, 1e-12);
}

static void cavities(void **state)
{
    (void)state;
    assert_near(sl_trap_slab_mhz(0.5, 1, c), 1.540, 1e-12);
    assert_near(sl_trap_slab_mhz(0.5, 2, c), 3.080, 1e-12);
    assert_near(sl_trap_rigid_slab_mhz(0.5, 1, c), 0.770, 1e-12);
    assert_near(sl_trap_rigid_slab_mhz(0.5, 2, c), 2.310, 1e-12);
    assert_near(sl_trap_rectangle_mhz(1.0, 0.6, 1, 1, c), 1.496611, 1e-6);
    assert_near(sl_trap_rectangle_mhz(1.0, 0.6, 2, 1, c), 2.004631, 1e-6);
    assert_near(sl_trap_rectangle_mhz(1.0, 0.6, 1, 2, c), 2.679679, 1e-6);
    assert_near(sl_trap_rectangle_mhz(1.0, 0.6, 2, 2, c), 2.993222, 1e-6);
    assert_near(sl_trap_disc_mhz(0.3, 0, 1, c), 1.964731, 1e-6);
    static const double zero[][3] = {{0, 1, 2.404826}, {1, 1, 3.831706}, {2, 1, 5.135622}, {0, 2, 5.520078}};
    for (int i = 0; i < 4; i++) /* f 2 pi a / c gives the zero back */
        assert_near(sl_trap_disc_mhz(0.3, (int)zero[i][0], (int)zero[i][1], c) * 2 * SL_PI * 0.3 / 1.54,
                    zero[i][2], 2e-7);
    assert_unknown(sl_trap_slab_mhz(0.5, 0, c));
    assert_unknown(sl_trap_rigid_slab_mhz(0, 1, c));
    assert_unknown(sl_trap_rectangle_mhz(1, 1, 0, 1, c));
    assert_unknown(sl_trap_disc_mhz(0.3, -1, 1, c));
}

static void bubble(void **state)
{
    (void)state;
    assert_near(sl_bubble_khz(100, 1.4), 32.8324, 1e-5);
    assert_near(sl_bubble_khz(100, 1.0), 27.7485, 1e-5);
    assert_unknown(sl_bubble_khz(0, 1.4));
}

static void ring_down(void **state)
{
    (void)state;
    double decay = sl_trap_decay_db_per_us(0.6, 0.9995, 0.5, c);
    assert_near(decay * 0.649351, -4.4413, 1e-5);
    assert_near(decay, -6.8396, 1e-5);
    assert_near(sl_trap_streak_mm(0.6, 0.9995, 0.5, c, 40), 4.5032, 1e-5);
    /* Q = pi f tau with tau = 1 / 0.78744 us: 3.98 at pi f tau = pi * 1 MHz */
    assert_near(sl_trap_quality(0.6, 0.9995, 0.5, c, 1), SL_PI / (6.8396 / 8.685889638), 1e-5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(repeats),          cmocka_unit_test(strengths), cmocka_unit_test(tilt),
        cmocka_unit_test(bands_and_mirror), cmocka_unit_test(cavities),  cmocka_unit_test(bubble),
        cmocka_unit_test(ring_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
