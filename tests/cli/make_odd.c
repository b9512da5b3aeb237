/* Writes clips for check_read.py into a folder: invented chests that can be read and clips that cannot.
 * make_odd FOLDER */
#include "clip/save.h"
#include "fake_exam.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 30 };

static sl_arena arena;

static int video(const char *folder, const char *name, const sl_gray *frames, int count, int repeat)
{
    char path[4096];
    sl_clip_writer *writer;
    sl_error error;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    sl_status status = sl_clip_writer_open(path, frames[0].width, frames[0].height, 20, 0.9, &writer, &error);
    for (int i = 0; i < count * repeat && status == SL_OK; i++)
        status = sl_clip_writer_gray(writer, frames[i % count], &error);
    if (status == SL_OK)
        status = sl_clip_writer_close(&writer, &error);
    if (status != SL_OK)
        fprintf(stderr, "%s\n", error.text);
    return status != SL_OK;
}

static int still(const char *folder, const char *name, sl_gray picture)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return sl_save_png_gray(path, picture, NULL) != SL_OK;
}

/* A picture as a camera would take it: light from edge to edge, no beams. */
static sl_gray photograph(int width, int height)
{
    uint8_t *pixel = SL_NEW(&arena, width * height, uint8_t);
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            int sky = 200 - y * 90 / height, hill = 90 + (x * 7 + y * 13) % 31;
            int ridge = height / 2 + (int)(height / 8.0 * (((x / 37) % 5) - 2) / 2.0);
            pixel[y * width + x] = (uint8_t)(y < ridge ? sky : hill);
        }
    return (sl_gray){width, height, width, pixel};
}

int main(int argc, char **argv)
{
    if (argc != 2)
        return 2;
    sl_gray chest[FRAMES], black = {320, 240, 320, SL_NEW(&arena, 320 * 240, uint8_t)};
    for (int i = 0; i < FRAMES; i++)
        chest[i] = fake_frame(&arena, 2, i);
    sl_gray photo = photograph(640, 480);
    uint8_t nine[9] = {0, 80, 160, 10, 90, 170, 20, 100, 255};
    int failed = video(argv[1], "R1.mp4", chest, FRAMES, 1);
    for (int i = 0; i < FRAMES; i++)
        chest[i] = fake_frame(&arena, 0, i);
    failed |= video(argv[1], "d\xc3\xa9j\xc3\xa0 vu, \"L2\".mp4", chest, FRAMES, 1);
    failed |= video(argv[1], "L1.mp4", chest, FRAMES, 3);
    failed |= video(argv[1], "one.mp4", chest, 1, 1);
    failed |= video(argv[1], "black.mp4", &black, 1, 20);
    failed |= still(argv[1], "photo.png", photo);
    failed |= still(argv[1], "nine.png", (sl_gray){3, 3, 3, nine});
    sl_arena_free(&arena);
    return failed;
}
