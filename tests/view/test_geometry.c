/* Pixel <-> beam and depth against the worked values of standard scan conversion (evidence sheet C1, computed
 * from x = (R0 + r) sin a, z = (R0 + r) cos a - R0). */
#include "core/units.h"
#include "view/view.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void near_to(double value, double expected, double tolerance)
{
    if (!(fabs(value - expected) <= tolerance))
        fail_msg("%.12g is not %.12g within %g", value, expected, tolerance);
}

/* R0 = 60 mm, 1 mm a pixel, face at row 0 on the axis at column 300. */
static sl_view convex(double aspect)
{
    return (sl_view){.shape = SL_SHAPE_CONVEX,
                     .width = 601,
                     .height = 401,
                     .apex_x = 300,
                     .apex_y = -60 / aspect,
                     .first_angle = sl_rad(-25),
                     .last_angle = sl_rad(25),
                     .near_r = 60,
                     .far_r = 260,
                     .aspect = aspect,
                     .mm_per_px = 1};
}

static void worked_example(void **state)
{
    (void)state;
    sl_view view = convex(1);
    double x, y, beam, depth;
    /* 20 degrees = beam 0.9 of -25 .. 25; r = 100 mm of 200 = depth 0.5 */
    sl_view_to_pixel(&view, 0.9, 0.5, &x, &y);
    near_to(x - 300, 54.7232229, 1e-6);
    near_to(y, 90.3508193, 1e-6);
    sl_view_from_pixel(&view, x, y, &beam, &depth);
    near_to(beam, 0.9, 1e-12);
    near_to(depth * 200, 100, 1e-9);
    near_to(sl_view_depth_px(&view), 200, 1e-12);
    near_to(sl_view_depth_mm(&view), 200, 1e-12);
    /* arc length of 50 degrees at R0 = 60: 52.3598776 mm (evidence sheet C1) */
    near_to(sl_view_beam_step_px(&view, 50, 0) * 50, 52.3598776, 1e-6);
}

static void stretched_rows(void **state)
{
    (void)state;
    sl_view square = convex(1), tall = convex(2);
    for (int i = 0; i <= 10; i++) {
        double x1, y1, x2, y2;
        sl_view_to_pixel(&square, i / 10.0, 0.3, &x1, &y1);
        sl_view_to_pixel(&tall, i / 10.0, 0.3, &x2, &y2);
        near_to(x2, x1, 1e-9);
        near_to(y2 * 2, y1, 1e-9); /* a row is two pixel widths */
    }
}

static void there_and_back(void **state)
{
    (void)state;
    sl_view linear = {.shape = SL_SHAPE_LINEAR,
                      .width = 300,
                      .height = 400,
                      .first_x = 20,
                      .last_x = 270,
                      .near_y = 7,
                      .far_y = 391,
                      .aspect = 0.8,
                      .mm_per_px = NAN};
    sl_view sector = {.shape = SL_SHAPE_SECTOR,
                      .width = 600,
                      .height = 500,
                      .apex_x = 301.5,
                      .apex_y = 12,
                      .first_angle = sl_rad(-45),
                      .last_angle = sl_rad(45),
                      .near_r = 4,
                      .far_r = 470,
                      .aspect = 1.1};
    sl_view fan = convex(0.9);
    const sl_view *views[] = {&linear, &sector, &fan};
    for (int k = 0; k < 3; k++)
        for (int i = 0; i <= 20; i++)
            for (int j = 0; j <= 20; j++) {
                double x, y, beam, depth;
                sl_view_to_pixel(views[k], i / 20.0, j / 20.0, &x, &y);
                sl_view_from_pixel(views[k], x, y, &beam, &depth);
                near_to(beam, i / 20.0, 1e-12);
                near_to(depth, j / 20.0, 1e-12);
            }
    near_to(sl_view_depth_px(&linear), 384 * 0.8, 1e-12);
    assert_true(isnan(sl_view_depth_mm(&linear)));
    near_to(sl_view_beam_step_px(&linear, 125, 0.5), 2, 1e-12);
}

/* Scale: DICOM regions by PS3.3 C.8.5.5 (spatial format 1 = 2D, data type 1 = tissue, unit 3 = cm). */
static void scale_sources(void **state)
{
    (void)state;
    sl_view view = convex(1);
    view.face_visible = true;
    sl_clip_info info = {.width = 601, .height = 401, .regions = 2};
    info.region[0] = (sl_clip_region){.x0 = 0,
                                      .y0 = 0,
                                      .x1 = 600,
                                      .y1 = 400,
                                      .spatial_format = 2,
                                      .data_type = 1,
                                      .unit_x = 4,
                                      .unit_y = 3,
                                      .delta_x = 0.01,
                                      .delta_y = 0.02};
    info.region[1] = (sl_clip_region){.x0 = 10,
                                      .y0 = 0,
                                      .x1 = 590,
                                      .y1 = 400,
                                      .spatial_format = 1,
                                      .data_type = 1,
                                      .unit_x = 3,
                                      .unit_y = 3,
                                      .delta_x = 0.02622878766,
                                      .delta_y = 0.02622878766};
    sl_view_set_scale(&view, &info, 0, NULL);
    assert_int_equal(view.scale_source, SL_SCALE_DICOM);
    near_to(view.mm_per_px, 0.2622878766, 1e-12);

    info.region[1].delta_y = 0.04; /* contradicts square pixels */
    sl_view_set_scale(&view, &info, 0, NULL);
    assert_int_equal(view.scale_source, SL_SCALE_NONE);
    assert_true(isnan(view.mm_per_px) && isnan(view.mm_per_px_sd));
    assert_true(strlen(view.note) > 0);

    info.region[1].delta_x = info.region[1].delta_y = 2; /* over 1 cm a pixel: rejected (sheet C2, rule 7) */
    sl_view_set_scale(&view, &info, 0, NULL);
    assert_int_equal(view.scale_source, SL_SCALE_NONE);
    info.region[1].delta_x = info.region[1].delta_y = 0.02;
    info.region[1].x1 = 700; /* outside the picture: resized afterwards (rule 6) */
    sl_view_set_scale(&view, &info, 0, NULL);
    assert_int_equal(view.scale_source, SL_SCALE_NONE);

    view.note[0] = 0;
    sl_view_set_scale(&view, NULL, 16, NULL); /* 16 cm over 200 px */
    assert_int_equal(view.scale_source, SL_SCALE_STATED);
    near_to(view.mm_per_px, 0.8, 1e-12);
    assert_string_equal(view.note, "");
    double sd = view.mm_per_px_sd;
    view.face_visible = false;
    sl_view_set_scale(&view, NULL, 16, NULL);
    assert_true(view.mm_per_px_sd > sd);
    assert_non_null(strstr(view.note, "face"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(worked_example), cmocka_unit_test(stretched_rows),
                                       cmocka_unit_test(there_and_back), cmocka_unit_test(scale_sources)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
