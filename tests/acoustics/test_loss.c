/* Attenuation, penetration, mechanical index and grey levels against worked examples. */
#include "acoustics/loss.h"

#include "core/units.h"
#include "near.h"

static const sl_attenuation half = {0.5, 1};

/* Definitions; computed. */
static void nepers(void **state)
{
    (void)state;
    assert_near(SL_DB_PER_NP, 20 / log(10), 1e-14);
    assert_near(sl_np_per_m(1), 11.512925465, 1e-9);
    assert_near(sl_db_per_cm(11.512925465), 1, 1e-9);
    sl_attenuation a = sl_attenuation_from_np_per_m(3.4575, 0.5, 1);
    assert_near(a.db_per_cm, 0.60063, 1e-4);
    assert_near(a.power, 1, 1e-15);
}

/* Textbook examples (0.5 dB/cm/MHz), computed. */
static void attenuation(void **state)
{
    (void)state;
    assert_near(sl_loss_round_trip_db(half, 3.5, 100), 35, 1e-12);
    assert_near(sl_loss_round_trip_db(half, 5, 100), 50, 1e-12);
    assert_near(sl_loss_round_trip_db(half, 10, 40), 40, 1e-12);
    assert_near(sl_loss_db(half, 5, 100), 25, 1e-12);
    assert_near(sl_attenuation_db_per_cm((sl_attenuation){0.0022, 2}, 5), 0.055, 1e-12);
    assert_near(sl_depth_gain_db_per_cm(half, 5), 5, 1e-12);
    assert_near(sl_depth_gain_db_per_us(half, 5, 1540), 0.385, 1e-12);
    assert_unknown(sl_attenuation_db_per_cm(half, 0));
}

static void penetration(void **state)
{
    (void)state;
    assert_near(sl_penetration_mm(half, 5, 100), 200, 1e-12);
    assert_near(sl_penetration_mm(half, 10, 100), 100, 1e-12);
    assert_near(sl_freq_most_mhz(half, 200, 100), 5, 1e-12);
    sl_attenuation muscle = {0.618, 1.083};
    assert_near(sl_penetration_mm(muscle, sl_freq_most_mhz(muscle, 83, 77), 77), 83, 1e-12);
    assert_unknown(sl_freq_most_mhz(half, 0, 100));
    assert_unknown(sl_freq_most_mhz(half, 100, 0));
}

/* Gaussian pulse, linear attenuation; the closed form computed, and checked here by weighting the spectrum
 * itself. */
static void centre_shift(void **state)
{
    (void)state;
    assert_near(sl_centre_shift_mhz(half, 1, 50), -0.575646, 1e-5);
    double weight = 0, moment = 0;
    for (double f = 0; f < 12; f += 0.001) {
        double amplitude =
            exp(-(f - 5) * (f - 5) / 2) * (f > 0 ? pow(10, -sl_loss_round_trip_db(half, f, 50) / 20) : 1);
        weight += amplitude;
        moment += amplitude * f;
    }
    assert_within(moment / weight - 5, sl_centre_shift_mhz(half, 1, 50), 1e-3);
    assert_unknown(sl_centre_shift_mhz((sl_attenuation){0.5, 1.1}, 1, 50));
}

/* Worked values computed; Nightingale et al. 2015 for the definition; clinical sheet: 1.2 MPa at 4 MHz gives
 * 0.60. */
static void mechanical_index(void **state)
{
    (void)state;
    assert_near(sl_mechanical_index(1.5, 5), 0.670820, 1e-6);
    assert_near(sl_mechanical_index(1.2, 4), 0.60, 1e-12);
    assert_near(sl_mechanical_index(0.8, 4), 0.40, 1e-12);
    assert_near(sl_derated_pressure_mpa(2, 5, 40), 1.002374, 1e-6);
    assert_near(sl_mechanical_index(sl_derated_pressure_mpa(2, 5, 40), 5), 0.448275, 2e-6);
    assert_near(sl_pressure_for_index_mpa(1.9, 3.5), 3.554574, 1e-6);
    assert_unknown(sl_mechanical_index(1, 0));
    assert_unknown(sl_pressure_for_index_mpa(1, 0));
}

static void grey(void **state)
{
    (void)state;
    static const double share[] = {1, 0.1, 0.01, 0.001}, level[] = {255, 170, 85, 0}; /* computed, DR 60 */
    for (int i = 0; i < 4; i++) {
        assert_within(sl_grey_level(share[i], 60), level[i], 1e-9);
        assert_near(sl_amplitude_share(level[i], 60), share[i], 1e-12);
    }
    assert_near(6 * sl_grey_per_db(60), 25.5, 1e-12);
    assert_within(sl_grey_level(2, 60), 255, 0);
    assert_within(sl_grey_level(1e-9, 60), 0, 0);
    assert_within(sl_grey_level(0, 60), 0, 0);
    assert_unknown(sl_grey_level(0.5, 0));
    assert_unknown(sl_grey_per_db(0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nepers),       cmocka_unit_test(attenuation),      cmocka_unit_test(penetration),
        cmocka_unit_test(centre_shift), cmocka_unit_test(mechanical_index), cmocka_unit_test(grey),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
