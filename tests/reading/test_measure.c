/* Measuring by hand: geometry with known answers, uncertainties against the closed form, and against drawn repeats. */
#include "reading/measure.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static const sl_view flat = {.shape = SL_SHAPE_LINEAR, .width = 400, .height = 400, .last_x = 399, .far_y = 399, .aspect = 1,
                             .mm_per_px = 0.25, .mm_per_px_sd = NAN, .face_visible = true};

static void close_to(double a, double b, double within)
{
    if (!(fabs(a - b) <= within))
        fail_msg("%g is not within %g of %g", a, within, b);
}

static void geometry(void **state)
{
    (void)state;
    const sl_pixel p[] = {{0, 0}, {30, 40}, {30, 0}};
    close_to(sl_measure(SL_MEASURE_DISTANCE, &flat, p, 2, NULL).value, 12.5, 1e-9); /* 3, 4, 5 x 10 pixels of 0.25 mm */
    close_to(sl_measure(SL_MEASURE_PATH, &flat, p, 3, NULL).value, 22.5, 1e-9);
    close_to(sl_measure(SL_MEASURE_AREA, &flat, p, 3, NULL).value, 37.5, 1e-9); /* 7.5 x 10 / 2 */
    const sl_pixel right[] = {{0, 10}, {0, 0}, {10, 0}};
    close_to(sl_measure(SL_MEASURE_ANGLE, &flat, right, 3, NULL).value, 90, 1e-9);
    sl_view tall = flat;
    tall.aspect = 2; /* a row is two pixel widths */
    close_to(sl_measure(SL_MEASURE_DISTANCE, &tall, right, 2, NULL).value, 5, 1e-9);
    close_to(sl_measure_interval(1.2, 0.4, 0.04).value, 0.8, 1e-12);
}

/* JCGM 100:2008: along the beam two points each of w / sqrt(12), so sd = sqrt(2 (pixel^2 + along^2) / 12 + 2 placement^2). */
static void uncertainty(void **state)
{
    (void)state;
    const sl_pixel down[] = {{100, 50}, {100, 250}}, side[] = {{50, 100}, {250, 100}};
    const sl_point_error e = {.along_mm = 0.6, .across_mm = 3, .placement_mm = 0.4};
    sl_measured a = sl_measure(SL_MEASURE_DISTANCE, &flat, down, 2, &e), b = sl_measure(SL_MEASURE_DISTANCE, &flat, side, 2, &e);
    close_to(a.sd, sqrt(2 * (0.25 * 0.25 + 0.6 * 0.6) / 12 + 2 * 0.16), 1e-6);
    close_to(b.sd, sqrt(2 * (0.25 * 0.25 + 9.0) / 12 + 2 * 0.16), 1e-6); /* across the beam its width counts */
    assert_string_equal(a.left_out, "");
    assert_string_equal(sl_measure(SL_MEASURE_DISTANCE, &flat, down, 2, NULL).left_out, "the resolution and the placement by hand");
    const sl_point_error half = {.along_mm = 0.6, .across_mm = NAN, .placement_mm = 0.4};
    assert_string_equal(sl_measure(SL_MEASURE_DISTANCE, &flat, down, 2, &half).left_out, "the width of the beam");
    /* A straight angle folds there, but its arms are no surer than those of a right one: each end turns by error over length. */
    const sl_pixel straight[] = {{50, 100}, {150, 100}, {250, 100}}, bent[] = {{50, 100}, {150, 100}, {250, 110}};
    double flat_sd = sl_measure(SL_MEASURE_ANGLE, &flat, straight, 3, &e).sd, bent_sd = sl_measure(SL_MEASURE_ANGLE, &flat, bent, 3, &e).sd;
    assert_true(flat_sd > 0.5 && fabs(flat_sd - bent_sd) < 0.1 * bent_sd);
    sl_view fan = flat; /* 45 degrees to the right of the apex the beam runs along the diagonal */
    fan.shape = SL_SHAPE_CONVEX;
    const sl_pixel diagonal[] = {{100, 100}, {200, 200}};
    close_to(sl_measure(SL_MEASURE_DISTANCE, &fan, diagonal, 2, &e).sd, a.sd, 1e-6);
    sl_view rough = flat;
    rough.mm_per_px_sd = 0.0025; /* 1 % */
    close_to(sl_measure(SL_MEASURE_DISTANCE, &rough, down, 2, &e).sd, hypot(a.sd, 0.5), 1e-6);
    close_to(sl_measure_interval(0, 1, 0.04).sd, 0.04 / sqrt(6.0), 1e-12);
}

