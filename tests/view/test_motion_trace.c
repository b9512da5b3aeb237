/* The motion trace of known frames: curves in closed form, grey along lines and curves, a bar that moves sinusoidally drawn back from
 * its trace, and a picture whose columns stand at the frames' own times. */
#include "core/units.h"
#include "view/motion_trace.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static uint8_t cell[SL_CELLS];

/* 400 x 300 pixel widths; pixels half as high again as wide. */
static const sl_view box = {.shape = SL_SHAPE_LINEAR, .width = 440, .height = 240, .first_x = 20, .last_x = 420, .near_y = 10, .far_y = 210,
                            .aspect = 1.5, .mm_per_px = 0.25};
static const sl_view fan = {.shape = SL_SHAPE_CONVEX, .width = 640, .height = 480, .apex_x = 320, .apex_y = -60, .first_angle = -0.5,
                            .last_angle = 0.5, .near_r = 80, .far_r = 480, .aspect = 1, .mm_per_px = 0.3};

static void lengths(void **state)
{
    (void)state;
    const double share[3] = {0, 0.5, 1};
    double b[3], d[3];
    const double beam[2] = {0.25, 0.75}, depth[2] = {0.2, 0.7};
    assert_true(fabs(sl_curve_places(&box, beam, depth, 2, share, 3, b, d) - hypot(200, 150)) < 1e-9);
    assert_true(fabs(b[1] - 0.5) < 1e-9 && fabs(d[1] - 0.45) < 1e-9 && fabs(d[2] - 0.7) < 1e-9);
    /* Along a beam of a fan, and the chord between two beams at one depth: 2 r sin(half the angle), in its middle cos of it nearer. */
    const double same[2] = {0.3, 0.3}, whole[2] = {0, 1}, apart[2] = {0.2, 0.8}, deep[2] = {0.5, 0.5};
    assert_true(fabs(sl_curve_places(&fan, same, whole, 2, share, 3, b, d) - 400) < 1e-9);
    assert_true(fabs(b[1] - 0.3) < 1e-9 && fabs(d[1] - 0.5) < 1e-9);
    assert_true(fabs(sl_curve_places(&fan, apart, deep, 2, share, 3, b, d) - 2 * 280 * sin(0.3)) < 1e-9);
    assert_true(fabs(b[1] - 0.5) < 1e-9 && fabs(d[1] - (280 * cos(0.3) - 80) / 400) < 1e-9);
    /* More points on a straight line change nothing; a curve through points of a circle is as long as the circle's arc. */
    const double line_b[4] = {0.25, 0.3, 0.6, 0.75}, line_d[4] = {0.2, 0.25, 0.55, 0.7};
    assert_true(fabs(sl_curve_places(&box, line_b, line_d, 4, share, 3, b, d) - 250) < 1e-3);
    double arc_b[9], arc_d[9], place_b[50], place_d[50], places[50], worst = 0;
    for (int i = 0; i < 9; i++) {
        double angle = SL_PI * i / 8; /* a half circle of 100 pixel widths */
        arc_b[i] = 0.5 + 100 * cos(angle) / 400;
        arc_d[i] = 0.2 + 100 * sin(angle) / 300;
    }
    for (int i = 0; i < 50; i++)
        places[i] = i / 49.0;
    double length = sl_curve_places(&box, arc_b, arc_d, 9, places, 50, place_b, place_d);
    assert_true(fabs(length - 100 * SL_PI) < 0.005 * 100 * SL_PI);
    for (int i = 0; i < 50; i++) { /* on the circle, at equal steps of its length */
        double x = 400 * (place_b[i] - 0.5), y = 300 * (place_d[i] - 0.2);
        worst = fmax(worst, fmax(fabs(hypot(x, y) - 100), fabs(atan2(y, x) - SL_PI * i / 49) * 100));
    }
    assert_true(worst < 2);
    /* What makes no curve. */
    const double bad[2] = {NAN, 0.5}, one[3] = {0.5, 0.5, 0.5};
    assert_false(sl_known(sl_curve_places(&box, bad, depth, 2, share, 3, b, d)));
    assert_false(sl_known(sl_curve_places(&box, one, one, 3, share, 3, b, d)));
    assert_false(sl_known(sl_curve_places(&box, beam, depth, 1, share, 3, b, d)));
    static const double many[SL_TRACE_POINTS_MOST + 1] = {0, 1};
    assert_false(sl_known(sl_curve_places(&box, many, many, SL_TRACE_POINTS_MOST + 1, share, 3, b, d)));
}

