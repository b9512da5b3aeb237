/* Views of drawn clips with known geometry, found again within stated distances. The patterns are invented
 * (pattern.h); distances are between the true and the found place of a grid of beams and depths that lie in
 * the picture. */
#include "pattern.h"

#include "core/units.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 12 };

static sl_view found_in(const pattern *p, int frames)
{
    sl_view view;
    sl_error error = {0};
    if (pattern_find(p, frames, NULL, &view, &error) != SL_OK)
        fail_msg("not found: %s", error.text);
    return view;
}

/* Furthest that a point of the true grid lies from the found one, over points whose depth along the beam is
 * given in pixels from the apex or the top, so that a cropped near or far edge does not count. */
static double furthest(const sl_view *truth, const sl_view *view)
{
    double most = 0;
    for (int i = 0; i <= 10; i++) {
        for (int j = 0; j <= 10; j++) {
            double x, y, beam, depth, x2, y2;
            sl_view_to_pixel(truth, i / 10.0, j / 10.0, &x, &y);
            if (x < 0 || y < 0 || x > truth->width - 1 || y > truth->height - 1)
                continue;
            sl_view_from_pixel(view, x, y, &beam, &depth);
            sl_view_to_pixel(view, i / 10.0, depth, &x2, &y2);
            double off = hypot(x - x2, y - y2);
            most = off > most ? off : most;
        }
    }
    return most;
}

static void near_to(const char *what, double value, double expected, double tolerance)
{
    if (!(fabs(value - expected) <= tolerance))
        fail_msg("%s: %.3f is not %.3f within %g", what, value, expected, tolerance);
}

static void fan_within(const pattern *p, const sl_view *view, double tolerance)
{
    assert_string_equal(sl_shape_name(view->shape), sl_shape_name(p->view.shape));
    near_to("beams", furthest(&p->view, view), 0, tolerance);
}

static void whole_views(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    sl_view view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
    near_to("near", view.near_r, 100, 1.0);
    near_to("far", view.far_r, 450, 1.0);
    assert_true(view.face_visible);
    assert_true(view.agreement > 0.95);
    assert_true(view.edge_rms_px < 1);
    assert_string_equal(view.note, "");

    p = pattern_sector();
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
    near_to("far", view.far_r, 350, 1.0);

    p = pattern_linear();
    view = found_in(&p, FRAMES);
    assert_int_equal(view.shape, SL_SHAPE_LINEAR);
    near_to("first", view.first_x, 79.5, 1);
    near_to("last", view.last_x, 320.5, 1);
    near_to("near", view.near_y, 19.5, 1);
    near_to("far", view.far_y, 380.5, 1);
    assert_true(view.face_visible);

    p.ribs = 0.2; /* between two ribs: straight sides only above them, and below a bow like a far arc's */
    p.floor = 0;
    view = found_in(&p, FRAMES);
    assert_int_equal(view.shape, SL_SHAPE_LINEAR);
    near_to("first", view.first_x, 79.5, 1);
    near_to("last", view.last_x, 320.5, 1);
}

static void cropped_views(void **state)
{
    (void)state;
    pattern p = pattern_convex(); /* the face and the top of both sides cut off */
    p.view.apex_y = -150;
    sl_view view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
    assert_false(view.face_visible);
    near_to("near", view.near_r, 149.5, 1.5); /* the top of the picture along the middle beam */
    near_to("far", view.far_r, 450, 1.0);

    p = pattern_convex(); /* one side */
    p.view.apex_x = 150;
    p.view.width = 330;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);

    p = pattern_convex(); /* the bottom: no far arc */
    p.view.height = 300;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
    near_to("far", view.far_r, 374.5, 2); /* the bottom of the picture along the middle beam */

    p = pattern_convex(); /* all around, corners of both sides left */
    p.view = (sl_view){.shape = SL_SHAPE_CONVEX,
                       .width = 350,
                       .height = 350,
                       .apex_x = 175,
                       .apex_y = -220,
                       .first_angle = -0.6,
                       .last_angle = 0.6,
                       .near_r = 100,
                       .far_r = 700,
                       .aspect = 1};
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.5);
}

/* No edge anywhere: the texture alone must tell a fan from a box, and about where its apex is. */
static void no_edges(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    p.view = (sl_view){.shape = SL_SHAPE_CONVEX,
                       .width = 300,
                       .height = 300,
                       .apex_x = 150,
                       .apex_y = -220,
                       .first_angle = -0.8,
                       .last_angle = 0.8,
                       .near_r = 100,
                       .far_r = 700,
                       .aspect = 1};
    sl_view view = found_in(&p, FRAMES);
    assert_int_equal(view.shape, SL_SHAPE_CONVEX);
    near_to("apex x", view.apex_x, 150, 20);
    near_to("apex y", view.apex_y, -220, 70);
    assert_true(view.agreement < 0.6);
    assert_non_null(strstr(view.note, "texture"));

    p = pattern_linear();
    p.view.first_x = p.view.near_y = -0.5;
    p.view.last_x = p.view.far_y = 399.5;
    view = found_in(&p, FRAMES);
    assert_int_equal(view.shape, SL_SHAPE_LINEAR);
    near_to("first", view.first_x, -0.5, 0.1);
    near_to("last", view.last_x, 399.5, 0.1);
    assert_false(view.face_visible);
    assert_true(view.agreement < 0.6);
    assert_non_null(strstr(view.note, "linear"));
}

