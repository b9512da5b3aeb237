/* Scenarios: a sentence that names the field and the range for every impossible one; the same chest there and back. */
#include "chest/scenario.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#define BASE "\"name\":\"t\",\"title\":\"t\","

static void refused(void **state)
{
    (void)state;
    static const struct { const char *json, *field, *range; } cases[] = {
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"ribs\":[{\"x_mm\":0,\"depth_mm\":0.5,\"width_mm\":12,\"height_mm\":7}]}", "ribs[0].depth_mm", "3.0 to 23.0"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"ribs\":[{\"x_mm\":0,\"depth_mm\":60,\"width_mm\":12,\"height_mm\":7}]}", "ribs[0].depth_mm", "3.0 to 23.0"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"ribs\":[{\"x_mm\":0,\"width_mm\":12,\"height_mm\":7}]}", "depth_mm", "0 to 120"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"depth_mm\":-40}}", "controls.depth_mm", "20 to 300"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"depth_mm\":1e300}}", "controls.depth_mm", "20 to 300"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"depth_mm\":300,\"frame_rate_hz\":200}}", "controls.frame_rate_hz", "1 to 53.5"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"beams\":100.5}}", "controls.beams", "whole number from 16 to 512"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"harmonics\":1}}", "controls.harmonics", "true or false"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"depht_mm\":100}}", "depht_mm", "schema"},
        {"{" BASE "\"probe\":{\"kind\":\"curved\"}}", "probe.kind", "convex, linear, phased"},
        {"{" BASE "\"wall\":{}}", "probe.kind", "convex, linear, phased"},
        {"{\"title\":\"t\",\"probe\":{\"kind\":\"convex\"}}", "name", "63"},
        {"{" BASE "\"probe\":{\"kind\":\"linear\"},\"wall\":{\"muscle_mm\":60}}", "controls.depth_mm", "45.0"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"seed\":1.5}", "seed", "whole number"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"traps\":[{\"x_mm\":0,\"strength_db\":-20,\"size_mm\":0.5,\"q\":0}]}", "traps[0].q", "10 to 5000"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"effusion\":{\"depth_mm\":5,\"swing_mm\":30}}", "effusion.swing_mm", "0 to 10.0"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"crop_top_mm\":60,\"depth_mm\":80}}", "controls.crop_top_mm", "0 to 48.0"},
        {"{" BASE "\"probe\":{\"kind\":\"linear\",\"freq_mhz\":18},\"controls\":{\"depth_mm\":300,\"beams\":512,\"frame_rate_hz\":2,\"harmonics\":true}}", "samples", "4 million"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"controls\":{\"duration_s\":60,\"depth_mm\":30,\"frame_rate_hz\":150,\"beams\":64}}", "duration_s", "6000 frames"},
        {"{" BASE "\"probe\":{\"kind\":\"convex\"},\"ribs\":3}", "ribs", "list"},
        {"[1, 2]", "t.json", "braces"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        json_error_t where;
        json_t *json = json_loads(cases[i].json, 0, &where);
        if (!json)
            fail_msg("case %zu is no JSON: %s", i, where.text);
        sl_scenario scenario;
        sl_error error = {0};
        if (!sl_scenario_from_json(json, "t.json", &scenario, &error))
            fail_msg("case %zu was taken: %s", i, cases[i].json);
        if (!strstr(error.text, cases[i].field) || !strstr(error.text, cases[i].range))
            fail_msg("case %zu: \"%s\" does not name %s and %s", i, error.text, cases[i].field, cases[i].range);
        json_decref(json);
    }
}

static void there_and_back(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 60; seed++) {
        sl_scenario a, b;
        sl_error error = {0};
        sl_scenario_random(seed, 1 + (int)(seed % 3), &a);
        if (sl_scenario_check(&a, &error))
            fail_msg("seed %d: %s", (int)seed, error.text);
        json_t *json = sl_scenario_to_json(&a);
        if (sl_scenario_from_json(json, "round", &b, &error))
            fail_msg("seed %d: %s", (int)seed, error.text);
        json_t *again = sl_scenario_to_json(&b);
        assert_true(json_equal(json, again));
        json_decref(json);
        json_decref(again);
    }
}

static void set_one(void **state)
{
    (void)state;
    sl_scenario s;
    sl_error error = {0};
    sl_scenario_defaults(&s);
    assert_int_equal(sl_scenario_set(&s, "controls.depth_mm", "90", &error), SL_OK);
    assert_true(s.controls.depth_mm == 90);
    assert_int_equal(sl_scenario_set(&s, "ribs[1].x_mm", "20", &error), SL_OK);
    assert_true(s.rib[1].x_mm == 20);
    assert_int_equal(sl_scenario_set(&s, "controls.harmonics", "on", &error), SL_OK);
    assert_true(s.controls.harmonics);
    assert_int_not_equal(sl_scenario_set(&s, "controls.depth_mm", "deep", &error), SL_OK);
    assert_int_not_equal(sl_scenario_set(&s, "controls.deep", "9", &error), SL_OK);
    assert_int_not_equal(sl_scenario_set(&s, "ribs[5].x_mm", "20", &error), SL_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(refused), cmocka_unit_test(there_and_back), cmocka_unit_test(set_one)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
