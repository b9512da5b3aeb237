/* What is saved reads back, the same frames give the same bytes, and a failure leaves nothing behind. */
#include "clip/clip.h"
#include "clip/save.h"

#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cmocka.h>

enum { WIDTH = 101, HEIGHT = 83, FRAMES = 9 };

static char folder[] = "/tmp/strandline-save-XXXXXX";
static char path[512], other[512];

static uint8_t level(int frame, int x, int y)
{
    double value = 127.5 + 127.5 * sin(0.05 * x + 0.3 * frame) * cos(0.04 * y);
    return (uint8_t)lround(value);
}

static void draw(int frame, uint8_t *gray)
{
    for (int y = 0; y < HEIGHT; y++)
        for (int x = 0; x < WIDTH; x++)
            gray[y * WIDTH + x] = level(frame, x, y);
}

static void save(const char *to, double quality, double rate_hz)
{
    uint8_t gray[WIDTH * HEIGHT];
    sl_clip_writer *writer;
    sl_error error = {0};
    if (sl_clip_writer_open(to, WIDTH, HEIGHT, rate_hz, quality, &writer, &error))
        fail_msg("%s", error.text);
    for (int i = 0; i < FRAMES; i++) {
        draw(i, gray);
        assert_int_equal(sl_clip_writer_gray(writer, (sl_gray){WIDTH, HEIGHT, WIDTH, gray}, &error), SL_OK);
    }
    if (sl_clip_writer_close(&writer, &error))
        fail_msg("%s", error.text);
    assert_null(writer);
}

static void name_files(const char *name)
{
    snprintf(path, sizeof path, "%s/%s", folder, name);
    snprintf(other, sizeof other, "%s/second %s", folder, name);
}

static void reads_back(const char *name, int width, int height, double mean_allowed, double rate_hz)
{
    sl_clip *clip;
    sl_error error = {0};
    sl_frame frame;
    bool got;
    int frames = 0;
    name_files(name);
    save(path, 1, rate_hz);
    if (sl_clip_open(path, 1, &clip, &error))
        fail_msg("%s", error.text);
    assert_int_equal(sl_clip_get_info(clip)->width, width);
    assert_int_equal(sl_clip_get_info(clip)->height, height);
    assert_float_equal(sl_clip_get_info(clip)->frame_rate_hz, rate_hz, 0.5);
    while (!sl_clip_next(clip, &frame, &got, &error) && got) {
        double sum = 0;
        for (int y = 0; y < height; y++)
            for (int x = 0; x < width; x++)
                sum += abs(frame.gray.pixel[(long)y * frame.gray.stride + x] -
                           level(frames, x < WIDTH ? x : WIDTH - 1, y < HEIGHT ? y : HEIGHT - 1));
        if (sum / width / height > mean_allowed)
            fail_msg("%s frame %d is off by %.2f in the mean", name, frames, sum / width / height);
        assert_float_equal(frame.time_s, frames / rate_hz, 0.006); /* GIF counts in 1/100 s */
        assert_null(frame.cb);
        frames++;
    }
    assert_int_equal(frames, FRAMES);
    sl_clip_close(&clip);
    unlink(path);
}

static void videos_read_back(void **state)
{
    (void)state;
    reads_back("a.mp4", WIDTH + 1, HEIGHT + 1, 2, 25);
    reads_back("b.mov", WIDTH + 1, HEIGHT + 1, 2, 29.97);
    reads_back("c.avi", WIDTH + 1, HEIGHT + 1, 2, 40);
    reads_back("d.gif", WIDTH, HEIGHT, 0, 25);
    reads_back("e.GIF", WIDTH, HEIGHT, 0, 30);
}

static bool same_bytes(const char *a, const char *b)
{
    FILE *first = fopen(a, "rb"), *second = fopen(b, "rb");
    assert_non_null(first);
    assert_non_null(second);
    int x, y;
    do {
        x = fgetc(first);
        y = fgetc(second);
    } while (x == y && x != EOF);
    fclose(first);
    fclose(second);
    return x == y;
}

static void same_frames_same_bytes(void **state)
{
    (void)state;
    static const char *const names[] = {"a.mp4", "b.mov", "c.avi", "d.gif"};
    for (int i = 0; i < 4; i++) {
        name_files(names[i]);
        save(path, 0.7, 25);
        save(other, 0.7, 25);
        if (!same_bytes(path, other))
            fail_msg("%s differs when written twice", names[i]);
        unlink(path);
        unlink(other);
    }
}