static void surrounds_and_screens(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    p.noise = 3;
    sl_view view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.5);

    p = pattern_convex();
    p.surround = 40;
    p.floor = 52;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);

    p = pattern_convex();
    p.surround = 255;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);

    p = pattern_convex();
    p.page = 250;
    p.page_px = 12;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);

    p = pattern_convex();
    p.text = p.grey_bar = p.trace = p.mark_left = true;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
    assert_false(view.mirrored);

    p = pattern_sector();
    p.text = p.grey_bar = p.trace = p.mark_right = true;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
    assert_true(view.mirrored);

    p = pattern_convex();
    p.text = p.banner = true;
    p.view.height = 430;
    p.view.apex_y = -45;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.0);
}

static void dark_parts(void **state)
{
    (void)state;
    pattern p = pattern_convex(); /* no contact over more than a third of the beams, at one side */
    p.dark_from = 0.62;
    p.dark_to = 1.1;
    sl_view view = found_in(&p, FRAMES);
    fan_within(&p, &view, 4.0);
    assert_non_null(strstr(view.note, "right edge"));

    p.dark_from = -0.1;
    p.dark_to = 0.35;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 4.0);
    assert_non_null(strstr(view.note, "left edge"));

    p = pattern_convex();
    p.shadow_at = 0.3;
    p.floor = 0; /* black to the bottom */
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 1.5);
}

/* The same clip through the grey maps that displays and scanners differ by: the far edge stays where the picture ends, also
 * where a darker map presses the far field towards the surround. */
static void grey_maps(void **state)
{
    (void)state;
    static const double gamma[] = {0.7, 1.4};
    const double fade = 1.6; /* the picture fades to a fifth towards its lower end */
    for (int i = 0; i < 2; i++) {
        pattern p = pattern_convex();
        p.floor = 2;
        size_t size = (size_t)p.view.width * (size_t)p.view.height;
        uint8_t *pixel = malloc(size);
        sl_view_finder *finder = NULL;
        sl_view view;
        assert_non_null(pixel);
        assert_int_equal(sl_view_finder_new(p.view.width, p.view.height, &finder, NULL), SL_OK);
        for (int t = 0; t < FRAMES; t++) {
            pattern_draw(&p, t, pixel);
            for (size_t k = 0; k < size; k++)
                pixel[k] = (uint8_t)lrint(255 * pow(pixel[k] / 255.0 * exp(-fade * (double)k / (double)size), gamma[i]));
            sl_view_finder_add(finder, (sl_gray){p.view.width, p.view.height, p.view.width, pixel});
        }
        assert_int_equal(sl_view_finder_find(finder, NULL, &view, NULL), SL_OK);
        near_to("far", view.far_r, 450, 0.02 * 350); /* of the imaged depth */
        sl_view_finder_free(&finder);
        free(pixel);
    }
}

static void stretched(void **state)
{
    (void)state;
    for (int k = 0; k < 2; k++) {
        pattern p = pattern_convex();
        p.view.aspect = k ? 1.2 : 0.8;
        p.view.height = k ? 340 : 480;
        p.view.apex_y = k ? -60 : -90;
        sl_view view = found_in(&p, FRAMES);
        near_to("aspect", view.aspect, p.view.aspect, 0.01);
        fan_within(&p, &view, 1.5);
        near_to("depth", sl_view_depth_px(&view), 350, 2);
    }
    /* A calibrated region is believed where the picture cannot tell (PS3.3 C.8.5.5). */
    pattern p = pattern_linear();
    sl_clip_info info = {.width = 400, .height = 400, .pixel_aspect = 1, .regions = 1};
    info.region[0] = (sl_clip_region){.x0 = 60,
                                      .y0 = 0,
                                      .x1 = 340,
                                      .y1 = 399,
                                      .spatial_format = 1,
                                      .data_type = 1,
                                      .unit_x = 3,
                                      .unit_y = 3,
                                      .delta_x = 0.02,
                                      .delta_y = 0.016};
    sl_view view;
    assert_int_equal(pattern_find(&p, FRAMES, &info, &view, NULL), SL_OK);
    near_to("aspect", view.aspect, 0.8, 0.005);
    assert_int_equal(view.scale_source, SL_SCALE_DICOM);
    near_to("mm", sl_view_depth_mm(&view), 361 * 0.16, 0.5);
}

