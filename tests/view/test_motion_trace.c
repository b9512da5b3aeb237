/* The motion trace of known frames: grey along lines and curves, and a picture whose columns stand at the frames' own times. */
#include "view/motion_trace.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

static uint8_t cell[SL_CELLS];

static void along_a_beam(void **state)
{
    (void)state;
    uint8_t column[SL_TRACE_ROWS];
    for (int r = 0; r < SL_DEPTHS; r++)
        for (int j = 0; j < SL_BEAMS; j++)
            cell[r * SL_BEAMS + j] = (uint8_t)(r / 2 + j / 2);
    const double beam[2] = {0.5, 0.5}, depth[2] = {0, 1};
    sl_trace_column(cell, beam, depth, 2, column);
    for (int k = 0; k < SL_TRACE_ROWS; k++) {
        double row = fmin(fmax(SL_DEPTHS * (double)k / (SL_TRACE_ROWS - 1) - 0.5, 0), SL_DEPTHS - 1);
        assert_true(fabs((double)column[k] - (row / 2 + 63.5 / 2)) <= 1.5);
    }
}

static void along_a_curve(void **state)
{
    (void)state;
    uint8_t column[SL_TRACE_ROWS];
    for (int r = 0; r < SL_DEPTHS; r++)
        for (int j = 0; j < SL_BEAMS; j++)
            cell[r * SL_BEAMS + j] = (uint8_t)(r < SL_DEPTHS / 2 ? 200 : 50);
    /* Down, then along: 64 cells of height and 64 of width, the corner in the middle of the trace. */
    const double beam[3] = {0.25, 0.25, 0.75}, depth[3] = {0.4, 0.65, 0.65};
    sl_trace_column(cell, beam, depth, 3, column);
    assert_int_equal(column[0], 200);
    assert_int_equal(column[SL_TRACE_ROWS - 1], 50);
    int change = 0;
    while (change < SL_TRACE_ROWS && column[change] > 125)
        change++;
    assert_true(abs(change - (int)(SL_TRACE_ROWS * 0.1 / 0.5)) <= 2); /* 0.1 of the depth is a fifth of the line's length */
    sl_trace_column(cell, beam, depth, 1, column);
    assert_int_equal(column[0], column[SL_TRACE_ROWS - 1]);
}

static void at_the_frames_own_times(void **state)
{
    (void)state;
    enum { N = 4, WIDE = 101 };
    static uint8_t grey[N * SL_TRACE_ROWS], pixel[WIDE * SL_TRACE_ROWS];
    const double time_s[N] = {0, 1, 1.2, 10}, unknown[N] = {NAN, NAN, NAN, NAN};
    const int source[N] = {0, 1, 2, 3};
    for (int t = 0; t < N; t++)
        for (int k = 0; k < SL_TRACE_ROWS; k++)
            grey[t * SL_TRACE_ROWS + k] = (uint8_t)(10 + t);
    sl_motion_trace trace = {.columns = N, .grey = grey, .time_s = time_s, .source = source};
    sl_trace_picture(&trace, 0.5, 0, WIDE, pixel); /* a tenth of a second a pixel */
    assert_int_equal(pixel[0], 10);
    assert_int_equal(pixel[4], 10);
    assert_int_equal(pixel[7], 11);
    assert_int_equal(pixel[12], 12);
    assert_int_equal(pixel[16], 12);
    assert_int_equal(pixel[50], 0); /* nothing was recorded there */
    assert_int_equal(pixel[WIDE - 1], 13);
    trace.time_s = unknown; /* equal steps */
    sl_trace_picture(&trace, 0.5, 0, WIDE, pixel);
    assert_int_equal(pixel[50 - 5], 11);
    assert_int_equal(pixel[50 + 5], 12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(along_a_beam), cmocka_unit_test(along_a_curve), cmocka_unit_test(at_the_frames_own_times)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
