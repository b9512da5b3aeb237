/* A clip from file to reading: states, reasons, what is kept; broken files end in a sentence. */
#include "clip/save.h"
#include "core/file.h"
#include "core/units.h"
#include "drawn.h"
#include "reading/read_clip.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

enum { WIDTH = 256, HEIGHT = 256 };
static char folder[] = "/tmp/read-clip-XXXXXX";

static const char *in_folder(const char *name)
{
    static char path[256];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

/* The drawn stack as a picture of parallel beams, two pixels a beam, on black with a margin. */
static void write_drawn(const char *path, const drawn *what)
{
    sl_arena arena = {0};
    sl_stack stack;
    draw_stack(what, &arena, &stack);
    sl_clip_writer *writer = NULL;
    enum { MARGIN = 16 };
    static uint8_t picture[(HEIGHT + 2 * MARGIN) * (WIDTH + 2 * MARGIN)];
    const sl_gray gray = {WIDTH + 2 * MARGIN, HEIGHT + 2 * MARGIN, WIDTH + 2 * MARGIN, picture};
    assert_int_equal(sl_clip_writer_open(path, gray.width, gray.height, 25, 0.9, &writer, NULL), SL_OK);
    for (int t = 0; t < stack.frames; t++) {
        memset(picture, 0, sizeof picture);
        for (int y = 0; y < HEIGHT; y++)
            for (int x = 0; x < WIDTH; x++)
                picture[(y + MARGIN) * gray.stride + x + MARGIN] = sl_stack_frame(&stack, t)[y * SL_BEAMS + x / 2];
        assert_int_equal(sl_clip_writer_gray(writer, gray, NULL), SL_OK);
    }
    assert_int_equal(sl_clip_writer_close(&writer, NULL), SL_OK);
    sl_arena_free(&arena);
}

static void count_calls(void *context, int frames)
{
    (void)frames;
    ++*(int *)context;
}

static void a_clip_is_read(void **state)
{
    (void)state;
    const char *path = in_folder("three lines \xc3\xa9.mp4");
    write_drawn(path, &(drawn){.frames = 40, .pleura = 40, .lines = 3, .line_width = 5, .line_depth = 1, .gain = 1});
    sl_arena arena = {0};
    sl_clip_result result;
    int calls = 0;
    const sl_read_options options = {.decode_threads = 1, .stated_depth_cm = 8, .progress = count_calls,
                                     .progress_context = &calls};
    sl_read_clip(path, &options, &arena, &result);
    assert_int_equal(result.state, SL_CLIP_READ);
    assert_string_equal(result.name, "three lines \xc3\xa9.mp4");
    assert_string_equal(result.reason, "");
    assert_int_equal(result.frames, 40);
    assert_int_equal(calls, 40);
    assert_true(fabs(result.duration_s - 39 * 0.04) < 0.01 && result.seconds > 0);
    assert_int_equal(result.view.shape, SL_SHAPE_LINEAR);
    assert_int_equal(sl_reading_get(result.reading, SL_B_LINES)->answer, SL_PRESENT);
    assert_true(fabs(sl_reading_get(result.reading, SL_B_LINE_COUNT)->value - 3) <= 1);
    assert_true(result.pleura_points > 64);
    for (int i = 0; i < result.pleura_points; i++)
        assert_true(fabs(result.pleura_y[i] - (16 + 40.5)) < 5);
    assert_int_equal(result.kept[SL_KEPT_MIDDLE].source, 20);
    for (int k = 0; k < SL_KEPT_FRAMES; k++)
        assert_true(result.kept[k].picture.pixel && result.kept[k].cell);
    assert_true(result.frame_values > 30 && result.frame_coverage && result.frame_time_s);
    double mm = sl_reading_get(result.reading, SL_PLEURA_DEPTH_MM)->value;
    assert_true(fabs(mm - 40.5 / 256 * 80) < 3);
    sl_arena_free(&arena);
}

/* Twice the same bytes: the reading does not depend on anything but the file. */
static void reading_repeats(void **state)
{
    (void)state;
    const char *path = in_folder("again.mp4");
    write_drawn(path, &(drawn){.frames = 20, .pleura = 38, .repeats = 3, .spacing = 38.5, .gain = 1});
    sl_arena arena = {0};
    sl_clip_result first, second;
    sl_read_clip(path, NULL, &arena, &first);
    sl_read_clip(path, &(sl_read_options){.decode_threads = 2}, &arena, &second);
    assert_int_equal(first.state, SL_CLIP_READ);
    json_t *a = sl_reading_to_json(first.reading), *b = sl_reading_to_json(second.reading);
    assert_true(json_equal(a, b));
    json_decref(a);
    json_decref(b);
    sl_arena_free(&arena);
}

static void expect(const char *path, sl_clip_state wanted, const char *word)
{
    sl_arena arena = {0};
    sl_clip_result result;
    sl_read_clip(path, NULL, &arena, &result);
    if (result.state != wanted || (word && !strstr(result.reason, word)))
        fail_msg("%s: state %d, \"%s\"", path, (int)result.state, result.reason);
    assert_true(wanted == SL_CLIP_READ || (result.reason[0] && !result.reading));
    sl_arena_free(&arena);
}

static void broken_files(void **state)
{
    (void)state;
    expect(in_folder("absent.mp4"), SL_CLIP_FAILED, "absent.mp4");
    assert_int_equal(sl_file_write(in_folder("text.mp4"), "no clip at all", 14, NULL), SL_OK);
    expect(in_folder("text.mp4"), SL_CLIP_FAILED, "text.mp4");
    static const uint8_t dots[9] = {10, 200, 30, 40, 250, 60, 70, 80, 90};
    assert_int_equal(sl_save_png_gray(in_folder("dots.png"), (sl_gray){3, 3, 3, dots}, NULL), SL_OK);
    expect(in_folder("dots.png"), SL_CLIP_UNREADABLE, NULL);
    write_drawn(in_folder("black.mp4"), &(drawn){.frames = 12, .pleura = 40, .gain = 0});
    expect(in_folder("black.mp4"), SL_CLIP_UNREADABLE, NULL);
}

/* A file that breaks off is read as far as it goes, and says so. */
static void truncated_file(void **state)
{
    (void)state;
    const char *path = in_folder("whole.avi");
    write_drawn(path, &(drawn){.frames = 40, .pleura = 40, .lines = 2, .line_width = 5, .line_depth = 1, .gain = 1});
    sl_arena arena = {0};
    char *bytes;
    size_t length;
    assert_int_equal(sl_file_read(path, (size_t)1 << 30, &arena, &bytes, &length, NULL), SL_OK);
    assert_int_equal(sl_file_write(in_folder("half.avi"), bytes, length / 2, NULL), SL_OK);
    sl_clip_result result;
    sl_read_clip(in_folder("half.avi"), NULL, &arena, &result);
    assert_int_equal(result.state, SL_CLIP_READ);
    assert_true(result.frames > 4 && result.frames < 40 && result.reason[0]);
    sl_arena_free(&arena);
}

/* One picture: read, with nothing said that needs movement. */
static void one_frame(void **state)
{
    (void)state;
    write_drawn(in_folder("one.mp4"), &(drawn){.frames = 1, .pleura = 40, .lines = 2, .line_width = 5, .line_depth = 1,
                                               .gain = 1});
    sl_arena arena = {0};
    sl_clip_result result;
    sl_read_clip(in_folder("one.mp4"), NULL, &arena, &result);
    if (result.state == SL_CLIP_READ) {
        const sl_finding *lines = sl_reading_get(result.reading, SL_B_LINES);
        assert_int_equal(lines->answer, SL_UNCERTAIN);
        assert_true(lines->reason[0] != 0);
    } else {
        assert_true(result.reason[0] != 0);
    }
    sl_arena_free(&arena);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    static const char *const names[] = {"three lines \xc3\xa9.mp4", "again.mp4", "text.mp4", "dots.png", "black.mp4",
                                        "whole.avi", "half.avi", "one.mp4"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        unlink(in_folder(names[i]));
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_clip_is_read), cmocka_unit_test(reading_repeats), cmocka_unit_test(broken_files),
        cmocka_unit_test(truncated_file), cmocka_unit_test(one_frame),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
