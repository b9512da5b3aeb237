/* Writes a clip's facts as one JSON line and then, for each frame, one JSON line and its raw grey bytes (and chroma where
 * it has colour), for checks against other libraries. Ends with a line of its damage. `--twice` dumps the second pass
 * after a rewind half way; `--threads 2` decodes with two threads. */
#include "clip/clip.h"
#include "dicom/dicom.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void write_rows(const uint8_t *pixel, int width, int height, int stride)
{
    for (int y = 0; y < height; y++)
        fwrite(pixel + (long)y * stride, 1, (size_t)width, stdout);
}

static void print_number(const char *key, double value)
{
    if (isnan(value))
        printf(", \"%s\": null", key);
    else
        printf(", \"%s\": %.9g", key, value);
}

static void print_frame(const sl_frame *frame)
{
    int chroma_width = 0, chroma_height = 0;
    if (frame->cb) {
        chroma_width = (frame->gray.width + (1 << frame->chroma_shift_x) - 1) >> frame->chroma_shift_x;
        chroma_height = (frame->gray.height + (1 << frame->chroma_shift_y) - 1) >> frame->chroma_shift_y;
    }
    printf("{\"index\": %d, \"width\": %d, \"height\": %d, \"chroma_width\": %d, \"chroma_height\": %d", frame->index,
           frame->gray.width, frame->gray.height, chroma_width, chroma_height);
    print_number("time_s", frame->time_s);
    printf("}\n");
    write_rows(frame->gray.pixel, frame->gray.width, frame->gray.height, frame->gray.stride);
    if (frame->cb) {
        write_rows(frame->cb, chroma_width, chroma_height, frame->chroma_stride);
        write_rows(frame->cr, chroma_width, chroma_height, frame->chroma_stride);
    }
}

static void print_acquisition(const sl_clip_info *info)
{
    const sl_acquisition *how = &info->acquisition;
    print_number("depth_mm", how->depth_mm);
    print_number("focus_mm", how->focus_mm);
    print_number("freq_mhz", how->freq_mhz);
    print_number("mechanical_index", how->mechanical_index);
    print_number("thermal_index", how->thermal_index);
    printf(", \"transducer\": \"%s\", \"body_part\": \"%s\", \"laterality\": \"%s\", \"view_name\": \"%s\"",
           how->transducer, how->body_part, how->laterality, how->view_name);
    printf(", \"region\": [");
    for (int i = 0; i < info->regions; i++) {
        const sl_clip_region *region = &info->region[i];
        printf("%s[%d, %d, %d, %d, %d, %d, %d, %d, %.9g, %.9g, %d, %d]", i ? ", " : "", region->x0, region->y0, region->x1,
               region->y1, region->spatial_format, region->data_type, region->unit_x, region->unit_y, region->delta_x,
               region->delta_y, region->ref_x, region->ref_y);
    }
    printf("]");
}

int main(int argc, char **argv)
{
    bool twice = false;
    int threads = 1, at = 1;
    for (; at < argc - 1; at++) {
        if (!strcmp(argv[at], "--twice"))
            twice = true;
        else if (!strcmp(argv[at], "--threads"))
            threads = atoi(argv[++at]);
    }
    sl_dicom_join();
    sl_clip *clip;
    sl_error error;
    if (at >= argc)
        return 2;
    if (sl_clip_open(argv[at], threads, &clip, &error)) {
        fprintf(stderr, "%s: %s\n", sl_status_name(error.status), error.text);
        return 1;
    }
    sl_frame frame;
    bool got = true;
    if (twice) {
        for (int i = 0; i < 5 && got && !sl_clip_next(clip, &frame, &got, &error); i++)
            ;
        if (sl_clip_rewind(clip, &error)) {
            fprintf(stderr, "%s\n", error.text);
            return 1;
        }
    }
    const sl_clip_info *info = sl_clip_get_info(clip);
    printf("{\"width\": %d, \"height\": %d, \"frames_stated\": %d, \"times_known\": %s, \"is_still\": %s, \"format\": "
           "\"%s\", \"regions\": %d",
           info->width, info->height, info->frames_stated, info->times_known ? "true" : "false",
           info->is_still ? "true" : "false", info->format, info->regions);
    print_number("frame_rate_hz", info->frame_rate_hz);
    print_number("pixel_aspect", info->pixel_aspect);
    print_acquisition(info);
    printf("}\n");
    sl_status status;
    while (!(status = sl_clip_next(clip, &frame, &got, &error)) && got)
        print_frame(&frame);
    if (status)
        fprintf(stderr, "%s\n", error.text);
    printf("{\"damage\": \"%s\", \"has_colour\": %s}\n", sl_clip_damage(clip), info->has_colour ? "true" : "false");
    sl_clip_close(&clip);
    return status ? 1 : 0;
}
