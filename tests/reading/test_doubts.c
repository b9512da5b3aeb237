/* What one sign makes of another, and lung without air of the score. The four levels: Soldati et al., J Ultrasound Med 2020;39:1413, doi
 * 10.1002/jum.15285 (2: with small consolidations, 3: large ones); larger than 1 cm is kept apart (clinical sheet 1). */
#include "reading/doubts.h"

#include "core/units.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static sl_finding *put(sl_reading *reading, sl_code code, double value, sl_answer answer)
{
    sl_finding *f = sl_reading_put(reading, code);
    f->known = sl_known(value);
    f->value = f->low = f->high = value;
    f->answer = answer;
    return f;
}

static sl_reading *made(sl_arena *arena, sl_answer solid, double extent_mm, double score)
{
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "test", "made");
    put(reading, SL_CONSOLIDATION, 0.9, solid);
    put(reading, SL_CONSOLIDATION_EXTENT, extent_mm, SL_UNCERTAIN);
    put(reading, SL_A_LINES, 0.8, SL_PRESENT);
    put(reading, SL_A_LINE_COUNT, 3, SL_UNCERTAIN);
    put(reading, SL_SCORE, score, SL_UNCERTAIN);
    sl_doubts_last(100, reading);
    return reading;
}

static void solid_lung_has_no_a_lines(void **state)
{
    (void)state;
    sl_arena arena = {0};
    const sl_reading *reading = made(&arena, SL_PRESENT, 25, 0);
    const sl_finding *lines = sl_reading_get(reading, SL_A_LINES);
    assert_int_equal(lines->answer, SL_UNCERTAIN);
    assert_true(lines->value < 0.1 && lines->reason[0]);
    assert_false(sl_reading_get(reading, SL_A_LINE_COUNT)->known);
    sl_arena_free(&arena);
}

static void the_score_is_that_of_its_size(void **state)
{
    (void)state;
    static const struct { double extent_mm, before, after, high; } cases[] = {
        {25, 0, 3, 3}, {6, 0, 2, 2}, {6, 3, 3, 3}, {SL_UNKNOWN, 1, 2, 3}, {10, 1, 2, 2},
    };
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        sl_arena arena = {0};
        const sl_finding *score = sl_reading_get(made(&arena, SL_PRESENT, cases[k].extent_mm, cases[k].before), SL_SCORE);
        assert_true(score->value == cases[k].after && score->high == cases[k].high && score->low == cases[k].before);
        sl_arena_free(&arena);
    }
}

/* Free air reflects all: what lies behind it is not seen (physics). */
static void no_lung_point_before_what_is_seen(void **state)
{
    (void)state;
    for (int k = 0; k < 3; k++) {
        sl_arena arena = {0};
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "made");
        put(reading, SL_LUNG_POINT, 0.9, SL_PRESENT);
        put(reading, SL_LUNG_POINT_TRAVEL, 8, SL_UNCERTAIN);
        put(reading, SL_EFFUSION, 0.8, k == 0 ? SL_PRESENT : SL_ABSENT);
        put(reading, SL_CONSOLIDATION, 0.8, k == 1 ? SL_PRESENT : SL_UNCERTAIN);
        sl_doubts_last(100, reading);
        assert_int_equal(sl_reading_get(reading, SL_LUNG_POINT)->answer, k == 2 ? SL_PRESENT : SL_UNCERTAIN);
        assert_int_equal(sl_reading_get(reading, SL_LUNG_POINT_TRAVEL)->known, k == 2);
        sl_arena_free(&arena);
    }
}

/* What is hardly stated leaves standing what is sure, and says so. */
static void a_sure_lung_point_stands(void **state)
{
    (void)state;
    static const struct { double point, solid; bool stands; } cases[] = {{0.95, 0.42, true}, {0.95, 0.6, false}, {0.7, 0.42, false}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        sl_arena arena = {0};
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "made");
        put(reading, SL_LUNG_POINT, cases[k].point, SL_PRESENT);
        put(reading, SL_LUNG_POINT_TRAVEL, 8, SL_UNCERTAIN);
        put(reading, SL_CONSOLIDATION, cases[k].solid, SL_PRESENT);
        sl_doubts_last(100, reading);
        const sl_finding *point = sl_reading_get(reading, SL_LUNG_POINT);
        assert_int_equal(point->answer, cases[k].stands ? SL_PRESENT : SL_UNCERTAIN);
        assert_true(fabs(point->value - cases[k].point * (1 - cases[k].solid)) < 1e-9 && point->reason[0]);
        assert_int_equal(sl_reading_get(reading, SL_LUNG_POINT_TRAVEL)->known, cases[k].stands);
        sl_arena_free(&arena);
    }
}

static void without_it_nothing_changes(void **state)
{
    (void)state;
    static const sl_answer answers[] = {SL_ABSENT, SL_UNCERTAIN};
    for (int k = 0; k < 2; k++) {
        sl_arena arena = {0};
        const sl_reading *reading = made(&arena, answers[k], 25, 1);
        assert_int_equal(sl_reading_get(reading, SL_A_LINES)->answer, SL_PRESENT);
        assert_true(sl_reading_get(reading, SL_SCORE)->value == 1);
        sl_arena_free(&arena);
    }
}

/* Colour and a clip of two frames leave open what they do not allow; a heart and an organ what they explain as well. */
static void what_a_cause_leaves_open(void **state)
{
    (void)state;
    static const struct { sl_cause cause; sl_code sign; sl_answer before; sl_answer after; } cases[] = {
        {SL_CAUSE_COLOUR, SL_EFFUSION, SL_ABSENT, SL_UNCERTAIN},          {SL_CAUSE_COLOUR, SL_B_LINES, SL_PRESENT, SL_PRESENT},
        {SL_CAUSE_COLOUR_MUCH, SL_B_LINES, SL_PRESENT, SL_UNCERTAIN},     {SL_CAUSE_HEART, SL_EFFUSION, SL_PRESENT, SL_UNCERTAIN},
        {SL_CAUSE_HEART, SL_EFFUSION, SL_ABSENT, SL_ABSENT},              {SL_CAUSE_ORGAN, SL_CONSOLIDATION, SL_PRESENT, SL_UNCERTAIN},
        {SL_CAUSE_FEW_FRAMES, SL_CONSOLIDATION, SL_ABSENT, SL_UNCERTAIN}, {SL_CAUSE_FEW_FRAMES, SL_CONSOLIDATION, SL_PRESENT, SL_PRESENT},
    };
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        sl_arena arena = {0};
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "made");
        put(reading, cases[k].sign, 0.4, cases[k].before);
        put(reading, SL_EFFUSION_DEPTH, 12, SL_UNCERTAIN);
        sl_doubt(cases[k].cause, 0, reading);
        assert_int_equal(sl_reading_get(reading, cases[k].sign)->answer, cases[k].after);
        assert_int_equal(sl_reading_get(reading, cases[k].sign)->reason[0] != 0, cases[k].before != cases[k].after);
        if (cases[k].sign == SL_EFFUSION)
            assert_int_equal(sl_reading_get(reading, SL_EFFUSION_DEPTH)->known, cases[k].before == cases[k].after);
        sl_arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(what_a_cause_leaves_open), cmocka_unit_test(solid_lung_has_no_a_lines), cmocka_unit_test(the_score_is_that_of_its_size),
                                       cmocka_unit_test(no_lung_point_before_what_is_seen), cmocka_unit_test(a_sure_lung_point_stands), cmocka_unit_test(without_it_nothing_changes)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
