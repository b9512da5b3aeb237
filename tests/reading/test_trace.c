/* The texture of motion traces over all spaces and about one line: speckle that is still above a line, still below it in one half of the
 * picture and new in every frame in the other; and where a line meets the pleural line, by geometry. */
#include "core/units.h"
#include "moving.h"
#include "reading/segments.h"
#include "reading/trace.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { FRAMES = 30, LINE = 100 };

static unsigned next(unsigned *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 24;
}

static void about_a_line(void **state)
{
    (void)state;
    static uint8_t cell[FRAMES * SL_CELLS], mask[SL_CELLS];
    static double time_s[FRAMES];
    static int source[FRAMES];
    static sl_pleura pleura;
    static sl_texture whole, half;
    unsigned random = 7;
    for (int i = 0; i < SL_CELLS; i++)
        mask[i] = 1;
    for (int t = 0; t < FRAMES; t++) {
        time_s[t] = t * 0.1;
        source[t] = t;
        for (int r = 0; r < SL_DEPTHS; r++)
            for (int j = 0; j < SL_BEAMS; j++) {
                unsigned grain = (unsigned)(r * SL_BEAMS + j) * 2654435761u;
                uint8_t fixed = (uint8_t)(next(&grain)), *at = &cell[t * SL_CELLS + r * SL_BEAMS + j];
                bool moves = r > LINE && j >= SL_BEAMS / 2;
                *at = (uint8_t)(moves ? next(&random) : fixed);
                *at = (uint8_t)(*at / 2 + next(&random) % 8); /* a little noise everywhere */
            }
    }
    pleura.seen = true;
    for (int j = 0; j < SL_BEAMS; j++) {
        pleura.line[j] = LINE;
        pleura.beams.kind[j] = SL_BEAM_SPACE;
    }
    const sl_stack stack = {.frames = FRAMES, .cell = cell, .time_s = time_s, .source = source, .mask = mask, .times_known = true, .frame_s = 0.1};
    sl_texture_measure(&stack, &pleura, &whole);
    /* Over all beams it is the reading's own number; about a line on either side it is that side's. */
    assert_true(fabs(sl_texture_along(&whole.beams, 0, SL_BEAMS - 1) - whole.granular) < 1e-12);
    double left = sl_texture_along(&whole.beams, 20 - TRACE_LINE_BEAMS, 20 + TRACE_LINE_BEAMS);
    double right = sl_texture_along(&whole.beams, 100 - TRACE_LINE_BEAMS, 100 + TRACE_LINE_BEAMS);
    assert_true(fabs(left) < 0.1 && right > 1 && whole.granular > left + 0.3 && whole.granular < right);
    assert_false(sl_known(sl_texture_along(&whole.beams, 20, 20 + TRACE_BEAMS_LEAST - 2)));
    for (int j = 0; j < SL_BEAMS / 2; j++) /* ribs there: no texture of that place */
        pleura.beams.kind[j] = SL_BEAM_RIB;
    sl_texture_measure(&stack, &pleura, &half);
    assert_false(sl_known(sl_texture_along(&half.beams, 20 - TRACE_LINE_BEAMS, 20 + TRACE_LINE_BEAMS)));
    assert_true(fabs(sl_texture_along(&half.beams, 100 - TRACE_LINE_BEAMS, 100 + TRACE_LINE_BEAMS) - right) < 1e-9);
    /* Two segments together. */
    sl_texture more = whole;
    sl_texture_merge(&more, &whole);
    assert_true(fabs(sl_texture_along(&more.beams, 0, SL_BEAMS - 1) - whole.granular) < 1e-3);
}

