/* Straightened frames and the stack: the kernel against the same sum in double precision, and what is
 * dropped. */
#include "pattern.h"

#include "core/units.h"
#include "view/stack.h"
#include "view/straighten_kernel.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static double bilinear(sl_gray g, double x, double y)
{
    x = x < 0 ? 0 : x > g.width - 1 ? g.width - 1 : x;
    y = y < 0 ? 0 : y > g.height - 1 ? g.height - 1 : y;
    int i = (int)y > g.height - 2 ? g.height - 2 : (int)y, j = (int)x > g.width - 2 ? g.width - 2 : (int)x;
    double fy = y - i, fx = x - j;
    const uint8_t *a = g.pixel + (size_t)i * (size_t)g.stride + j, *b = a + g.stride;
    return (1 - fy) * ((1 - fx) * a[0] + fx * a[1]) + fy * ((1 - fx) * b[0] + fx * b[1]);
}

static void straightened_cells(void **state)
{
    (void)state;
    pattern patterns[] = {pattern_convex(), pattern_linear(), pattern_sector()};
    patterns[0].view.apex_y = -150; /* cropped: some cells are outside */
    for (int k = 0; k < 3; k++) {
        const sl_view *view = &patterns[k].view;
        int stride = view->width + 13;
        uint8_t *plain = malloc((size_t)view->width * (size_t)view->height);
        uint8_t *padded = calloc((size_t)stride, (size_t)view->height), *cell = malloc(SL_CELLS);
        assert_true(plain && padded && cell);
        pattern_draw(&patterns[k], 3, plain);
        for (int y = 0; y < view->height; y++)
            memcpy(padded + (size_t)y * (size_t)stride, plain + (size_t)y * (size_t)view->width,
                   (size_t)view->width);
        sl_gray gray = {view->width, view->height, stride, padded};
        sl_straightener *straightener;
        assert_int_equal(sl_straightener_new(view, &straightener, NULL), SL_OK);
        sl_straighten(straightener, gray, cell);
        const uint8_t *mask = sl_straightener_mask(straightener);
        int outside = 0;
        for (int i = 0; i < SL_DEPTHS; i++) {
            for (int j = 0; j < SL_BEAMS; j++) {
                double x, y;
                sl_view_to_pixel(view, (j + 0.5) / SL_BEAMS, (i + 0.5) / SL_DEPTHS, &x, &y);
                bool inside = x >= -0.5 && x <= view->width - 0.5 && y >= -0.5 && y <= view->height - 0.5;
                assert_int_equal(mask[i * SL_BEAMS + j], inside);
                outside += !inside;
                double expected = inside ? bilinear(gray, x, y) : 0;
                if (fabs(cell[i * SL_BEAMS + j] - expected) >
                    0.75) /* half a level of rounding, a quarter of weights */
                    fail_msg("cell %d, %d is %d, not %.2f", i, j, cell[i * SL_BEAMS + j], expected);
            }
        }
        assert_int_equal(outside > 0, k == 0);
        /* a frame of another size leaves an empty frame, not a crash */
        sl_straighten(straightener, (sl_gray){10, 10, 10, padded}, cell);
        assert_int_equal(sl_kernel_sum(SL_CELLS, cell), 0);
        sl_straightener_free(&straightener);
        assert_null(straightener);
        free(plain);
        free(padded);
        free(cell);
    }
}

static void impossible_views(void **state)
{
    (void)state;
    sl_straightener *straightener;
    sl_view view = pattern_convex().view;
    view.far_r = view.near_r;
    assert_int_equal(sl_straightener_new(&view, &straightener, NULL), SL_USAGE);
    assert_null(straightener);
    view = pattern_linear().view;
    view.width = 1;
    assert_int_equal(sl_straightener_new(&view, &straightener, NULL), SL_USAGE);
    view = pattern_linear().view;
    view.last_x = NAN;
    assert_int_equal(sl_straightener_new(&view, &straightener, NULL), SL_USAGE);
}