static void stills_and_sizes(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    sl_view view = found_in(&p, 1);
    fan_within(&p, &view, 1.5);
    p = pattern_linear();
    view = found_in(&p, 1);
    assert_int_equal(view.shape, SL_SHAPE_LINEAR);
    near_to("first", view.first_x, 79.5, 1.5);

    p = pattern_convex(); /* larger than the finder works at */
    p.view.width = 1280;
    p.view.height = 960;
    p.view.apex_x = 640;
    p.view.apex_y = -150;
    p.view.near_r = 260;
    p.view.far_r = 1050;
    view = found_in(&p, 4);
    fan_within(&p, &view, 5.0);

    p = pattern_convex(); /* thumbnail */
    p.view.width = p.view.height = 120;
    p.view.apex_x = 60;
    p.view.apex_y = -22;
    p.view.near_r = 30;
    p.view.far_r = 135;
    view = found_in(&p, FRAMES);
    fan_within(&p, &view, 2.0);
}

static void rulers(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    p.text = true;
    p.ruler_px = 21;
    p.ruler_longer = 5;
    p.ruler_y0 = 25;
    sl_view view = found_in(&p, FRAMES);
    assert_int_equal(view.scale_source, SL_SCALE_RULER);
    /* 1 cm a tick (16.7 cm deep); 2 mm or 1 mm would make the picture 3.3 or 1.7 cm deep: not with a curved
     * probe */
    near_to("mm a pixel", view.mm_per_px, 10 / 21.0, 0.002);
    assert_true(view.mm_per_px_sd > 0 && view.mm_per_px_sd < 0.02 * view.mm_per_px);

    p.ruler_px = 8; /* 2 mm and 8.8 cm, or 1 mm and 4.4 cm: not certain */
    view = found_in(&p, FRAMES);
    assert_int_equal(view.scale_source, SL_SCALE_NONE);
    assert_true(isnan(view.mm_per_px));
    assert_non_null(strstr(view.note, "ruler"));

    p.ruler_px = 0; /* writing is no ruler */
    view = found_in(&p, FRAMES);
    assert_int_equal(view.scale_source, SL_SCALE_NONE);
    assert_string_equal(view.note, "");
}

/* ---- what is no ultrasound ---- */

static sl_status find_in(int w, int h, void (*draw)(int, int, int, uint8_t *), int frames, sl_error *error)
{
    sl_view_finder *finder;
    sl_view view;
    sl_status status = sl_view_finder_new(w, h, &finder, error);
    if (status != SL_OK)
        return status;
    uint8_t *pixel = calloc((size_t)w, (size_t)h);
    assert_non_null(pixel);
    for (int k = 0; k < frames; k++) {
        draw(w, h, k, pixel);
        sl_view_finder_add(finder, (sl_gray){w, h, w, pixel});
    }
    free(pixel);
    status = sl_view_finder_find(finder, NULL, &view, error);
    sl_view_finder_free(&finder);
    assert_null(finder);
    return status;
}

static void draw_black(int w, int h, int frame, uint8_t *pixel)
{
    (void)frame;
    memset(pixel, 0, (size_t)w * (size_t)h);
}

/* A lit scene from edge to edge: round things of many sizes, no layers and no beams. */
static void draw_scene(int w, int h, int frame, uint8_t *pixel)
{
    uint32_t seed = 7;
    memset(pixel, 90, (size_t)w * (size_t)h);
    for (int k = 0; k < 500; k++) {
        seed = seed * 1664525U + 1013904223U;
        int cx = (int)(seed >> 8) % w, size = 4 + (int)(seed >> 3) % 30, level = 40 + (int)(seed >> 17) % 200;
        seed = seed * 1664525U + 1013904223U;
        int cy = (int)(seed >> 8) % h;
        cx += (int)(3 * sin(0.5 * frame));
        for (int y = cy - size < 0 ? 0 : cy - size; y < h && y <= cy + size; y++)
            for (int x = cx - size < 0 ? 0 : cx - size; x < w && x <= cx + size; x++)
                if ((x - cx) * (x - cx) + (y - cy) * (y - cy) <= size * size)
                    pixel[(size_t)y * (size_t)w + (size_t)x] = (uint8_t)level;
    }
}

static void refusals(void **state)
{
    (void)state;
    sl_error error = {0};
    assert_int_equal(find_in(3, 3, draw_black, 3, &error), SL_UNREADABLE);
    assert_non_null(strstr(error.text, "3 x 3"));
    assert_int_equal(find_in(200, 200, draw_black, 5, &error), SL_UNREADABLE);
    assert_non_null(strstr(error.text, "black"));
    assert_int_equal(find_in(200, 200, draw_black, 0, &error), SL_UNREADABLE);
    assert_int_equal(find_in(400, 300, draw_scene, 1, &error), SL_UNREADABLE);
    assert_non_null(strstr(error.text, "does not look like ultrasound"));
    assert_int_equal(find_in(400, 300, draw_scene, 8, &error), SL_UNREADABLE);
    assert_int_equal(find_in(SL_CLIP_MOST_SIDE + 1, 40, draw_black, 0, &error), SL_LIMIT);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_views), cmocka_unit_test(cropped_views),         cmocka_unit_test(no_edges),
        cmocka_unit_test(grey_maps),   cmocka_unit_test(dark_parts), cmocka_unit_test(surrounds_and_screens), cmocka_unit_test(stretched),
        cmocka_unit_test(rulers),      cmocka_unit_test(stills_and_sizes),      cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
