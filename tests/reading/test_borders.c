/* Borders of the diaphragm set by hand: known paths give known figures, a correction changes what it should and nothing else, what
 * cannot be meant is refused. Shift between points: monotone as Fritsch & Butland 1984 say. Thickening fraction: the worked example
 * (2.7 - 2.0) / 2.0 = 35 % (Ferrari et al., Crit Ultrasound J 2014;6:8, doi 10.1186/2036-7902-6-8). */
#include "core/json.h"
#include "core/units.h"
#include "reading/borders.h"
#include "reading/diaphragm_table.h"
#include "view/stack.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { N = 240 };
static const double frame_s = 0.05, hz = 0.25, depth_mm = 128;
static int source[N];
static double time_s[N], none_s[N], dome[N], upper[N], lower[N];
static sl_arena arena;
static sl_view view;

/* 0 at the end of expiration, 1 at that of inspiration; turns at whole frames: 10, 50, 90 ... */
static double breath(int t)
{
    return 0.5 - 0.5 * cos(2 * SL_PI * hz * (t - 10) * frame_s);
}

static int begin(void **state)
{
    (void)state;
    view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 400, .height = 512, .first_x = 0, .last_x = 399, .near_y = 0, .far_y = 511, .aspect = 1,
                     .mm_per_px = depth_mm / 511, .mm_per_px_sd = 0};
    for (int t = 0; t < N; t++) {
        source[t] = 2 * t; /* every second frame was read */
        time_s[t] = t * frame_s;
        none_s[t] = SL_UNKNOWN;
        dome[t] = (100 - 20 * breath(t)) / depth_mm;
        upper[t] = 30 / depth_mm;
        lower[t] = (30 + 2 + 0.7 * breath(t)) / depth_mm;
    }
    return 0;
}

static int end(void **state)
{
    (void)state;
    sl_arena_free(&arena);
    return 0;
}

static sl_border_path of(sl_border_kind kind)
{
    return (sl_border_path){.frames = N, .source = source, .time_s = time_s, .found = true, .index = 0.9, .beam = 0.5,
                            .depth = {kind == SL_BORDER_DOME ? dome : upper, kind == SL_BORDER_DOME ? NULL : lower}};
}

static sl_border_figures measure(sl_border_kind kind, const sl_border_path *path, const sl_border_hand *hand)
{
    sl_border_figures f;
    sl_error error = {0};
    if (sl_borders_measure(kind, path, hand, &view, &arena, &f, &error) != SL_OK)
        fail_msg("%s", error.text);
    return f;
}

static const sl_finding *get(const sl_border_figures *f, sl_code code)
{
    const sl_finding *found = sl_reading_get(f->reading, code);
    assert_non_null(found);
    return found;
}

static bool near(double a, double b, double by)
{
    return fabs(a - b) <= by;
}

static void known_paths_give_known_figures(void **state)
{
    (void)state;
    sl_border_path path = of(SL_BORDER_DOME);
    sl_border_figures f = measure(SL_BORDER_DOME, &path, NULL);
    int whole = 0;
    for (int b = 0; b < f.breaths.count; b++)
        if (f.breaths.breath[b].whole) {
            whole++;
            assert_true(near((f.breaths.breath[b].high - f.breaths.breath[b].low) * f.row_mm, 20, 0.2));
            assert_true(abs(f.breaths.breath[b].from_source - f.breaths.breath[b].to_source) >= 76); /* two seconds at 40 frames */
            assert_true(f.hand_sd[b] == 0);
        }
    assert_int_equal(whole, 3);
    assert_true(near(get(&f, SL_DIAPHRAGM_EXCURSION)->value, 20, 0.2));
    /* of a cosine the middle 80 % of the way take acos(-0.8) - acos(0.8) of pi, here of 2 s */
    assert_true(near(get(&f, SL_DIAPHRAGM_SPEED)->value, 16 / ((acos(-0.8) - acos(0.8)) / SL_PI * 2), 0.4));
    path = of(SL_BORDER_MUSCLE);
    f = measure(SL_BORDER_MUSCLE, &path, NULL);
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKNESS)->value, 2.0, 0.01) && near(get(&f, SL_DIAPHRAGM_THICKNESS_IN)->value, 2.7, 0.01));
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKENING)->value, 35, 0.7));
    assert_true(get(&f, SL_DIAPHRAGM_THICKNESS)->low < 2.0 && get(&f, SL_DIAPHRAGM_THICKNESS)->high > 2.0);
}

