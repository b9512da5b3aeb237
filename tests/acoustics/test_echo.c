/* Echo timing, frame rate and Doppler against worked examples. "Computed" = by an independent script from the
 * stated formula at 1540 m/s. */
#include "acoustics/echo.h"

#include "core/units.h"
#include "near.h"

static const double c = SL_SPEED_SCANNER_M_S;

static void time_and_depth(void **state)
{
    (void)state;
    assert_near(sl_echo_time_s(10, c), 12.987013e-6, 1e-7); /* computed; "13 us a cm" is the trade's rule */
    assert_near(sl_echo_time_s(100, c), 129.870130e-6, 1e-8);
    assert_near(sl_echo_depth_mm(sl_echo_time_s(37.5, c), c), 37.5, 1e-12);
    assert_unknown(sl_echo_time_s(10, 0));
    assert_unknown(sl_echo_depth_mm(1e-6, -1));
}

static void speed_error(void **state)
{
    (void)state;
    assert_near(sl_true_depth_mm(50, 1450), 47.0779, 1e-6); /* computed */
    assert_near(sl_true_depth_mm(50, 1580), 51.2987, 1e-6); /* computed */
    assert_near(sl_shown_depth_mm(sl_true_depth_mm(50, 1450), 1450), 50, 1e-12);
    assert_near(sl_shown_depth_mm(50, c), 50, 1e-12);
    assert_unknown(sl_true_depth_mm(50, 0));
    assert_unknown(sl_shown_depth_mm(50, 0));
}

static void frame_rate(void **state)
{
    (void)state;
    sl_frame_budget budget = {.depth_mm = 100, .beams = 128, .focal_zones = 1};
    assert_near(sl_frame_rate_most_hz(&budget, c), 60.15625, 1e-9); /* computed */
    budget.focal_zones = 2;
    assert_near(sl_frame_rate_most_hz(&budget, c), 30.078125, 1e-9); /* computed */
    sl_frame_budget deep = {.depth_mm = 160, .beams = 192};
    assert_near(sl_frame_rate_most_hz(&deep, c), 25.065104, 1e-7); /* computed */
    deep.angles = 3;
    assert_near(sl_frame_rate_most_hz(&deep, c), 25.065104 / 3, 1e-7);
    deep.pulses = 2;
    assert_near(sl_frame_rate_most_hz(&deep, c), 25.065104 / 6, 1e-7);
    deep.parallel = 4;
    assert_near(sl_frame_rate_most_hz(&deep, c), 25.065104 * 4 / 6, 1e-7);
    double depth_mm = sl_frame_depth_most_mm(&deep, 30, c);
    deep.depth_mm = depth_mm;
    assert_near(sl_frame_rate_most_hz(&deep, c), 30, 1e-12);
    sl_frame_budget none = {.depth_mm = 0, .beams = 128};
    assert_unknown(sl_frame_rate_most_hz(&none, c));
    none = (sl_frame_budget){.depth_mm = 100};
    assert_unknown(sl_frame_rate_most_hz(&none, c));
    assert_unknown(sl_frame_depth_most_mm(&deep, 0, c));
}

/* Evans & McDicken (from memory), values computed. */
static void doppler(void **state)
{
    (void)state;
    double deg60 = sl_rad(60);
    assert_near(sl_pulse_rate_most_hz(100, c), 7700, 1e-12);
    assert_near(sl_doppler_shift_hz(5, 0.5, deg60, c), 1623.3766, 1e-7);
    assert_near(sl_doppler_velocity_m_s(5, 1623.3766234, deg60, c), 0.5, 1e-9);
    assert_near(sl_nyquist_velocity_m_s(5, 7700, 0, c), 0.592900, 1e-9);
    assert_near(sl_nyquist_velocity_m_s(5, 7700, deg60, c), 1.185800, 1e-9);
    /* v D <= c^2 / 8 f: at 10 cm and 5 MHz the same as the Nyquist velocity at the highest pulse rate */
    assert_near(sl_range_velocity_m_s(5, 100, c), 0.592900, 1e-9);
    assert_unknown(sl_nyquist_velocity_m_s(5, 7700, sl_rad(90), c));
    assert_unknown(sl_doppler_velocity_m_s(5, 100, sl_rad(90), c));
    assert_unknown(sl_pulse_rate_most_hz(0, c));
    assert_unknown(sl_range_velocity_m_s(0, 100, c));
    assert_unknown(sl_doppler_shift_hz(5, 0.5, 0, 0));
}

/* A shift of PRF/2 + x is shown as x - PRF/2: sampling theorem. */
static void aliasing(void **state)
{
    (void)state;
    assert_near(sl_aliased_velocity_m_s(0.4, 0.5929), 0.4, 1e-12);
    assert_near(sl_aliased_velocity_m_s(0.7, 0.5929), 0.7 - 2 * 0.5929, 1e-12);
    assert_near(sl_aliased_velocity_m_s(-0.7, 0.5929), 2 * 0.5929 - 0.7, 1e-12);
    assert_near(sl_aliased_velocity_m_s(3, 0.5), -0.0 + 3 - 3, 1e-12);
    for (double v = -3; v < 3; v += 0.07) {
        double shown = sl_aliased_velocity_m_s(v, 0.5929);
        assert_true(shown >= -0.5929 && shown < 0.5929);
        /* the phase between two pulses, sampled at the pulse rate, cannot tell the two apart */
        assert_within(cos(SL_PI * shown / 0.5929), cos(SL_PI * v / 0.5929), 1e-9);
        assert_within(sin(SL_PI * shown / 0.5929), sin(SL_PI * v / 0.5929), 1e-9);
    }
    assert_unknown(sl_aliased_velocity_m_s(1, 0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(time_and_depth), cmocka_unit_test(speed_error), cmocka_unit_test(frame_rate),
        cmocka_unit_test(doppler),        cmocka_unit_test(aliasing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