/* The stated uncertainty is the spread of many placements drawn by chance with the same errors. */
static void drawn_repeats(void **state)
{
    (void)state;
    enum { TIMES = 4000 };
    static double value[TIMES];
    const sl_pixel corner[] = {{100, 100}, {200, 110}, {210, 200}, {90, 190}};
    const sl_point_error e = {.along_mm = 0, .across_mm = 0, .placement_mm = 0.5};
    double stated = sl_measure(SL_MEASURE_AREA, &flat, corner, 4, &e).sd, sum = 0, square = 0;
    uint64_t seed = 1;
    for (int t = 0; t < TIMES; t++) {
        sl_pixel p[4];
        for (int i = 0; i < 4; i++) {
            double g[2] = {0};
            for (int k = 0; k < 24; k++) { /* twelve uniforms each: nearly normal */
                seed = seed * 6364136223846793005u + 1442695040888963407u; /* Knuth's MMIX */
                g[k % 2] += (double)(seed >> 11) / 9007199254740992.0 - 0.5;
            }
            p[i] = (sl_pixel){corner[i].x + 2 * g[0], corner[i].y + 2 * g[1]}; /* 0.5 mm are 2 pixels */
        }
        value[t] = sl_measure(SL_MEASURE_AREA, &flat, p, 4, &e).value;
        sum += value[t] / TIMES;
    }
    for (int t = 0; t < TIMES; t++)
        square += (value[t] - sum) * (value[t] - sum) / (TIMES - 1);
    close_to(sqrt(square) / stated, 1, 0.05);
}

static void what_cannot_be_told(void **state)
{
    (void)state;
    sl_view none = flat;
    none.mm_per_px = NAN;
    const sl_pixel p[] = {{0, 0}, {30, 40}, {30, 0}, {NAN, 1}}, same[] = {{5, 5}, {5, 5}, {9, 9}};
    assert_false(sl_measure(SL_MEASURE_DISTANCE, &none, p, 2, NULL).known);
    assert_true(sl_measure(SL_MEASURE_ANGLE, &none, p, 3, NULL).known);
    assert_false(sl_measure(SL_MEASURE_AREA, &flat, p, 2, NULL).known);
    assert_false(sl_measure(SL_MEASURE_PATH, &flat, p, 4, NULL).known);
    assert_false(sl_measure(SL_MEASURE_ANGLE, &flat, same, 3, NULL).known);
    assert_false(sl_measure_interval(NAN, 1, 0.04).known);
}

/* On a motion trace's line: a straight one is a distance in value and uncertainty, however many places are given; a half circle of
 * 100 pixels is pi times as long as its radius, and only its two ends, there along the beam, make its uncertainty. */
static void along_a_trace(void **state)
{
    (void)state;
    enum { N = 181 };
    const sl_point_error e = {.along_mm = 0.6, .across_mm = 3, .placement_mm = 0.4};
    const double time_s[2] = {0.4, 1.4};
    sl_pixel line[N], arc[N];
    for (int i = 0; i < N; i++) {
        line[i] = (sl_pixel){100 + 60 * i / (N - 1.0), 50 + 80 * i / (N - 1.0)};
        arc[i] = (sl_pixel){200 + 100 * cos(acos(-1.0) * i / (N - 1)), 150 + 100 * sin(acos(-1.0) * i / (N - 1))};
    }
    const sl_pixel ends[] = {line[0], line[N - 1]};
    sl_measured straight = sl_measure(SL_MEASURE_DISTANCE, &flat, ends, 2, &e);
    sl_trace_measured m = sl_measure_trace(&flat, line, N, time_s, 0.04, &e);
    close_to(m.way.value, 25, 1e-9);
    close_to(m.way.sd, straight.sd, 1e-3);
    close_to(m.speed.value, 25, 1e-9);
    m = sl_measure_trace(&flat, arc, N, time_s, 0.04, &e);
    close_to(m.way.value, 25 * acos(-1.0), 0.01);
    close_to(m.way.sd, sqrt(2 * ((0.25 * 0.25 + 0.6 * 0.6) / 12 + 0.16)), 0.01);
    close_to(m.speed.sd, m.speed.value * hypot(m.way.sd / m.way.value, 0.04 / sqrt(6)), 1e-6);
}

static void into_a_reading(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_reading *reading = sl_reading_new(&arena, SL_BY_PERSON, "reader A", "clip");
    const sl_pixel p[] = {{100, 50}, {100, 130}};
    sl_measured m = sl_measure(SL_MEASURE_DISTANCE, &flat, p, 2, NULL);
    assert_true(sl_measure_put(&m, SL_EFFUSION_DEPTH, &flat, p, 2, 7, &arena, reading));
    const sl_finding *f = sl_reading_get(reading, SL_EFFUSION_DEPTH);
    close_to(f->value, 20, 1e-9);
    assert_true(f->low < 20 && f->high > 20 && f->evidences == 1 && f->evidence[0].points == 2);
    close_to(f->evidence[0].depth[0], 50.0 / 399, 0.01);
    m.value = 1e6; /* outside what the finding can be */
    assert_false(sl_measure_put(&m, SL_EFFUSION_DEPTH, &flat, p, 2, 7, &arena, reading));
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(geometry),      cmocka_unit_test(uncertainty),         cmocka_unit_test(drawn_repeats),
        cmocka_unit_test(what_cannot_be_told), cmocka_unit_test(into_a_reading), cmocka_unit_test(along_a_trace),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