static void along_a_beam(void **state)
{
    (void)state;
    uint8_t column[SL_TRACE_ROWS];
    sl_trace_line line;
    for (int r = 0; r < SL_DEPTHS; r++)
        for (int j = 0; j < SL_BEAMS; j++)
            cell[r * SL_BEAMS + j] = (uint8_t)(r / 2 + j / 2);
    const double beam[2] = {0.5, 0.5}, depth[2] = {0, 1};
    assert_true(sl_trace_line_set(&line, &fan, beam, depth, 2, SL_TRACE_ROWS));
    sl_trace_column(cell, &line, column);
    for (int k = 0; k < SL_TRACE_ROWS; k++) {
        double row = fmin(fmax(SL_DEPTHS * (k + 0.5) / SL_TRACE_ROWS - 0.5, 0), SL_DEPTHS - 1);
        assert_true(fabs((double)column[k] - (row / 2 + 63.5 / 2)) <= 1.5);
    }
    assert_false(sl_trace_line_set(&line, &fan, beam, depth, 2, SL_TRACE_ROWS_LEAST - 1));
    assert_false(sl_trace_line_set(&line, &fan, beam, depth, 2, SL_TRACE_ROWS_MOST + 1));
}

/* Grey of a bar across the picture about a depth, in cells of the straightened frame. */
static void draw_bar(double depth)
{
    memset(cell, 0, sizeof cell);
    for (int r = 0; r < SL_DEPTHS; r++) {
        double off = ((r + 0.5) / SL_DEPTHS - depth) * SL_DEPTHS / 3;
        memset(cell + r * SL_BEAMS, (int)(200 * exp(-off * off)), SL_BEAMS);
    }
}

/* A bar at 0.5 + 0.1 sin(2 pi t / 2.5 s): its middle read back from the trace is where it was, along a beam and along a slanting line, on
 * which it is as far along as geometry says; frames at uneven times. */
static void a_moving_bar(void **state)
{
    (void)state;
    enum { N = 90, ROWS = 200, WIDE = 400 };
    static uint8_t grey[N * ROWS], pixel[WIDE * ROWS];
    static double time_s[N], steps[N];
    static int source[N], column[WIDE];
    const double beams[2][2] = {{0.5, 0.5}, {0.3, 0.8}}, depth[2] = {0.2, 0.8};
    for (int t = 0; t < N; t++) {
        time_s[t] = t ? time_s[t - 1] + (t % 3 ? 0.03 : 0.05) + (t == 50 ? 0.6 : 0) : 0; /* and a hole of 0.6 s */
        source[t] = t;
    }
    for (int way = 0; way < 2; way++) {
        sl_trace_line line;
        assert_true(sl_trace_line_set(&line, &box, beams[way], depth, 2, ROWS));
        for (int t = 0; t < N; t++) {
            draw_bar(0.5 + 0.1 * sin(2 * SL_PI * time_s[t] / 2.5));
            sl_trace_column(cell, &line, grey + t * ROWS);
        }
        const sl_motion_trace trace = {.columns = N, .rows = ROWS, .grey = grey, .time_s = time_s, .source = source};
        double to = time_s[N - 1], hold = sl_trace_hold(time_s, N, steps);
        assert_true(hold > 0.04 && hold < 0.08);
        sl_trace_axis(time_s, N, 0, to, hold, WIDE, column);
        sl_trace_picture(&trace, column, 255, WIDE, pixel);
        int gaps = 0;
        for (int x = 0; x < WIDE; x++) {
            double moment = (x + 0.5) / WIDE * to, sum = 0, at = 0;
            if (column[x] < 0) {
                assert_true(moment > time_s[49] && moment < time_s[50] && pixel[x] == 255);
                gaps++;
                continue;
            }
            for (int r = 0; r < ROWS; r++) {
                sum += pixel[r * WIDE + x];
                at += pixel[r * WIDE + x] * (r + 0.5) / ROWS;
            }
            double seen = 0.2 + 0.6 * at / sum, due = 0.5 + 0.1 * sin(2 * SL_PI * time_s[column[x]] / 2.5);
            assert_true(fabs(seen - due) < 0.002);
            assert_true(fabs(time_s[column[x]] - moment) <= hold);
        }
        assert_true(fabs(gaps / (double)WIDE * to - (time_s[50] - time_s[49] - 2 * hold)) < 2 * to / WIDE);
    }
}

