/* Reflection and transmission. Values computed from the formulas of Kinsler et al. (from memory) with the
 * speeds and densities of the IT'IS database. */
#include "acoustics/interface.h"

#include "acoustics/loss.h"
#include "core/units.h"
#include "near.h"

static double z(sl_medium_id id)
{
    return sl_medium_impedance_mrayl(id);
}

static void normal_incidence(void **state)
{
    (void)state;
    static const struct {
        sl_medium_id from, to;
        double r, r_intensity, t_intensity, echo_db;
    } row[] = {
        {SL_SOFT_TISSUE, SL_AIR_BODY, -0.999508, 0.999016, 9.84e-4, -0.004},
        {SL_MUSCLE, SL_AIR_BODY, -0.999536, 0.999072, 9.28e-4, -0.004},
        {SL_MUSCLE, SL_LUNG_AERATED, -0.644697, 0.415634, 0.584366, -3.813},
        {SL_FAT, SL_MUSCLE, 0.137786, 0.018985, 0.981015, -17.216},
        {SL_MUSCLE, SL_BONE, 0.589618, 0.347650, 0.652350, -4.589},
        {SL_BLOOD, SL_MUSCLE, 0.021911, 4.80e-4, 0.99952, -33.187},
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        double a = z(row[i].from), b = z(row[i].to);
        assert_within(sl_reflection(a, b), row[i].r, 1e-6);
        assert_within(sl_reflection_intensity(a, b), row[i].r_intensity, 1e-6);
        assert_within(sl_transmission_intensity(a, b), row[i].t_intensity, 1e-6);
        assert_within(sl_echo_loss_db(a, b), row[i].echo_db, 1e-3);
        /* identities */
        assert_within(sl_reflection_intensity(a, b) + sl_transmission_intensity(a, b), 1, 1e-12);
        assert_within(sl_reflection(a, b), -sl_reflection(b, a), 1e-15);
        assert_within(sl_transmission(a, b), 2 * b / (a + b), 1e-12);
    }
    assert_unknown(sl_reflection(0, 0));
    assert_unknown(sl_transmission_intensity(0, 0));
    assert_true(isinf(sl_echo_loss_db(1.5, 1.5)));
}

/* Echoes come in the order that the impedances say. */
static void order_of_strength(void **state)
{
    (void)state;
    double air = sl_echo_loss_db(z(SL_MUSCLE), z(SL_AIR_BODY)),
           bone = sl_echo_loss_db(z(SL_MUSCLE), z(SL_BONE));
    double fat = sl_echo_loss_db(z(SL_FAT), z(SL_MUSCLE)), blood = sl_echo_loss_db(z(SL_BLOOD), z(SL_MUSCLE));
    assert_true(air > bone && bone > fat && fat > blood);
}

static void oblique(void **state)
{
    (void)state;
    const sl_medium *fat = sl_medium_get(SL_FAT), *muscle = sl_medium_get(SL_MUSCLE);
    double c1 = fat->speed_m_s, c2 = muscle->speed_m_s;
    assert_near(sl_deg(sl_refraction_rad(sl_rad(30), c1, c2)), 33.466628, 1e-7);
    assert_near(sl_deg(sl_refraction_rad(sl_rad(20), c1, c2)), 22.1613, 1e-5);
    assert_near(sl_reflection_oblique(fat, muscle, sl_rad(30)), 0.156097, 5e-6);
    assert_near(sl_reflection_oblique(fat, muscle, 0), sl_reflection(z(SL_FAT), z(SL_MUSCLE)), 1e-12);
    assert_near(sl_deg(sl_critical_rad(c1, c2)), 65.0530, 1e-6);
    assert_near(sl_deg(sl_critical_rad(c2, sl_medium_get(SL_BONE)->speed_m_s)), 26.8660, 2e-6);
    assert_unknown(sl_critical_rad(c2, c1));
    assert_unknown(sl_refraction_rad(sl_rad(70), c1, c2));
    assert_near(sl_reflection_oblique(fat, muscle, sl_rad(70)), 1, 1e-15);
}

static void slab(void **state)
{
    (void)state;
    double re, im;
    sl_slab_reflection(1.5, 2.0, 1.5, SL_PI / 2, &re,
                       &im); /* quarter wave: (Z2^2 - Z1 Z3) / (Z2^2 + Z1 Z3) */
    assert_near(hypot(re, im), 0.28, 1e-12);
    sl_slab_reflection(1.5, 2.0, 1.5, SL_PI, &re, &im); /* half wave: transparent */
    assert_true(hypot(re, im) < 1e-12);
    sl_slab_reflection(1.5, 1.5, 2.0, 0.3, &re, &im); /* no first face: the second, delayed */
    assert_near(hypot(re, im), sl_reflection(1.5, 2.0), 1e-12);
    assert_near(atan2(im, re), 0.6, 1e-12);
    /* A matching layer sqrt(Z1 Z3) a quarter wave thick lets all through */
    sl_slab_reflection(1.5, sqrt(1.5 * 6.0), 6.0, SL_PI / 2, &re, &im);
    assert_true(hypot(re, im) < 1e-12);
}

/* A rib: intensity 0.652350 through each face (above), 4.74 dB/cm/MHz inside. Computed by hand:
 * 2 * 1.85519 + 4.74 * 3.5 * 0.8 = 16.982 dB one way at 3.5 MHz through 8 mm. */
static void rib_and_lung(void **state)
{
    (void)state;
    assert_near(sl_layer_loss_db(SL_MUSCLE, SL_BONE, 8, 3.5), 2 * -10 * log10(0.652350) + 4.74 * 3.5 * 0.8,
                1e-5);
    assert_near(sl_layer_loss_db(SL_MUSCLE, SL_BONE, 8, 3.5), 16.982, 1e-3);
    /* through the pleura into aerated lung as an effective fluid: 2.333 dB at the face, 20.1 dB/cm/MHz behind
     */
    assert_near(sl_entry_loss_db(SL_MUSCLE, SL_LUNG_AERATED, 5, 3.5),
                -10 * log10(0.584366) + 20.1 * 3.5 * 0.5, 1e-5);
    assert_unknown(sl_entry_loss_db(SL_MUSCLE, SL_MEDIA, 5, 3.5));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(normal_incidence), cmocka_unit_test(order_of_strength),
        cmocka_unit_test(oblique),          cmocka_unit_test(slab),
        cmocka_unit_test(rib_and_lung),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
