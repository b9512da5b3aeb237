/* straighten CLIP OUT.npy: the straightened frames of a clip as a NumPy array, uint8 [frame][depth][beam],
 * and OUT.json with the view's numbers, the kept frames and their times. A tool for developers; not
 * installed. */
#include "clip/clip.h"
#include "core/json.h"
#include "core/units.h"
#include "view/stack.h"
#include "view/view.h"

#include <stdio.h>
#include <string.h>

/* The header has a fixed length, so that the number of frames can be written last (NumPy format 1.0). */
static bool write_header(FILE *file, int frames)
{
    enum { HEADER = 128 };
    char text[HEADER + 1];
    memset(text, ' ', sizeof text);
    int n =
        snprintf(text + 10, HEADER - 10, "{'descr': '|u1', 'fortran_order': False, 'shape': (%d, %d, %d), }",
                 frames, SL_DEPTHS, SL_BEAMS);
    text[10 + n] = ' ';
    memcpy(text, "\x93NUMPY\x01\x00", 8);
    text[8] = HEADER - 10;
    text[9] = 0;
    text[HEADER - 1] = '\n';
    return fseek(file, 0, SEEK_SET) == 0 && fwrite(text, 1, HEADER, file) == HEADER;
}

static void set(json_t *object, const char *key, double value)
{
    json_object_set_new(object, key, sl_json_number(value, 6));
}

static json_t *view_json(const sl_view *view)
{
    json_t *o = json_object();
    json_object_set_new(o, "shape", json_string(sl_shape_name(view->shape)));
    const struct {
        const char *key;
        double value;
    } field[] = {
        {"width", view->width},
        {"height", view->height},
        {"apex_x", view->apex_x},
        {"apex_y", view->apex_y},
        {"first_angle", view->first_angle},
        {"last_angle", view->last_angle},
        {"near_r", view->near_r},
        {"far_r", view->far_r},
        {"first_x", view->first_x},
        {"last_x", view->last_x},
        {"near_y", view->near_y},
        {"far_y", view->far_y},
        {"aspect", view->aspect},
        {"agreement", view->agreement},
        {"edge_rms_px", view->edge_rms_px},
        {"mm_per_px", view->mm_per_px},
        {"mm_per_px_sd", view->mm_per_px_sd},
    };
    for (size_t i = 0; i < sizeof field / sizeof field[0]; i++)
        set(o, field[i].key, field[i].value);
    json_object_set_new(o, "face_visible", json_boolean(view->face_visible));
    json_object_set_new(o, "mirrored", json_boolean(view->mirrored));
    json_object_set_new(o, "scale_source", json_string(sl_scale_source_name(view->scale_source)));
    json_object_set_new(o, "note", json_string(view->note));
    return o;
}

static sl_status find_view(sl_clip *clip, double depth_cm, sl_view *view, sl_error *error)
{
    const sl_clip_info *info = sl_clip_get_info(clip);
    sl_view_finder *finder;
    sl_status status = sl_view_finder_new(info->width, info->height, &finder, error);
    if (status != SL_OK)
        return status;
    for (;;) {
        sl_frame frame;
        bool got;
        status = sl_clip_next(clip, &frame, &got, error);
        if (status != SL_OK || !got)
            break;
        sl_view_finder_add(finder, frame.gray);
    }
    if (status == SL_OK)
        status = sl_view_finder_find(finder, info, view, error);
    if (status == SL_OK) {
        sl_view_set_scale(view, info, depth_cm, finder);
        status = sl_clip_rewind(clip, error);
    }
    sl_view_finder_free(&finder);
    return status;
}

/* Straightens the clip into `file` segment by segment; `about` receives the kept frames and their times. */
static sl_status straighten(sl_clip *clip, const sl_view *view, FILE *file, json_t *about, int *frames,
                            sl_error *error)
{
    sl_arena arena = {0};
    sl_straightener *straightener;
    sl_stack stack;
    json_t *source = json_array(), *time_s = json_array();
    json_object_set_new(about, "source", source);
    json_object_set_new(about, "time_s", time_s);
    int black = 0, copies = 0;
    sl_status status = sl_straightener_new(view, &straightener, error);
    if (status == SL_OK)
        status = sl_stack_new(&arena, straightener, view, SL_STACK_MOST, &stack, error);
    bool got = true;
    while (status == SL_OK && got) {
        sl_frame frame;
        status = sl_clip_next(clip, &frame, &got, error);
        if (status != SL_OK)
            break;
        if (got)
            sl_stack_add(&stack, straightener, &frame);
        if (stack.frames < stack.most && got)
            continue;
        sl_stack_settle(&stack);
        for (int i = 0; i < stack.frames; i++) {
            json_array_append_new(source, json_integer(stack.source[i]));
            json_array_append_new(time_s, sl_json_number(stack.time_s[i], 6));
        }
        if (fwrite(stack.cell, SL_CELLS, (size_t)stack.frames, file) != (size_t)stack.frames)
            status = sl_fail(error, SL_IO, "The frames could not be written.");
        *frames += stack.frames;
        black += stack.dropped_black;
        copies += stack.dropped_copies;
        json_object_set_new(about, "times_known", json_boolean(stack.times_known));
        set(about, "frame_s", stack.frame_s);
        stack.frames = stack.dropped_black = stack.dropped_copies = 0;
    }
    json_object_set_new(about, "dropped_black", json_integer(black));
    json_object_set_new(about, "dropped_copies", json_integer(copies));
    sl_straightener_free(&straightener);
    sl_arena_free(&arena);
    return status;
}

int main(int argc, char **argv)
{
    double depth_cm = 0;
    if ((argc != 3 && argc != 4) || (argc == 4 && sscanf(argv[3], "%lf", &depth_cm) != 1)) {
        fprintf(stderr, "usage: straighten CLIP OUT.npy [DEPTH_CM]\n");
        return 2;
    }
    sl_error error = {0};
    sl_clip *clip = NULL;
    sl_view view;
    FILE *file = NULL;
    int frames = 0;
    json_t *about = json_object();
    sl_status status = sl_clip_open(argv[1], 1, &clip, &error);
    if (status == SL_OK)
        status = find_view(clip, depth_cm, &view, &error);
    if (status == SL_OK) {
        json_object_set_new(about, "view", view_json(&view));
        file = fopen(argv[2], "wb");
        if (!file || !write_header(file, 0))
            status = sl_fail(&error, SL_IO, "%s cannot be written.", argv[2]);
    }
    if (status == SL_OK)
        status = straighten(clip, &view, file, about, &frames, &error);
    if (status == SL_OK && !write_header(file, frames))
        status = sl_fail(&error, SL_IO, "%s cannot be written.", argv[2]);
    if (file && fclose(file) != 0 && status == SL_OK)
        status = sl_fail(&error, SL_IO, "%s cannot be written.", argv[2]);
    if (status == SL_OK) {
        char path[4096];
        size_t length = strlen(argv[2]);
        bool npy = length > 4 && strcmp(argv[2] + length - 4, ".npy") == 0;
        snprintf(path, sizeof path, "%.*s.json", (int)(npy ? length - 4 : length), argv[2]);
        status = sl_json_save(about, path, &error);
    }
    json_decref(about);
    sl_clip_close(&clip);
    if (status != SL_OK) {
        fprintf(stderr, "%s\n", error.text);
        return 1;
    }
    return 0;
}