static void a_point_shifts_and_pins(void **state)
{
    (void)state;
    const sl_border_path path = of(SL_BORDER_DOME);
    /* one point: the line as a whole, so that no breath's way changes, nor is its error more */
    sl_border_hand hand = {.beam = SL_UNKNOWN, .points = 1, .point = {{0, 100, dome[50] + 0.1}}};
    sl_border_figures f = measure(SL_BORDER_DOME, &path, &hand), as_found = measure(SL_BORDER_DOME, &path, NULL);
    for (int t = 0; t < N; t++)
        assert_true(near(f.path.depth[0][t], dome[t] + 0.1, 1e-12));
    assert_true(near(get(&f, SL_DIAPHRAGM_EXCURSION)->value, get(&as_found, SL_DIAPHRAGM_EXCURSION)->value, 1e-9));
    assert_true(near(get(&f, SL_DIAPHRAGM_EXCURSION)->high, get(&as_found, SL_DIAPHRAGM_EXCURSION)->high, 1e-9));
    /* the end of the second inspiration 6 mm further up, pinned at the ends of expiration beside it and once more outside them */
    hand = (sl_border_hand){.beam = SL_UNKNOWN, .points = 5,
                            .point = {{0, 140, dome[70]}, {0, 180, dome[90]}, {0, 260, dome[130] - 6 / depth_mm}, {0, 340, dome[170]}, {0, 380, dome[190]}}};
    f = measure(SL_BORDER_DOME, &path, &hand);
    for (int t = 0; t < N; t++) {
        double shift = f.path.depth[0][t] - dome[t];
        assert_true(t <= 90 || t >= 170 ? near(shift, 0, 1e-12) : shift <= 1e-12 && shift >= -6 / depth_mm - 1e-12); /* never over */
        if (t > 91 && t <= 130)
            assert_true(shift <= f.path.depth[0][t - 1] - dome[t - 1] + 1e-12); /* nor back */
    }
    assert_true(near(f.path.depth[0][130], dome[130] - 6 / depth_mm, 1e-12));
    assert_int_equal(f.breaths.count, as_found.breaths.count);
    int changed = 0;
    for (int b = 0; b < f.breaths.count; b++) {
        double way = (f.breaths.breath[b].high - f.breaths.breath[b].low) * f.row_mm, before = (as_found.breaths.breath[b].high - as_found.breaths.breath[b].low) * f.row_mm;
        if (near(way, before, 0.1)) { /* neighbours share a turn, whose mean is over three frames */
            assert_true(f.hand_sd[b] * f.row_mm < 0.4);
            continue;
        }
        changed++;
        assert_true(near(way, before + 6, 0.2));
        /* two points set by hand, each off by BORDER_HAND_PX: the root of the sum of their squares */
        assert_true(near(f.hand_sd[b] * f.row_mm, BORDER_HAND_PX * sqrt(2) * depth_mm / 511, 0.02));
    }
    assert_int_equal(changed, 1);
    assert_true(near(get(&f, SL_DIAPHRAGM_EXCURSION)->value, 20, 0.2)); /* the median of three */
    assert_true(get(&f, SL_DIAPHRAGM_EXCURSION)->high > get(&as_found, SL_DIAPHRAGM_EXCURSION)->high + 2);
}

static void one_border_alone_moves(void **state)
{
    (void)state;
    const sl_border_path path = of(SL_BORDER_MUSCLE);
    const sl_border_hand hand = {.beam = SL_UNKNOWN, .points = 1, .point = {{1, 100, lower[50] + 0.5 / depth_mm}}};
    sl_border_figures f = measure(SL_BORDER_MUSCLE, &path, &hand), before = measure(SL_BORDER_MUSCLE, &path, NULL);
    assert_memory_equal(f.path.depth[0], upper, sizeof upper);
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKNESS)->value, get(&before, SL_DIAPHRAGM_THICKNESS)->value + 0.5, 1e-6));
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKNESS_IN)->value, get(&before, SL_DIAPHRAGM_THICKNESS_IN)->value + 0.5, 1e-6));
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKENING)->value, 100 * 0.7 / 2.5, 0.6));
    /* both thicknesses err by the one point: 1.96 times it, beside what the reading says of itself */
    double half = get(&f, SL_DIAPHRAGM_THICKNESS)->value - get(&f, SL_DIAPHRAGM_THICKNESS)->low, hand_half = 1.96 * BORDER_HAND_PX * depth_mm / 511;
    double own = get(&before, SL_DIAPHRAGM_THICKNESS)->value - get(&before, SL_DIAPHRAGM_THICKNESS)->low;
    assert_true(near(half, hypot(own, hand_half), 1e-3));
}

