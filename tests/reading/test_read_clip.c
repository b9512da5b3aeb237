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

/* How the colour lies over a drawn clip. */
typedef enum laid { COVER_NONE, COVER_FLOW, COVER_TINT, COVER_ALL, COVER_TEXT, COVER_BAR, COVER_BAR_TURNED } laid;

/* Flow of our own invention: a round patch that grows and shrinks and changes its sign eight frames about, its brightness not
 * that of the tissue. */
static void paint(laid cover, int t, int x, int y, uint8_t *rgb)
{
    double beat = sin(6.2832 * t / 16), radius = 26 + 8 * beat;
    bool patch = hypot(x - 150, y - 150) < radius;
    if ((cover == COVER_BAR || cover == COVER_BAR_TURNED) && x >= 2 && x < 10 && y >= 40 && y < 90) {
        bool red = (y < 64) == (cover == COVER_BAR);
        rgb[0] = red ? 230 : 10;
        rgb[1] = y > 62 && y < 66 ? 0 : 30;
        rgb[2] = red ? 10 : 230;
    }
    uint8_t speed = (uint8_t)(110 + 90 * fabs(sin(0.3 * x + 0.2 * y)));
    if (cover == COVER_TINT) {
        uint8_t grey = rgb[0];
        rgb[1] = (uint8_t)(grey * 0.85);
        rgb[2] = (uint8_t)(grey * 0.55);
    } else if (((cover == COVER_FLOW || cover >= COVER_BAR) && patch) || (cover == COVER_ALL && y > 70 && y < 268 && x > 20 && x < 268)) {
        bool toward = cover == COVER_ALL ? (x / 24 + t / 8) % 2 : beat > 0;
        rgb[0] = toward ? speed : 20;
        rgb[1] = 40;
        rgb[2] = toward ? 20 : speed;
    } else if (cover == COVER_TEXT && y < 10 && x > 40 && x < 90 && (x / 3 + y / 3) % 2) {
        rgb[0] = 240;
        rgb[1] = 200;
        rgb[2] = 10;
    }
}

static void write_covered(const char *path, const drawn *what, laid cover)
{
    sl_arena arena = {0};
    sl_stack stack;
    draw_stack(what, &arena, &stack);
    sl_clip_writer *writer = NULL;
    enum { MARGIN = 16, SIDE = WIDTH + 2 * MARGIN };
    static uint8_t picture[SIDE * SIDE * 3];
    assert_int_equal(sl_clip_writer_open(path, SIDE, SIDE, 25, 0.9, &writer, NULL), SL_OK);
    for (int t = 0; t < stack.frames; t++) {
        memset(picture, 0, sizeof picture);
        for (int y = 0; y < SIDE; y++)
            for (int x = 0; x < SIDE; x++) {
                uint8_t *rgb = picture + ((size_t)y * SIDE + (size_t)x) * 3;
                int row = y - MARGIN, column = x - MARGIN;
                if (row >= 0 && row < HEIGHT && column >= 0 && column < WIDTH)
                    memset(rgb, sl_stack_frame(&stack, t)[row * SL_BEAMS + column / 2], 3);
                paint(cover, t, x, y, rgb);
            }
        assert_int_equal(sl_clip_writer_rgb(writer, picture, SIDE * 3, NULL), SL_OK);
    }
    assert_int_equal(sl_clip_writer_close(&writer, NULL), SL_OK);
    sl_arena_free(&arena);
}

static double value_of(const sl_clip_result *result, sl_code code)
{
    const sl_finding *finding = sl_reading_get(result->reading, code);
    return finding && finding->known ? finding->value : NAN;
}

