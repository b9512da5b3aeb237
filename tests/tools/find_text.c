/* find_text CLIP: the boxes that would be blackened, one a line, and the time each step took, for development. */
#include "clip/burned.h"
#include "dicom/dicom.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double now(void)
{
    struct timespec at;
    clock_gettime(CLOCK_MONOTONIC, &at);
    return (double)at.tv_sec + 1e-9 * (double)at.tv_nsec;
}

int main(int argc, char **argv)
{
    setenv("OMP_THREAD_LIMIT", "1", 1);
    sl_dicom_join();
    sl_reader *reader;
    sl_error error;
    if (sl_reader_open(&reader, &error))
        return fprintf(stderr, "%s\n", error.text), 1;
    int failed = 0;
    for (int i = 1; i < argc; i++) {
        sl_still still;
        sl_boxes boxes;
        double begun = now();
        if (sl_still_of(argv[i], 1, &still, &error)) {
            fprintf(stderr, "%s\n", error.text);
            failed = 1;
            continue;
        }
        double decoded = now();
        if (sl_burned_find(reader, &still, argv[i], &boxes, &error))
            failed = 1, fprintf(stderr, "%s\n", error.text);
        printf("%s %d x %d, %d frames, %d boxes, share %.4f, decoding %.2f s, search %.2f s\n", argv[i], still.width,
               still.height, still.frames, boxes.count, sl_boxes_share(&boxes, still.width, still.height), decoded - begun,
               now() - decoded);
        for (int k = 0; k < boxes.count; k++)
            printf("box %d %d %d %d\n", boxes.box[k].x0, boxes.box[k].y0, boxes.box[k].x1, boxes.box[k].y1);
        sl_still_free(&still);
    }
    sl_reader_close(&reader);
    return failed;
}
