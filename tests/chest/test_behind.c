/* The truth beyond the diaphragm, and the picture it goes with: a mirror image where aerated lung lies on the dome, none and the spine
 * where fluid or solid lung does (common practice, no source), and what the settings hide. */
#include "chest/chest.h"
#include "chest/scenario.h"
#include "chest/truth.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void base(sl_scenario *s)
{
    sl_scenario_random(5, 1, s);
    sl_scenario_probe_defaults(s, SL_PROBE_CONVEX);
    s->probe.freq_mhz = 3;
    s->ribs = 0;
    s->consolidations = 0;
    s->effusion.depth_mm = 0;
    s->pneumothorax.present = false;
    s->wall.lost_left = s->wall.lost_right = 0;
    s->base.organ = SL_ORGAN_LIVER;
    s->base.edge_mm = -5;
    s->base.swing_mm = 4;
    s->base.dome_mm = 55;
    s->base.dome_width_mm = 50;
    s->base.spine_mm = 105;
    s->controls.depth_mm = 140;
    s->controls.crop_top_mm = 0;
    s->controls.mirrored = false;
    s->controls.duration_s = 0.5;
}

static sl_reading *truth_of(const sl_scenario *s, sl_arena *arena)
{
    sl_chest *chest = NULL;
    sl_error error = {0};
    assert_int_equal(sl_chest_new(s, &chest, &error), SL_OK);
    sl_reading *r = sl_chest_truth(chest, arena);
    assert_non_null(r);
    sl_chest_free(&chest);
    return r;
}

static void says(const sl_scenario *s, sl_code code, sl_answer answer, bool seen)
{
    sl_arena arena = {0};
    const sl_finding *f = sl_reading_get(truth_of(s, &arena), code);
    assert_true(f->known);
    assert_int_equal(f->answer, answer);
    assert_int_equal(f->confidence > 0, seen);
    assert_int_equal(f->reason[0] == 0, seen);
    assert_true(f->evidences > 0 && f->evidence[0].points > 5);
    sl_arena_free(&arena);
}

static void lung_with_air_mirrors(void **state)
{
    (void)state;
    sl_scenario s;
    base(&s);
    says(&s, SL_MIRROR_IMAGE, SL_PRESENT, true);
    says(&s, SL_SPINE, SL_ABSENT, true);
}

static void fluid_shows_the_spine(void **state)
{
    (void)state;
    sl_scenario s;
    base(&s);
    s.effusion.depth_mm = 25;
    says(&s, SL_MIRROR_IMAGE, SL_ABSENT, true);
    says(&s, SL_SPINE, SL_PRESENT, true);
    s.controls.depth_mm = 100; /* not as deep as the spine */
    says(&s, SL_SPINE, SL_PRESENT, false);
    says(&s, SL_MIRROR_IMAGE, SL_ABSENT, true);
}

static void solid_lung_shows_the_spine(void **state)
{
    (void)state;
    sl_scenario s;
    base(&s);
    s.probe.freq_mhz = 2.5;
    s.consolidations = 1;
    s.consolidation[0] = (sl_consolidation){.width_mm = 200, .depth_mm = 40};
    says(&s, SL_MIRROR_IMAGE, SL_ABSENT, true);
    says(&s, SL_SPINE, SL_PRESENT, true);
    s.consolidation[0].depth_mm = 8; /* beside which lung with air lies on the dome */
    says(&s, SL_MIRROR_IMAGE, SL_PRESENT, true);
}

static void no_diaphragm_is_not_known(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_scenario s;
    base(&s);
    s.base.organ = SL_ORGAN_NONE;
    const sl_reading *r = truth_of(&s, &arena);
    assert_false(sl_reading_get(r, SL_SPINE)->known);
    assert_false(sl_reading_get(r, SL_MIRROR_IMAGE)->known);
    assert_string_equal(sl_reading_get(r, SL_SPINE)->reason, "no diaphragm in the picture");
    sl_arena_free(&arena);
}

/* Mean grey of the rows about a depth, over the right quarter of the picture, where the dome lies deep. */
static double grey_at(const sl_scenario *s, double first_mm, double last_mm)
{
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_gray picture;
    sl_view view;
    assert_int_equal(sl_chest_new(s, &chest, &error), SL_OK);
    sl_chest_view(chest, &view);
    assert_int_equal(sl_chest_frame(chest, 0, &picture, &error), SL_OK);
    double sum = 0, n = 0;
    for (double beam = 0.8; beam < 0.95; beam += 0.01)
        for (double mm = first_mm; mm < last_mm; mm += 0.5) {
            double x, y;
            sl_view_to_pixel(&view, beam, mm / s->controls.depth_mm, &x, &y);
            sum += picture.pixel[(int)y * picture.stride + (int)x];
            n++;
        }
    sl_chest_free(&chest);
    return sum / n;
}

/* The picture as the truth says: beyond the dome (some 75 mm deep) tissue where it mirrors, dark where there is fluid, bright at the spine. */
static void the_picture_shows_it(void **state)
{
    (void)state;
    sl_scenario s;
    base(&s);
    double image = grey_at(&s, 88, 98), instead_of_spine = grey_at(&s, 104, 108);
    s.effusion.depth_mm = 25;
    double fluid = grey_at(&s, 88, 98), bone = grey_at(&s, 104, 108);
    assert_true(image > 3 * fluid + 10);
    assert_true(bone > fluid + 60);
    assert_true(bone > instead_of_spine + 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(lung_with_air_mirrors), cmocka_unit_test(fluid_shows_the_spine),
                                       cmocka_unit_test(solid_lung_shows_the_spine), cmocka_unit_test(no_diaphragm_is_not_known),
                                       cmocka_unit_test(the_picture_shows_it)};
    return cmocka_run_group_tests_name("what is true beyond the diaphragm", tests, NULL, NULL);
}
