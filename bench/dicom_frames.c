/* bench_dicom FILE [ROUNDS], or --decode FILE: one frame of a multi-frame DICOM file against all of them, and all of them by this program against the
 * toolkit's own sequential decoder, best of the rounds, side by side in one run. */
#include "clip/clip.h"
#include "dicom/dicom.h"
#include "dicom/file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static double now(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec + 1e-9 * (double)at.tv_nsec;
}

/* Decodes at most `most` frames; returns seconds, or -1. */
static double decode(const char *path, int threads, long most, long *frames)
{
    sl_clip *clip = NULL;
    sl_error error;
    double begun = now();
    if (sl_clip_open(path, threads, &clip, &error))
        return fprintf(stderr, "%s\n", error.text), -1;
    sl_frame frame;
    bool got = true;
    for (*frames = 0; *frames < most && !sl_clip_next(clip, &frame, &got, NULL) && got;)
        ++*frames;
    sl_clip_close(&clip);
    return now() - begun;
}

static double by_toolkit(const char *path, long *frames)
{
    sl_dicom_file *file = NULL;
    sl_error error;
    double begun = now();
    if (sl_dicom_file_open(path, &file, &error))
        return fprintf(stderr, "%s\n", error.text), -1;
    size_t size = sl_dicom_file_frame_size(file);
    uint8_t *samples = malloc(size);
    char photometric[17];
    *frames = 0;
    while (samples && *frames < sl_dicom_file_facts(file)->frames &&
           !sl_dicom_file_samples(file, (int)*frames, samples, size, photometric, NULL))
        ++*frames;
    free(samples);
    sl_dicom_file_close(&file);
    return now() - begun;
}

int main(int argc, char **argv)
{
    enum { ONE, ALONE, TWO, TOOLKIT, WAYS };
    static const char *const name[WAYS] = {"open and decode one frame", "all frames, one thread", "all frames, two threads",
                                           "all frames, the toolkit's own decoder"};
    double best[WAYS] = {1e9, 1e9, 1e9, 1e9};
    long frames[WAYS] = {0}, rounds = argc > 2 ? strtol(argv[2], NULL, 10) : 3;
    if (argc < 2)
        return 2;
    sl_dicom_join();
    if (!strcmp(argv[1], "--decode")) /* once, on one thread, as the cost to compare with */
        return argc < 3 || decode(argv[2], 1, SL_CLIP_MOST_FRAMES, &frames[ALONE]) < 0;
    for (long round = 0; round < rounds; round++)
        for (int way = 0; way < WAYS; way++) {
            double took = way == TOOLKIT ? by_toolkit(argv[1], &frames[way])
                                         : decode(argv[1], way == TWO ? 2 : 1, way == ONE ? 1 : SL_CLIP_MOST_FRAMES, &frames[way]);
            if (took < 0)
                return 1;
            best[way] = took < best[way] ? took : best[way];
        }
    for (int way = 0; way < WAYS; way++)
        printf("%-40s %5ld frames %9.2f ms\n", name[way], frames[way], 1000 * best[way]);
    printf("one frame takes 1/%.0f of all; two threads are %.2f times as fast as the toolkit, one thread %.2f times\n",
           best[ALONE] / best[ONE], best[TOOLKIT] / best[TWO], best[TOOLKIT] / best[ALONE]);
    return 0;
}
