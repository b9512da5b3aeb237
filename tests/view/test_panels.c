/* Several pictures on one screen, drawn: which one is read, with the file's regions and without. */
#include "pattern.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 8, MOST_PLACED = 3, STEP = 9, ROUND = 63 };

typedef struct placed {
    pattern p;      /* its own size is that of its part of the screen */
    int x, y;       /* where on the screen */
    bool frozen;
    bool sweep;     /* an M-mode: the middle column of `p` over time, written column by column */
} placed;

typedef struct screen {
    int w, h, count;
    placed part[MOST_PLACED];
} screen;

/* The sweep goes round, STEP columns a frame: columns right of the cursor are those of the last round. `profile` holds the
 * middle column of each frame from -ROUND on, `h` bytes each. */
static void draw_sweep(const placed *one, int frame, const uint8_t *profile, uint8_t *to, int stride)
{
    int w = one->p.view.width, h = one->p.view.height, cursor = frame * STEP % w;
    for (int x = 0; x < w; x++) {
        int then = (x <= cursor ? frame * STEP - cursor + x : frame * STEP - cursor + x - w + ROUND * STEP) / STEP;
        bool gap = x > cursor && x < cursor + 4; /* before the cursor */
        for (int y = 0; y < h; y++)
            to[y * stride + x] = gap ? 0 : profile[(size_t)((x <= cursor ? ROUND : 0) + then) * (size_t)h + (size_t)y];
    }
}

static uint8_t *make_profile(const placed *one, uint8_t *own)
{
    int w = one->p.view.width, h = one->p.view.height;
    uint8_t *profile = malloc((size_t)(ROUND + FRAMES) * (size_t)h);
    assert_non_null(profile);
    for (int k = 0; k < ROUND + FRAMES; k++) {
        pattern_draw(&one->p, k, own);
        for (int y = 0; y < h; y++)
            profile[(size_t)k * (size_t)h + (size_t)y] = own[(size_t)y * (size_t)w + (size_t)(w / 2)];
    }
    return profile;
}

static sl_view find(const screen *s, const sl_clip_info *info)
{
    sl_clip_info plain = {.width = s->w, .height = s->h, .pixel_aspect = 1};
    sl_view_finder *finder;
    sl_view view;
    sl_error error = {0};
    assert_int_equal(sl_view_finder_new(s->w, s->h, &finder, &error), SL_OK);
    uint8_t *whole = malloc((size_t)s->w * (size_t)s->h), *own = malloc((size_t)s->w * (size_t)s->h);
    assert_non_null(whole);
    assert_non_null(own);
    uint8_t *profile[MOST_PLACED] = {NULL};
    for (int i = 0; i < s->count; i++)
        profile[i] = s->part[i].sweep ? make_profile(&s->part[i], own) : NULL;
    for (int k = 0; k < FRAMES; k++) {
        memset(whole, 0, (size_t)s->w * (size_t)s->h);
        for (int i = 0; i < s->count; i++) {
            const placed *one = &s->part[i];
            uint8_t *to = whole + (ptrdiff_t)one->y * s->w + one->x;
            if (one->sweep) {
                draw_sweep(one, k, profile[i], to, s->w);
                continue;
            }
            pattern_draw(&one->p, one->frozen ? 0 : k, own);
            for (int y = 0; y < one->p.view.height; y++)
                memcpy(to + (ptrdiff_t)y * s->w, own + (size_t)y * (size_t)one->p.view.width, (size_t)one->p.view.width);
        }
        sl_view_finder_add(finder, (sl_gray){s->w, s->h, s->w, whole});
    }
    for (int i = 0; i < s->count; i++)
        free(profile[i]);
    free(whole);
    free(own);
    sl_status status = sl_view_finder_find(finder, info ? info : &plain, &view, &error);
    if (status != SL_OK)
        fail_msg("%s", error.text);
    sl_view_set_scale(&view, info ? info : &plain, 0, finder);
    sl_view_finder_free(&finder);
    return view;
}

/* The view found is that of part `which`. */
static void is_part(const screen *s, int which, const sl_view *view, double tolerance)
{
    const placed *one = &s->part[which];
    assert_string_equal(sl_shape_name(view->shape), sl_shape_name(one->p.view.shape));
    for (int i = 0; i <= 10; i++)
        for (int d = 0; d <= 1; d++) {
            double x, y, x2, y2;
            sl_view_to_pixel(&one->p.view, i / 10.0, d, &x, &y);
            sl_view_to_pixel(view, i / 10.0, d, &x2, &y2);
            if (!(hypot(x + one->x - x2, y + one->y - y2) <= tolerance))
                fail_msg("beam %d end %d at %.1f %.1f instead of %.1f %.1f", i, d, x2, y2, x + one->x, y + one->y);
        }
}