/* The same drawn clip with flow in colour, with coloured text outside the picture and tinted as a whole reads as the grey one. */
static void colour_leaves_the_grey(void **state)
{
    (void)state;
    static const drawn what[] = {
        {.frames = 40, .pleura = 40, .lines = 3, .line_width = 5, .line_depth = 1, .gain = 1},
        {.frames = 40, .pleura = 40, .repeats = 3, .spacing = 40.5, .gain = 1},
    };
    static const sl_code answers[] = {SL_A_LINES, SL_B_LINES, SL_WHITE_LUNG};
    for (int w = 0; w < 2; w++) {
        sl_arena arena = {0};
        sl_clip_result plain;
        write_covered(in_folder("plain.mp4"), &what[w], COVER_NONE);
        sl_read_clip(in_folder("plain.mp4"), NULL, &arena, &plain);
        assert_int_equal(plain.state, SL_CLIP_READ);
        static const laid covers[] = {COVER_FLOW, COVER_TINT, COVER_TEXT};
        for (int c = 0; c < 3; c++) {
            sl_clip_result covered;
            write_covered(in_folder("covered.mp4"), &what[w], covers[c]);
            sl_read_clip(in_folder("covered.mp4"), NULL, &arena, &covered);
            assert_int_equal(covered.state, SL_CLIP_READ);
            if (!covered.info.has_colour && !(covers[c] == COVER_TINT && w == 1)) /* that one is too dark for a hue */
                fail_msg("clip %d, cover %d: no colour seen", w, covers[c]);
            assert_int_equal(covers[c] == COVER_FLOW, !strncmp(covered.reason, "Colour lies over up to ", 23));
            if (covers[c] != COVER_FLOW)
                assert_string_equal(covered.reason, "");
            assert_true(fabs(value_of(&covered, SL_PLEURA_DEPTH) - value_of(&plain, SL_PLEURA_DEPTH)) < 0.01);
            for (int i = 0; i < 3; i++) {
                const sl_finding *a = sl_reading_get(plain.reading, answers[i]), *b = sl_reading_get(covered.reading, answers[i]);
                assert_int_equal(a->answer, b->answer);
                if (!(fabs(a->value - b->value) < 0.1))
                    fail_msg("clip %d, cover %d: %s is %.3f, not %.3f", w, covers[c], sl_finding_info_of(answers[i])->key,
                             b->value, a->value);
            }
        }
        sl_arena_free(&arena);
    }
}

/* The bar beside the picture says which colour is towards the probe, and under colour neither fluid nor a lung point is stated. */
static void the_bar_says(void **state)
{
    (void)state;
    static const struct {
        laid cover;
        const char *words;
    } cases[] = {{COVER_FLOW, "no colour bar was read"}, {COVER_BAR, "red is flow towards"}, {COVER_BAR_TURNED, "blue is flow towards"}};
    for (int c = 0; c < 3; c++) {
        sl_arena arena = {0};
        sl_clip_result result;
        write_covered(in_folder("covered.mp4"), &(drawn){.frames = 40, .pleura = 40, .repeats = 3, .spacing = 40.5, .gain = 1}, cases[c].cover);
        sl_read_clip(in_folder("covered.mp4"), NULL, &arena, &result);
        assert_int_equal(result.state, SL_CLIP_READ);
        if (!strstr(result.reason, cases[c].words))
            fail_msg("%s is not in: %s", cases[c].words, result.reason);
        static const sl_code unsure[] = {SL_EFFUSION, SL_LUNG_POINT};
        for (int i = 0; i < 2; i++) {
            const sl_finding *f = sl_reading_get(result.reading, unsure[i]);
            assert_true(!f->known || f->answer == SL_UNCERTAIN);
        }
        assert_false(sl_reading_get(result.reading, SL_EFFUSION_DEPTH)->known);
        sl_arena_free(&arena);
    }
}

static void colour_only(void **state)
{
    (void)state;
    write_covered(in_folder("only.mp4"), &(drawn){.frames = 20, .pleura = 40, .repeats = 3, .spacing = 40.5, .gain = 1}, COVER_ALL);
    expect(in_folder("only.mp4"), SL_CLIP_UNREADABLE, "without colour");
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
                                        "whole.avi", "half.avi", "one.mp4", "plain.mp4", "covered.mp4", "only.mp4"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        unlink(in_folder(names[i]));
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_clip_is_read), cmocka_unit_test(reading_repeats), cmocka_unit_test(broken_files),
        cmocka_unit_test(truncated_file), cmocka_unit_test(one_frame), cmocka_unit_test(colour_leaves_the_grey),
        cmocka_unit_test(colour_only), cmocka_unit_test(the_bar_says),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
