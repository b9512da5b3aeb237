/* The kernels against their formulas in doubles: ranges of ITU-R BT.601-7 and BT.709-6, weights of BT.601-7, chroma of
 * JFIF 1.02. */
#include "clip/luma_kernel.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static double clamp(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

static void stretch(void **state)
{
    (void)state;
    uint8_t in[256], out[256];
    for (int i = 0; i < 256; i++)
        in[i] = (uint8_t)i;
    sl_luma_stretch(in, out, 256);
    for (int i = 0; i < 256; i++)
        assert_int_equal(out[i], lround(clamp((i - 16) * 255.0 / 219, 0, 255)));
}

static void deep(void **state)
{
    (void)state;
    static uint16_t in[65536];
    static uint8_t out[65536];
    for (int i = 0; i < 65536; i++)
        in[i] = (uint16_t)i;
    for (int depth = 9; depth <= 16; depth++)
        for (int full = 0; full < 2; full++) {
            int low = full ? 0 : 16 << (depth - 8), high = full ? (1 << depth) - 1 : 235 << (depth - 8);
            sl_luma_from_deep(in, out, 65536, low, high);
            for (int i = 0; i < 65536; i++) {
                double exact = clamp((i - low) * 255.0 / (high - low), 0, 255);
                if (fabs(out[i] - exact) > 0.502) /* ties may go either way */
                    fail_msg("%d of %d bits becomes %d instead of %.3f", i, depth, out[i], exact);
            }
        }
}

static void rgb(void **state)
{
    (void)state;
    enum { COUNT = 5000 };
    static uint8_t in[COUNT * 4], gray[COUNT], cb[COUNT], cr[COUNT];
    srand(7);
    for (int i = 0; i < COUNT * 4; i++)
        in[i] = (uint8_t)(i < 400 ? (i / 4 & 1 ? 255 : 0) : rand() >> 4);
    sl_luma_from_rgb(in, gray, COUNT, 4, 2, 1, 0, 3);
    sl_chroma_from_rgb(in, cb, cr, COUNT, 4, 2, 1, 0);
    int most = 0;
    for (int i = 0; i < COUNT; i++) {
        const uint8_t *pixel = in + 4 * i;
        double r = pixel[2], g = pixel[1], b = pixel[0], alpha = pixel[3] / 255.0;
        double luma = 0.299 * r + 0.587 * g + 0.114 * b;
        assert_true(fabs(gray[i] - luma * alpha) <= 1.01);
        assert_true(fabs(cb[i] - clamp(128 + (b - luma) / 1.772, 0, 255)) <= 0.51);
        assert_true(fabs(cr[i] - clamp(128 + (r - luma) / 1.402, 0, 255)) <= 0.51);
        int spread = (int)(fmax(r, fmax(g, b)) - fmin(r, fmin(g, b)));
        most = spread > most ? spread : most;
    }
    assert_int_equal(sl_rgb_spread(in, COUNT, 4, 2, 1, 0), most);
    static const uint8_t white[3] = {255, 255, 255};
    sl_luma_from_rgb(white, gray, 1, 3, 0, 1, 2, -1);
    assert_int_equal(gray[0], 255);
}

static void reach(void **state)
{
    (void)state;
    uint8_t in[100];
    memset(in, 128, sizeof in);
    assert_int_equal(sl_chroma_reach(in, 100), 0);
    in[99] = 120;
    assert_int_equal(sl_chroma_reach(in, 100), 8);
    in[3] = 255;
    assert_int_equal(sl_chroma_reach(in, 100), 127);
    in[50] = 0;
    assert_int_equal(sl_chroma_reach(in, 100), 128);
    assert_int_equal(sl_chroma_reach(in, 50), 127);
}

static void turns(void **state)
{
    (void)state;
    static const uint8_t in[6] = {1, 2, 3, /**/ 4, 5, 6};
    static const uint8_t clockwise[6] = {4, 1, /**/ 5, 2, /**/ 6, 3};
    static const uint8_t half[6] = {6, 5, 4, /**/ 3, 2, 1};
    static const uint8_t mirrored[6] = {3, 2, 1, /**/ 6, 5, 4};
    uint8_t out[6];
    sl_plane_turn(in, 3, 3, 2, out, 2, true, true, false);
    assert_memory_equal(out, clockwise, 6);
    sl_plane_turn(in, 3, 3, 2, out, 3, false, true, true);
    assert_memory_equal(out, half, 6);
    sl_plane_turn(in, 3, 3, 2, out, 3, false, true, false);
    assert_memory_equal(out, mirrored, 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(stretch), cmocka_unit_test(deep), cmocka_unit_test(rgb),
                                       cmocka_unit_test(reach), cmocka_unit_test(turns)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