static void borders_where_none_were_found(void **state)
{
    (void)state;
    sl_border_path path = of(SL_BORDER_MUSCLE);
    path.found = false;
    path.depth[0] = path.depth[1] = NULL;
    sl_border_figures f = measure(SL_BORDER_MUSCLE, &path, NULL);
    assert_false(get(&f, SL_DIAPHRAGM_THICKNESS)->known);
    sl_border_hand hand = {.beam = 0.3, .points = 5, .turns = 3,
        .point = {{0, 20, 30 / depth_mm}, {0, 180, 30 / depth_mm}, {1, 20, 32 / depth_mm}, {1, 100, 32.7 / depth_mm}, {1, 180, 32 / depth_mm}},
        .turn = {{20, false}, {100, true}, {180, false}}};
    f = measure(SL_BORDER_MUSCLE, &path, &hand);
    assert_int_equal(f.breaths.count, 1);
    assert_true(f.breaths.breath[0].whole && f.breaths.breath[0].from_source == 20 && f.breaths.breath[0].to_source == 100);
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKNESS)->value, 2.0, 0.005) && near(get(&f, SL_DIAPHRAGM_THICKENING)->value, 35, 0.4));
    assert_true(isnan(f.path.depth[0][5]) && isnan(f.path.depth[0][100]) && near(f.path.beam, 0.3, 1e-12));
    assert_true(isnan(get(&f, SL_DIAPHRAGM_THICKNESS)->confidence));
    hand.points = 1;
    f = measure(SL_BORDER_MUSCLE, &path, &hand);
    assert_false(get(&f, SL_DIAPHRAGM_THICKNESS)->known);
    assert_true(get(&f, SL_DIAPHRAGM_THICKNESS)->reason[0]);
    /* set anew: the same as where nothing was found */
    path = of(SL_BORDER_MUSCLE);
    hand.points = 5;
    hand.anew = true;
    f = measure(SL_BORDER_MUSCLE, &path, &hand);
    assert_true(isnan(f.path.depth[0][5]) && near(get(&f, SL_DIAPHRAGM_THICKENING)->value, 35, 0.4));
}

static void marked_turns_are_the_breaths(void **state)
{
    (void)state;
    const sl_border_path path = of(SL_BORDER_DOME);
    sl_border_hand hand = {.beam = SL_UNKNOWN, .turns = 3, .turn = {{20, false}, {60, true}, {180, false}}}; /* from the end of expiration half of the way */
    sl_border_figures f = measure(SL_BORDER_DOME, &path, &hand);
    assert_int_equal(f.breaths.count, 1);
    assert_true(near(get(&f, SL_DIAPHRAGM_EXCURSION)->value, 10, 0.5)); /* a mean over two or three frames of a steep path */
    hand = (sl_border_hand){.beam = SL_UNKNOWN, .turns = 2, .turn = {{100, false}, {180, true}}}; /* the other way round */
    f = measure(SL_BORDER_DOME, &path, &hand);
    assert_false(get(&f, SL_DIAPHRAGM_EXCURSION)->known);
    assert_non_null(strstr(get(&f, SL_DIAPHRAGM_EXCURSION)->reason, "away from the probe"));
}

static void no_scale_no_millimetres_no_times_no_speed(void **state)
{
    (void)state;
    sl_border_path path = of(SL_BORDER_MUSCLE);
    view.mm_per_px = SL_UNKNOWN;
    sl_border_figures f = measure(SL_BORDER_MUSCLE, &path, NULL);
    assert_false(get(&f, SL_DIAPHRAGM_THICKNESS)->known || get(&f, SL_DIAPHRAGM_THICKNESS_IN)->known);
    assert_true(near(get(&f, SL_DIAPHRAGM_THICKENING)->value, 35, 0.7)); /* a ratio */
    json_t *json = sl_border_figures_to_json(SL_BORDER_MUSCLE, &f);
    assert_true(json_is_null(json_object_get(json_array_get(json_object_get(json, "breaths"), 0), "low_mm")));
    json_decref(json);
    path = of(SL_BORDER_DOME);
    f = measure(SL_BORDER_DOME, &path, NULL);
    assert_false(get(&f, SL_DIAPHRAGM_EXCURSION)->known);
    view.mm_per_px = depth_mm / 511;
    path.time_s = none_s;
    f = measure(SL_BORDER_DOME, &path, NULL);
    assert_true(get(&f, SL_DIAPHRAGM_EXCURSION)->known && near(get(&f, SL_DIAPHRAGM_EXCURSION)->value, 20, 0.3));
    assert_true(!sl_reading_get(f.reading, SL_DIAPHRAGM_SPEED)->known);
}

