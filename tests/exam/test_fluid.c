/* What an examination says of an effusion's volume: only what posture, breathing, place, breath and scale allow. The numbers of
 * the formulas are those of the papers (tests/reading/test_effusion_volume.c). */
#include "exam/fluid.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

typedef struct self {
    sl_arena arena;
    sl_exam exam;
    sl_exam_clip clip;
} self;

static void fill(self *s)
{
    memset(s, 0, sizeof *s);
    s->exam.breathing = SL_BREATHING_VENTILATED;
    s->clip.posture = SL_POSTURE_SUPINE;
    s->clip.zone = sl_zone_by_key("R-basal-lateral");
    s->clip.result.duration_s = 6;
    s->clip.result.reading = sl_reading_new(&s->arena, SL_BY_PROGRAM, "test", "clip");
    sl_finding *answer = sl_reading_put(s->clip.result.reading, SL_EFFUSION);
    answer->known = true;
    answer->answer = SL_PRESENT;
    sl_finding *depth = sl_reading_put(s->clip.result.reading, SL_EFFUSION_DEPTH);
    depth->known = true;
    depth->value = 35;
}

static sl_exam_fluid of(self *s)
{
    sl_exam_fluid fluid;
    assert_true(sl_exam_fluid_of(&s->exam, &s->clip, &s->clip.result, &fluid));
    for (int i = 0; i < SL_VOLUMES; i++)
        assert_true(fluid.volume[i].applies == !fluid.volume[i].why_not[0]);
    return fluid;
}

static void no_number(self *s, const char *why)
{
    sl_exam_fluid fluid = of(s);
    bool said = false;
    assert_int_equal(fluid.applying, 0);
    assert_true(isnan(fluid.least_ml) && isnan(fluid.most_ml));
    for (int i = 0; i < SL_VOLUMES; i++)
        said = said || strstr(fluid.volume[i].why_not, why);
    if (!said)
        fail_msg("nothing says \"%s\"", why);
    sl_arena_free(&s->arena);
}

/* Balik et al. 2006: mean separation 35 mm, 700 mL; supine, ventilated, end of expiration, posterior axillary line. */
static void what_applies(void **state)
{
    (void)state;
    self s;
    fill(&s);
    sl_exam_fluid fluid = of(&s);
    assert_int_equal(fluid.applying, 1);
    assert_true(fabs(fluid.least_ml - 700) < 1e-9 && fabs(fluid.most_ml - 700) < 1e-9);
    for (int i = 0; i < SL_VOLUMES; i++)
        if (fluid.volume[i].applies)
            assert_true(fluid.volume[i].low_ml < 700 && fluid.volume[i].high_ml > 700); /* never a bare number */
    sl_finding *depth = sl_reading_put(s.clip.result.reading, SL_EFFUSION_DEPTH);
    depth->known = true;
    depth->value = 46;
    assert_true(strstr(of(&s).large, "Vignon 2005")); /* over 45 mm at the right base */
    sl_arena_free(&s.arena);
}

static void what_does_not(void **state)
{
    (void)state;
    self s;
    fill(&s);
    s.clip.posture = SL_POSTURE_UNKNOWN;
    no_number(&s, "how the patient lay is not known");
    fill(&s);
    s.clip.posture = SL_POSTURE_LEFT_SIDE;
    no_number(&s, "made for patients who lie");
    fill(&s);
    s.exam.breathing = SL_BREATHING_UNKNOWN;
    no_number(&s, "whether the patient is ventilated is not known");
    fill(&s);
    s.exam.breathing = SL_BREATHING_OWN;
    no_number(&s, "made for ventilated patients");
    fill(&s);
    s.clip.zone = NULL;
    no_number(&s, "where it was measured is not known");
    fill(&s);
    s.clip.zone = sl_zone_by_key("R-upper-anterior");
    no_number(&s, "made for the base");
    fill(&s);
    s.clip.result.duration_s = 2; /* not a whole breath */
    no_number(&s, "at the end of expiration");
    fill(&s);
    sl_reading_put(s.clip.result.reading, SL_EFFUSION_DEPTH); /* no scale */
    no_number(&s, "the picture's scale is not known");
    fill(&s);
    sl_exam_fluid fluid;
    sl_reading_put(s.clip.result.reading, SL_EFFUSION);
    assert_false(sl_exam_fluid_of(&s.exam, &s.clip, &s.clip.result, &fluid));
    s.clip.result.reading = NULL; /* not read */
    assert_false(sl_exam_fluid_of(&s.exam, &s.clip, &s.clip.result, &fluid));
    sl_arena_free(&s.arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(what_applies), cmocka_unit_test(what_does_not)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