static void along_a_curve(void **state)
{
    (void)state;
    enum { ROWS = 240 };
    uint8_t column[ROWS];
    sl_trace_line line;
    for (int r = 0; r < SL_DEPTHS; r++)
        for (int j = 0; j < SL_BEAMS; j++)
            cell[r * SL_BEAMS + j] = (uint8_t)(j < SL_BEAMS / 2 ? 200 : 50);
    /* The half circle from right to left: it crosses the middle beam in its middle. */
    double beam[9], depth[9];
    for (int i = 0; i < 9; i++) {
        beam[i] = 0.5 + 100 * cos(SL_PI * i / 8) / 400;
        depth[i] = 0.2 + 100 * sin(SL_PI * i / 8) / 300;
    }
    assert_true(sl_trace_line_set(&line, &box, beam, depth, 9, ROWS));
    sl_trace_column(cell, &line, column);
    int change = 0;
    while (change < ROWS && column[change] < 125)
        change++;
    assert_true(abs(change - ROWS / 2) <= 2);
    /* Beyond the picture there is nothing: a chord high up between the outer beams of a fan leaves it. */
    const double outer[2] = {0, 1}, high[2] = {0.02, 0.02};
    memset(cell, 90, sizeof cell);
    assert_true(sl_trace_line_set(&line, &fan, outer, high, 2, ROWS));
    sl_trace_column(cell, &line, column);
    assert_int_equal(column[0], 90);
    assert_int_equal(column[ROWS / 2], 0);
    assert_int_equal(column[ROWS - 1], 90);
}

static void at_the_frames_own_times(void **state)
{
    (void)state;
    enum { N = 4, WIDE = 100 };
    int column[WIDE];
    const double time_s[N] = {0, 1, 1.2, 10}, unknown[N] = {NAN, NAN, NAN, NAN}, still[1] = {0}, part[N] = {0, NAN, 1, 2};
    sl_trace_axis(time_s, N, 0, 10, 0.5, WIDE, column); /* a tenth of a second a pixel */
    assert_int_equal(column[0], 0);
    assert_int_equal(column[4], 0);
    assert_int_equal(column[6], 1);
    assert_int_equal(column[11], 2);
    assert_int_equal(column[16], 2);
    assert_int_equal(column[50], -1); /* nothing was recorded there */
    assert_int_equal(column[WIDE - 1], 3);
    sl_trace_axis(unknown, N, 0, N - 1, NAN, WIDE, column); /* equal steps */
    assert_int_equal(column[45], 1);
    assert_int_equal(column[55], 2);
    assert_false(sl_trace_timed(unknown, N) || sl_trace_timed(still, 1) || sl_trace_timed(part, N) || !sl_trace_timed(time_s, N));
    sl_trace_axis(still, 1, 0, 1, NAN, WIDE, column);
    assert_int_equal(column[0], 0);
    sl_trace_axis(still, 0, 0, 1, NAN, WIDE, column);
    assert_int_equal(column[0], -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(lengths), cmocka_unit_test(along_a_beam), cmocka_unit_test(along_a_curve),
                                       cmocka_unit_test(a_moving_bar), cmocka_unit_test(at_the_frames_own_times)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