static void what_cannot_be_meant_is_refused(void **state)
{
    (void)state;
    const sl_border_path path = of(SL_BORDER_MUSCLE);
    const sl_border_hand bad[] = {
        {.points = 1, .point = {{0, 2 * N, 0.2}}},                      /* outside the clip */
        {.points = 2, .point = {{0, 100, 0.2}, {0, 60, 0.2}}},          /* not in order */
        {.points = 2, .point = {{0, 100, 0.2}, {0, 100, 0.21}}},        /* two in one frame */
        {.points = 1, .point = {{1, 100, 0.1}}},                        /* lines that cross */
        {.turns = 1, .turn = {{2 * N, true}}},
        {.turns = 2, .turn = {{20, true}, {60, true}}},
        {.turns = 2, .turn = {{60, true}, {20, false}}},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        sl_border_figures f;
        sl_error error = {0};
        assert_int_equal(sl_borders_measure(SL_BORDER_MUSCLE, &path, &bad[i], &view, &arena, &f, &error), SL_USAGE);
        assert_true(strlen(error.text) > 20);
    }
    const char *hostile[] = {"[]", "{\"points\": 3}", "{\"points\": [3]}", "{\"points\": [{\"line\": 0, \"frame\": -1, \"depth\": 0.5}]}",
                             "{\"points\": [{\"line\": 2, \"frame\": 1, \"depth\": 0.5}]}", "{\"points\": [{\"line\": 0, \"frame\": 1.5, \"depth\": 0.5}]}",
                             "{\"points\": [{\"line\": 0, \"frame\": 1, \"depth\": 1.5}]}", "{\"points\": [{\"line\": 0, \"frame\": 1}]}",
                             "{\"turns\": [{\"frame\": 1, \"end\": \"no\"}]}", "{\"turns\": [{\"end\": \"expiration\"}]}", "{\"beam\": 7}",
                             "{\"points\": [{\"line\": 0, \"frame\": 99999999999, \"depth\": 0.5}]}"};
    for (size_t i = 0; i < sizeof hostile / sizeof *hostile; i++) {
        json_t *json = json_loads(hostile[i], 0, NULL);
        sl_border_hand hand;
        assert_non_null(json);
        assert_int_equal(sl_border_hand_from_json(json, SL_BORDER_MUSCLE, &hand, NULL), SL_USAGE);
        json_decref(json);
    }
    json_t *many = json_pack("{s:[]}", "points");
    for (int i = 0; i < SL_BORDER_POINTS_MOST + 1; i++)
        json_array_append_new(json_object_get(many, "points"), json_pack("{s:i,s:i,s:f}", "line", 0, "frame", i, "depth", 0.5));
    sl_border_hand hand;
    assert_int_equal(sl_border_hand_from_json(many, SL_BORDER_MUSCLE, &hand, NULL), SL_LIMIT);
    json_decref(many);
}

static void paths_come_back_from_json(void **state)
{
    (void)state;
    const sl_border_path path = of(SL_BORDER_MUSCLE);
    sl_border_path back;
    json_t *json = sl_border_path_to_json(&path);
    assert_true(sl_border_path_from_json(json, &arena, &back));
    assert_true(back.frames == N && back.found && back.beam == 0.5);
    for (int t = 0; t < N; t++)
        assert_true(back.source[t] == source[t] && near(back.time_s[t], time_s[t], 1e-4) && near(back.depth[1][t], lower[t], 1e-6));
    json_array_set_new(json_object_get(json, "frames"), 3, json_integer(0)); /* not rising */
    assert_false(sl_border_path_from_json(json, &arena, &back));
    assert_int_equal(back.frames, 0);
    json_decref(json);
    assert_false(sl_border_path_from_json(NULL, &arena, &back));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(known_paths_give_known_figures), cmocka_unit_test(a_point_shifts_and_pins),
                                       cmocka_unit_test(one_border_alone_moves), cmocka_unit_test(borders_where_none_were_found),
                                       cmocka_unit_test(marked_turns_are_the_breaths), cmocka_unit_test(no_scale_no_millimetres_no_times_no_speed),
                                       cmocka_unit_test(what_cannot_be_meant_is_refused), cmocka_unit_test(paths_come_back_from_json)};
    return cmocka_run_group_tests(tests, begin, end);
}
