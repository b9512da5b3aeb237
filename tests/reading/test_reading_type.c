/* The table of findings and the reading's way to JSON and back. */
#include "core/units.h"
#include "reading/reading.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void table_is_whole(void **state)
{
    (void)state;
    for (int i = 0; i < SL_CODES; i++) {
        const sl_finding_info *info = sl_finding_info_of((sl_code)i);
        assert_non_null(info);
        assert_int_equal(info->code, i);
        assert_true(info->key && info->key[0] && info->name && info->name[0] && info->unit && info->source);
        assert_true(info->low < info->high);
        for (const char *c = info->key; *c; c++)
            assert_true((*c >= 'a' && *c <= 'z') || *c == '_');
        assert_ptr_equal(sl_finding_info_by_key(info->key), info); /* keys differ from each other */
    }
    assert_null(sl_finding_info_by_key("nothing"));
    assert_null(sl_finding_info_by_key(NULL));
    assert_null(sl_finding_info_of(SL_CODES));
}

static sl_reading *sample(sl_arena *arena)
{
    static const double beam[] = {0.25, 0.5}, depth[] = {0.3125, 0.3};
    static const sl_evidence evidence[] = {
        {3, 9, 0.12, 0.36, 0.25, 0.5, 0.3, 0.3125, 2, beam, depth, "A-line 1"},
        {4, 4, NAN, NAN, 0.125, 0.25, 0.2, 1, 0, NULL, NULL, NULL},
    };
    sl_reading *reading = sl_reading_new(arena, SL_BY_PERSON, "reader A", "a clip \xc3\xa9.mp4");
    reading->method = "by eye";
    sl_finding *lines = sl_reading_put(reading, SL_A_LINES);
    lines->known = true;
    lines->answer = SL_PRESENT;
    lines->value = 0.75;
    lines->low = 0.5;
    lines->high = 0.875;
    lines->confidence = 0.9;
    lines->evidences = 2;
    lines->evidence = evidence;
    sl_finding *score = sl_reading_put(reading, SL_SCORE);
    score->reason = "the clip is too short";
    return reading;
}

static void round_trip(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_reading *reading = sample(&arena), *back = NULL;
    json_t *json = sl_reading_to_json(reading);
    sl_error error = {0};
    assert_int_equal(sl_reading_from_json(json, "reading", &arena, &back, &error), SL_OK);
    json_t *again = sl_reading_to_json(back);
    assert_true(json_equal(json, again));
    const sl_finding *lines = sl_reading_get(back, SL_A_LINES);
    assert_int_equal(lines->answer, SL_PRESENT);
    assert_int_equal(lines->evidences, 2);
    assert_string_equal(lines->evidence[0].label, "A-line 1");
    assert_true(lines->evidence[0].beam[1] == 0.5 && lines->evidence[0].depth[0] == 0.3125);
    assert_true(isnan(lines->evidence[1].first_time_s));
    const sl_finding *score = sl_reading_get(back, SL_SCORE);
    assert_false(score->known);
    assert_true(isnan(score->value));
    assert_string_equal(score->reason, "the clip is too short");
    assert_null(sl_reading_get(back, SL_SLIDING));
    json_decref(json);
    json_decref(again);
    sl_arena_free(&arena);
}

static void put_again_resets(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_reading *reading = sample(&arena);
    int before = reading->findings;
    const sl_finding *lines = sl_reading_put(reading, SL_A_LINES);
    assert_int_equal(reading->findings, before);
    assert_false(lines->known);
    assert_int_equal(lines->evidences, 0);
    for (int i = 0; i < SL_CODES; i++)
        sl_reading_put(reading, (sl_code)i);
    assert_int_equal(reading->findings, SL_CODES);
    sl_arena_free(&arena);
}

/* Each broken statement ends in a sentence that names the place. */
static void broken(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        {"[]", "reading"},
        {"{\"by\":\"nobody\",\"findings\":[]}", "reading.by"},
        {"{\"by\":\"person\"}", "reading.findings"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"x_lines\"}]}", "x_lines"},
        {"{\"by\":\"person\",\"findings\":[{}]}", "finding"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"score\",\"value\":4}]}", "score.value"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"score\",\"value\":\"2\"}]}", "score.value"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"score\"},{\"finding\":\"score\"}]}", "twice"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"a_lines\",\"answer\":\"maybe\"}]}", "a_lines.answer"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"a_lines\",\"confidence\":1.5}]}", "confidence"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"a_lines\",\"interval\":[1]}]}", "interval"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"a_lines\",\"evidence\":{}}]}", "evidence"},
        {"{\"by\":\"person\",\"findings\":[{\"finding\":\"a_lines\",\"evidence\":[{\"line\":[[1]]}]}]}", "line"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        sl_arena arena = {0};
        sl_error error = {0};
        sl_reading *reading = NULL;
        json_t *json = json_loads(cases[i][0], 0, NULL);
        assert_non_null(json);
        assert_int_equal(sl_reading_from_json(json, "reading", &arena, &reading, &error), SL_FORMAT);
        assert_null(reading);
        if (!strstr(error.text, cases[i][1]))
            fail_msg("case %zu: %s", i, error.text);
        json_decref(json);
        sl_arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(table_is_whole), cmocka_unit_test(round_trip),
                                       cmocka_unit_test(put_again_resets), cmocka_unit_test(broken)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
