/* Writes pictures that are no lung ultrasound into a folder, for check_read.py: make_odd FOLDER. */
#include "clip/save.h"
#include "core/arena.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

/* Hash of a lattice point to 0 .. 1. */
static double lattice(int x, int y, int octave)
{
    uint32_t h = (uint32_t)x * 374761393u + (uint32_t)y * 668265263u + (uint32_t)octave * 2246822519u;
    h = (h ^ h >> 13) * 1274126177u;
    return (double)((h ^ h >> 16) & 0xffff) / 65535;
}

/* A picture as a camera would take it: light from edge to edge and the same in all directions, large forms strongest
 * (natural pictures have amplitudes that fall as one over the spatial frequency; Field, J Opt Soc Am A 1987;4:2379). */
static sl_gray photograph(int width, int height)
{
    uint8_t *pixel = SL_NEW(&arena, width * height, uint8_t);
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            double sum = 0, weight = 0;
            for (int octave = 0; octave < 7; octave++) {
                double size = 256 >> octave, u = x / size, v = y / size;
                int i = (int)u, k = (int)v;
                double fx = u - i, fy = v - k, w = size;
                fx = fx * fx * (3 - 2 * fx);
                fy = fy * fy * (3 - 2 * fy);
                double top = lattice(i, k, octave) * (1 - fx) + lattice(i + 1, k, octave) * fx;
                double low = lattice(i, k + 1, octave) * (1 - fx) + lattice(i + 1, k + 1, octave) * fx;
                sum += w * (top * (1 - fy) + low * fy);
                weight += w;
            }
            pixel[y * width + x] = (uint8_t)(20 + 220 * sum / weight);
        }
    return (sl_gray){width, height, width, pixel};
}

int main(int argc, char **argv)
{
    if (argc != 2)
        return 2;
    sl_gray black = {320, 240, 320, SL_NEW(&arena, 320 * 240, uint8_t)}, photo = photograph(640, 480);
    uint8_t nine[9] = {0, 80, 160, 10, 90, 170, 20, 100, 255};
    int failed = 0;
    failed |= video(argv[1], "black.mp4", &black, 1, 20);
    failed |= still(argv[1], "photo.png", photo);
    failed |= still(argv[1], "nine.png", (sl_gray){3, 3, 3, nine});
    sl_arena_free(&arena);
    return failed;
}