/* Ten distinct frames; two black ones before them, every one shown twice, once with a little noise. */
static void drops(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    size_t n = (size_t)p.view.width * (size_t)p.view.height;
    uint8_t *pixel = calloc(n, 1);
    sl_straightener *straightener;
    sl_arena arena = {0};
    sl_stack stack;
    assert_non_null(pixel);
    assert_int_equal(sl_straightener_new(&p.view, &straightener, NULL), SL_OK);
    assert_int_equal(sl_stack_new(&arena, straightener, &p.view, 22, &stack, NULL), SL_OK);
    for (int k = 0; k < 22; k++) {
        if (k >= 2 && k % 2 == 0)
            pattern_draw(&p, k / 2, pixel);
        else if (k >= 2 && k % 4 == 3)
            for (size_t i = 0; i < n; i += 7)
                pixel[i] ^= 1;
        sl_frame frame = {
            .index = k, .time_s = 0.04 * k, .gray = {p.view.width, p.view.height, p.view.width, pixel}};
        assert_true(sl_stack_add(&stack, straightener, &frame));
    }
    sl_frame more = {.index = 22, .time_s = 1, .gray = {p.view.width, p.view.height, p.view.width, pixel}};
    assert_false(sl_stack_add(&stack, straightener, &more)); /* full */
    sl_stack_settle(&stack);
    assert_int_equal(stack.dropped_black, 2);
    assert_int_equal(stack.dropped_copies, 10);
    assert_int_equal(stack.frames, 10);
    for (int i = 0; i < 10; i++) {
        assert_int_equal(stack.source[i], 2 + 2 * i);
        uint8_t cell[SL_CELLS];
        pattern_draw(&p, 1 + i, pixel);
        sl_straighten(straightener, (sl_gray){p.view.width, p.view.height, p.view.width, pixel}, cell);
        assert_memory_equal(sl_stack_frame(&stack, i), cell, SL_CELLS);
        assert_true(stack.level[i] > 20);
    }
    assert_true(stack.times_known);
    assert_true(fabs(stack.frame_s - 0.08) < 1e-12);
    free(pixel);
    sl_straightener_free(&straightener);
    sl_arena_free(&arena);
}

static void frozen_and_timeless(void **state)
{
    (void)state;
    pattern p = pattern_linear();
    uint8_t *pixel = malloc((size_t)p.view.width * (size_t)p.view.height);
    assert_non_null(pixel);
    pattern_draw(&p, 0, pixel);
    sl_straightener *straightener;
    sl_arena arena = {0};
    sl_stack stack;
    assert_int_equal(sl_straightener_new(&p.view, &straightener, NULL), SL_OK);
    assert_int_equal(sl_stack_new(&arena, straightener, &p.view, 5, &stack, NULL), SL_OK);
    for (int k = 0; k < 5; k++) {
        sl_frame frame = {
            .index = k, .time_s = NAN, .gray = {p.view.width, p.view.height, p.view.width, pixel}};
        sl_stack_add(&stack, straightener, &frame);
    }
    sl_stack_settle(&stack);
    assert_int_equal(stack.frames, 1); /* a frozen clip is one picture */
    assert_false(stack.times_known);
    assert_true(isnan(stack.frame_s));

    stack.frames = 0; /* nothing at all */
    sl_stack_settle(&stack);
    assert_int_equal(stack.frames, 0);
    assert_false(stack.times_known);
    free(pixel);
    sl_straightener_free(&straightener);
    sl_arena_free(&arena);
}

/* Quantiles follow a power law exactly, so a clip and its gamma-altered copies become one (rounding to whole levels
 * before and after leaves a few). */
static void gamma_undone(void **state)
{
    (void)state;
    static const double altered[] = {1, 0.7, 1.4};
    pattern p = pattern_convex();
    size_t n = (size_t)p.view.width * (size_t)p.view.height;
    uint8_t *pixel = malloc(n), *first = malloc(SL_CELLS);
    assert_non_null(pixel);
    assert_non_null(first);
    sl_straightener *straightener;
    assert_int_equal(sl_straightener_new(&p.view, &straightener, NULL), SL_OK);
    double gamma_of_first = 0;
    for (int k = 0; k < 3; k++) {
        sl_arena arena = {0};
        sl_stack stack;
        assert_int_equal(sl_stack_new(&arena, straightener, &p.view, 1, &stack, NULL), SL_OK);
        pattern_draw(&p, 0, pixel);
        for (size_t i = 0; i < n; i++)
            pixel[i] = (uint8_t)lrint(255 * pow(pixel[i] / 255.0, 2 * altered[k]));
        sl_frame frame = {.time_s = NAN, .gray = {p.view.width, p.view.height, p.view.width, pixel}};
        assert_true(sl_stack_add(&stack, straightener, &frame));
        sl_stack_settle(&stack);
        double gamma = sl_stack_level_grey(&stack), off = 0;
        if (!k) {
            gamma_of_first = gamma;
            memcpy(first, sl_stack_frame(&stack, 0), SL_CELLS);
        }
        for (int c = 0; c < SL_CELLS; c++)
            off += abs(sl_stack_frame(&stack, 0)[c] - first[c]) / (double)SL_CELLS;
        assert_true(fabs(gamma * altered[k] / gamma_of_first - 1) < 0.03);
        assert_true(off < 1.5);
        sl_arena_free(&arena);
    }
    sl_straightener_free(&straightener);
    free(pixel);
    free(first);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(straightened_cells),
                                       cmocka_unit_test(impossible_views), cmocka_unit_test(drops),
                                       cmocka_unit_test(frozen_and_timeless), cmocka_unit_test(gamma_undone)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