static void meets(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "a", "clip");
    double beam[64], depth[64]; /* pleural line from 0.3 at the left to 0.5 at the right, a hole from 0.4 to 0.6 */
    int n = 0;
    for (int i = 0; i < 64; i++)
        if (i / 63.0 < 0.4 || i / 63.0 > 0.6) {
            beam[n] = i / 63.0;
            depth[n++] = 0.3 + 0.2 * i / 63.0;
        }
    const sl_evidence e = {.points = n, .beam = beam, .depth = depth};
    const double down_b[3] = {0.25, 0.25, 0.25}, down_d[3] = {0, 0.5, 1}, slant_b[3] = {0.65, 0.75, 0.85}, slant_d[3] = {0.3, 0.5, 0.7},
                 hole_b[2] = {0.5, 0.5}, hole_d[2] = {0, 1}, up_d[3] = {1, 0.5, 0}, above_d[3] = {0, 0.1, 0.2};
    const sl_view view = {.shape = SL_SHAPE_LINEAR, .width = 256, .height = 256, .last_x = 255, .far_y = 255, .aspect = 1, .mm_per_px = NAN};
    double b, d;
    assert_false(sl_known(sl_curve_meets_pleura(reading, &view, down_b, down_d, 3, &b, &d))); /* no reading of it, no place */
    sl_finding *f = sl_reading_put(reading, SL_PLEURA_DEPTH);
    f->known = true;
    f->evidence = &e;
    f->evidences = 1;
    assert_true(fabs(sl_curve_meets_pleura(reading, &view, down_b, down_d, 3, &b, &d) - 0.35) < 1e-6);
    assert_true(fabs(b - 0.25) < 1e-6 && fabs(d - 0.35) < 1e-6);
    assert_true(fabs(sl_curve_meets_pleura(reading, &view, down_b, up_d, 3, &b, &d) - 0.65) < 1e-6);
    /* depth 0.3 + 2 (b - 0.65) = 0.3 + 0.2 b at b = 1.3 / 1.8 */
    assert_true(fabs(sl_curve_meets_pleura(reading, &view, slant_b, slant_d, 3, &b, &d) - (1.3 / 1.8 - 0.65) / 0.2) < 1e-6);
    assert_true(fabs(b - 1.3 / 1.8) < 1e-6);
    assert_false(sl_known(sl_curve_meets_pleura(reading, &view, hole_b, hole_d, 2, &b, &d)));
    assert_false(sl_known(sl_curve_meets_pleura(reading, &view, down_b, above_d, 3, &b, &d)));
    assert_false(sl_known(b) || sl_known(d));
    assert_false(sl_known(sl_curve_meets_pleura(reading, &view, down_b, down_d, 1, &b, &d))); /* one point is no curve */
    sl_arena_free(&arena);
}

/* The trace of a clip of several segments is that of all of them: every frame in its time, the seams where a segment ended; of a long one every
 * second frame, and so on, within its bound. */
static void trace_of_the_whole_clip(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_stack stack;
    const moving what = {.frames = 320, .frame_s = 0.04, .mm_per_beam = 0.5, .pleura = 60, .breaths_hz = 0.35, .noise = 0.2, .rise = 2, .slide = 12};
    draw_moving(&what, &arena, &stack);
    sl_segments *segments = sl_segments_new();
    for (int part = 0; part < 5; part++) {
        sl_motion_trace trace;
        for (int t = 0; t < what.frames; t++) {
            stack.time_s[t] = (part * what.frames + t) * what.frame_s;
            stack.source[t] = part * what.frames + t;
        }
        assert_int_equal(sl_segments_read(segments, &stack, NULL), SL_OK);
        sl_segments_trace(segments, &arena, &trace);
        int step = part < 3 ? 1 : 2, frames = (part + 1) * what.frames;
        assert_int_equal(trace.columns, (frames + step - 1) / step);
        assert_true(trace.columns <= SL_TRACE_COLUMNS_MOST);
        assert_int_equal(trace.pieces, part + 1);
        for (int i = 0; i < trace.columns; i++) {
            assert_int_equal(trace.source[i], i * step);
            assert_true(fabs(trace.time_s[i] - i * step * what.frame_s) < 1e-9);
        }
        for (int i = 0; i < trace.pieces; i++)
            assert_int_equal(trace.piece[i].first, i * what.frames / step);
        /* the same frames were drawn in every part, so the same grey */
        int apart = what.frames / step;
        for (int i = 1; i < trace.pieces; i++)
            assert_memory_equal(trace.grey + (size_t)(i * apart) * SL_TRACE_ROWS, trace.grey, 20 * SL_TRACE_ROWS);
    }
    sl_segments_free(&segments);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(trace_of_the_whole_clip), cmocka_unit_test(about_a_line), cmocka_unit_test(meets)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