static sl_clip_region region(const placed *one, int format, double cm)
{
    return (sl_clip_region){one->x, one->y, one->x + one->p.view.width - 1, one->y + one->p.view.height - 1, format, 1, 3, 3, cm, cm, 0, 0};
}

static screen two_fans(void)
{
    screen s = {.w = 820, .h = 420, .count = 2};
    s.part[0] = (placed){.p = pattern_convex(), .x = 5, .y = 10};
    s.part[1] = (placed){.p = pattern_convex(), .x = 415, .y = 10};
    return s;
}

static void side_by_side(void **state)
{
    (void)state;
    screen s = two_fans();
    sl_view view = find(&s, NULL);
    is_part(&s, 0, &view, 4);
    assert_non_null(strstr(view.note, "two pictures side by side: the left one is read"));

    s.part[0].frozen = true; /* the live one is meant */
    view = find(&s, NULL);
    is_part(&s, 1, &view, 4);
    assert_non_null(strstr(view.note, "two pictures side by side: the right one is read"));

    screen one = {.w = 400, .h = 400, .count = 1, .part = {{.p = pattern_convex()}}};
    view = find(&one, NULL);
    assert_string_equal(view.note, "");
}

/* Each panel has a scale of its own, and that of the panel that is read counts. */
static void scales(void **state)
{
    (void)state;
    screen s = two_fans();
    sl_clip_info info = {.width = s.w, .height = s.h, .pixel_aspect = 1, .regions = 2};
    info.region[0] = region(&s.part[0], 1, 0.03);
    info.region[1] = region(&s.part[1], 1, 0.05);
    sl_view view = find(&s, &info);
    is_part(&s, 0, &view, 4);
    assert_true(view.scale_source == SL_SCALE_DICOM && fabs(view.mm_per_px - 0.3) < 1e-9);
    s.part[0].frozen = true;
    view = find(&s, &info);
    is_part(&s, 1, &view, 4);
    assert_true(view.scale_source == SL_SCALE_DICOM && fabs(view.mm_per_px - 0.5) < 1e-9);

    info.regions = 3; /* a colour box in the right picture is no picture of its own */
    info.region[2] = info.region[1];
    info.region[2].data_type = 2;
    info.region[2].x0 += 100;
    info.region[2].x1 -= 100;
    info.region[2].y0 += 100;
    view = find(&s, &info);
    is_part(&s, 1, &view, 4);
    assert_non_null(strstr(view.note, "two pictures side by side: the right one is read"));
}

static screen with_trace(void)
{
    screen s = {.w = 600, .h = 620, .count = 2};
    s.part[0] = (placed){.p = pattern_convex(), .x = 100, .y = 5};
    pattern line = pattern_linear();
    line.view.width = 560;
    line.view.height = 190;
    line.view.first_x = 0;
    line.view.last_x = 559;
    line.view.near_y = 0;
    line.view.far_y = 189;
    line.surround = 0;
    s.part[1] = (placed){.p = line, .x = 20, .y = 425, .sweep = true};
    return s;
}

static void m_mode_below(void **state)
{
    (void)state;
    screen s = with_trace();
    sl_view view = find(&s, NULL);
    is_part(&s, 0, &view, 4);
    assert_non_null(strstr(view.note, "a trace beside the picture is not read"));

    sl_clip_info info = {.width = s.w, .height = s.h, .pixel_aspect = 1, .regions = 2};
    info.region[0] = region(&s.part[1], 2, 0.03); /* M-mode: seconds across */
    info.region[0].unit_x = 4;
    info.region[1] = region(&s.part[0], 1, 0.04);
    view = find(&s, &info);
    is_part(&s, 0, &view, 4);
    assert_true(fabs(view.mm_per_px - 0.4) < 1e-9);
    assert_non_null(strstr(view.note, "the M-mode beside the picture is not read"));
    info.region[0].spatial_format = 3;
    view = find(&s, &info);
    is_part(&s, 0, &view, 4);
    assert_non_null(strstr(view.note, "the spectrum beside the picture is not read"));
}

/* One picture with a dark band across it, or with beams without contact in the middle, stays one. */
static void dark_bands(void **state)
{
    (void)state;
    pattern p = pattern_convex();
    p.dark_from = 0.45;
    p.dark_to = 0.55;
    sl_view view;
    sl_error error;
    assert_int_equal(pattern_find(&p, FRAMES, NULL, &view, &error), SL_OK);
    assert_null(strstr(view.note, "pictures"));
    p = pattern_linear();
    p.trace = true;
    assert_int_equal(pattern_find(&p, FRAMES, NULL, &view, &error), SL_OK);
    assert_null(strstr(view.note, "not read"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(side_by_side), cmocka_unit_test(scales), cmocka_unit_test(m_mode_below),
                                       cmocka_unit_test(dark_bands)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