/* Grey stays grey and a flat colour stays near itself, in GIF too. */
static void colour_reads_back(void **state)
{
    (void)state;
    static const char *const names[] = {"a.mp4", "d.gif"};
    for (int i = 0; i < 2; i++) {
        name_files(names[i]);
        static uint8_t rgb[64 * 64 * 3];
        for (int at = 0; at < 64 * 64; at++) {
            bool inside = at % 64 < 32;
            rgb[3 * at] = inside ? 250 : 90;
            rgb[3 * at + 1] = inside ? 60 : 90;
            rgb[3 * at + 2] = inside ? 10 : 90;
        }
        sl_clip_writer *writer;
        sl_clip *clip;
        sl_frame frame;
        bool got;
        assert_int_equal(sl_clip_writer_open(path, 64, 64, 10, 1, &writer, NULL), SL_OK);
        for (int at = 0; at < 3; at++)
            assert_int_equal(sl_clip_writer_rgb(writer, rgb, 64 * 3, NULL), SL_OK);
        assert_int_equal(sl_clip_writer_close(&writer, NULL), SL_OK);
        assert_int_equal(sl_clip_open(path, 1, &clip, NULL), SL_OK);
        assert_int_equal(sl_clip_next(clip, &frame, &got, NULL), SL_OK);
        assert_true(got && frame.cb);
        /* BT.601-7: luma of the colour, 0.299 * 250 + 0.587 * 60 + 0.114 * 10 */
        assert_in_range(frame.gray.pixel[10 * frame.gray.stride + 10], 111 - 12, 111 + 12);
        assert_in_range(frame.gray.pixel[10 * frame.gray.stride + 50], 88, 92);
        sl_clip_close(&clip);
        unlink(path);
    }
}

static void png_reads_back(void **state)
{
    (void)state;
    uint8_t gray[WIDTH * HEIGHT];
    draw(3, gray);
    name_files("still.png");
    sl_gray picture = {WIDTH - 1, HEIGHT, WIDTH, gray};
    assert_int_equal(sl_save_png_gray(path, picture, NULL), SL_OK);
    assert_int_equal(sl_save_png_gray(other, picture, NULL), SL_OK);
    assert_true(same_bytes(path, other));
    sl_clip *clip;
    sl_frame frame;
    bool got;
    assert_int_equal(sl_clip_open(path, 1, &clip, NULL), SL_OK);
    assert_int_equal(sl_clip_next(clip, &frame, &got, NULL), SL_OK);
    for (int y = 0; y < HEIGHT; y++)
        assert_memory_equal(frame.gray.pixel + (long)y * frame.gray.stride, gray + y * WIDTH, WIDTH - 1);
    sl_clip_close(&clip);
    unlink(path);
    unlink(other);
}

static void wrong_use(void **state)
{
    (void)state;
    sl_clip_writer *writer;
    sl_error error;
    assert_int_equal(sl_clip_writer_open("clip.txt", 10, 10, 25, 1, &writer, &error), SL_USAGE);
    assert_non_null(strstr(error.text, ".mp4"));
    assert_int_equal(sl_clip_writer_open("a.mp4", 0, 10, 25, 1, &writer, &error), SL_LIMIT);
    assert_int_equal(sl_clip_writer_open("a.mp4", 10, 10, NAN, 1, &writer, &error), SL_USAGE);
    assert_int_equal(sl_clip_writer_open("a.gif", 10, 10, 60, 1, &writer, &error), SL_USAGE);
    assert_null(writer);
    assert_int_equal(sl_clip_writer_open("/nowhere at all/a.mp4", 10, 10, 25, 1, &writer, &error), SL_IO);
    assert_non_null(strstr(error.text, "a.mp4"));
    name_files("none.mp4");
    assert_int_equal(sl_clip_writer_open(path, 10, 10, 25, 1, &writer, &error), SL_OK);
    assert_int_equal(sl_clip_writer_close(&writer, &error), SL_USAGE);
    assert_int_equal(access(path, F_OK), -1);
    assert_int_equal(sl_clip_writer_close(&writer, &error), SL_OK);
}

/* A limit on file sizes stands in for a full disk. */
static void full_disk(void **state)
{
    (void)state;
    struct rlimit old, tight;
    uint8_t gray[WIDTH * HEIGHT];
    sl_clip_writer *writer;
    sl_error error = {0};
    name_files("full.gif");
    getrlimit(RLIMIT_FSIZE, &old);
    tight = old;
    tight.rlim_cur = 8000;
    signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &tight);
    sl_status status = sl_clip_writer_open(path, WIDTH, HEIGHT, 25, 1, &writer, &error);
    for (int i = 0; !status && i < 40; i++) {
        for (int at = 0; at < WIDTH * HEIGHT; at++)
            gray[at] = (uint8_t)((unsigned)at * (unsigned)at * (unsigned)(i + 3) >> 4);
        status = sl_clip_writer_gray(writer, (sl_gray){WIDTH, HEIGHT, WIDTH, gray}, &error);
    }
    sl_status closed = sl_clip_writer_close(&writer, status ? NULL : &error);
    setrlimit(RLIMIT_FSIZE, &old);
    assert_int_equal(closed, SL_IO);
    assert_non_null(strstr(error.text, "full.gif could not be written"));
    assert_int_equal(access(path, F_OK), -1);
    strcat(path, ".part");
    assert_int_equal(access(path, F_OK), -1);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static int drop_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(videos_read_back), cmocka_unit_test(same_frames_same_bytes), cmocka_unit_test(colour_reads_back),
        cmocka_unit_test(png_reads_back),   cmocka_unit_test(wrong_use),              cmocka_unit_test(full_disk)};
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
