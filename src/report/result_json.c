/* A clip's result as JSON, one way and back: the body of a clip in exam.json (docs/exam.schema.json). */
#include "report/record.h"

#include "core/json.h"
#include "core/units.h"
#include "report/quality_json.h"
#include "report/words.h"

#include <stdio.h>
#include <string.h>

enum { MOST_FRAMES_JSON = 1000000 };

static void set(json_t *object, const char *key, double value, int decimals)
{
    json_object_set_new(object, key, sl_json_number(value, decimals));
}

static json_t *list_of(const double *value, int count, int decimals)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, sl_json_number(value[i], decimals));
    return list;
}

static json_t *view_to_json(const sl_view *view)
{
    json_t *object = json_object();
    json_object_set_new(object, "shape", json_string(sl_shape_name(view->shape)));
    set(object, "width", view->width, 0);
    set(object, "height", view->height, 0);
    if (view->shape == SL_SHAPE_LINEAR) {
        set(object, "first_x", view->first_x, 3);
        set(object, "last_x", view->last_x, 3);
        set(object, "near_y", view->near_y, 3);
        set(object, "far_y", view->far_y, 3);
    } else {
        set(object, "apex_x", view->apex_x, 3);
        set(object, "apex_y", view->apex_y, 3);
        set(object, "first_angle_rad", view->first_angle, 6);
        set(object, "last_angle_rad", view->last_angle, 6);
        set(object, "near_r", view->near_r, 3);
        set(object, "far_r", view->far_r, 3);
    }
    set(object, "aspect", view->aspect, 5);
    json_object_set_new(object, "face_visible", json_boolean(view->face_visible));
    json_object_set_new(object, "mirrored", json_boolean(view->mirrored));
    json_object_set_new(object, "borrowed", json_boolean(view->borrowed));
    set(object, "agreement", view->agreement, 4);
    set(object, "edge_rms_px", view->edge_rms_px, 3);
    json_object_set_new(object, "note", json_string(view->note));
    return object;
}

static json_t *scale_to_json(const sl_view *view)
{
    json_t *object = json_object();
    bool scaled = view->shape != SL_SHAPE_UNKNOWN && view->scale_source != SL_SCALE_NONE;
    json_object_set_new(object, "source", json_string(sl_scale_source_name(scaled ? view->scale_source : SL_SCALE_NONE)));
    set(object, "mm_per_px", scaled ? view->mm_per_px : SL_UNKNOWN, 6);
    set(object, "mm_per_px_sd", scaled ? view->mm_per_px_sd : SL_UNKNOWN, 6);
    set(object, "imaged_depth_mm", scaled ? sl_view_depth_mm(view) : SL_UNKNOWN, 2);
    return object;
}

static json_t *acquisition_to_json(const sl_acquisition *a)
{
    json_t *object = json_object();
    set(object, "depth_mm", a->depth_mm, 3);
    set(object, "focus_mm", a->focus_mm, 3);
    set(object, "freq_mhz", a->freq_mhz, 4);
    set(object, "mechanical_index", a->mechanical_index, 4);
    set(object, "thermal_index", a->thermal_index, 4);
    set(object, "gain_db", a->gain_db, 3);
    set(object, "frame_rate_hz", a->frame_rate_hz, 4);
    json_object_set_new(object, "transducer", json_string(a->transducer));
    json_object_set_new(object, "body_part", json_string(a->body_part));
    json_object_set_new(object, "laterality", json_string(a->laterality));
    json_object_set_new(object, "view_name", json_string(a->view_name));
    json_object_set_new(object, "burned_label", json_string(a->burned_label));
    json_object_set_new(object, "processing", json_string(a->processing));
    return object;
}

static json_t *file_to_json(const sl_clip_info *info)
{
    json_t *object = json_object();
    json_object_set_new(object, "format", json_string(info->format));
    set(object, "width", info->width, 0);
    set(object, "height", info->height, 0);
    set(object, "frame_rate_hz", info->frame_rate_hz, 4);
    json_object_set_new(object, "times_known", json_boolean(info->times_known));
    json_object_set_new(object, "still", json_boolean(info->is_still));
    json_object_set_new(object, "colour", json_boolean(info->has_colour));
    set(object, "pixel_aspect", info->pixel_aspect, 5);
    return object;
}

json_t *sl_result_to_json(const sl_clip_result *result)
{
    json_t *object = json_object();
    json_object_set_new(object, "status", json_string(sl_words_state(result->state)));
    json_object_set_new(object, "reason", json_string(result->reason ? result->reason : ""));
    json_object_set_new(object, "file", file_to_json(&result->info));
    set(object, "frames", result->frames, 0);
    set(object, "duration_s", result->duration_s, 4);
    json_object_set_new(object, "acquisition", acquisition_to_json(&result->info.acquisition));
    json_object_set_new(object, "view", view_to_json(&result->view));
    json_object_set_new(object, "scale", scale_to_json(&result->view));
    json_object_set_new(object, "quality", sl_quality_to_json(&result->quality));
    json_t *line = json_array();
    for (int i = 0; i < result->pleura_points; i++)
        json_array_append_new(line, json_pack("[o,o]", sl_json_number(result->pleura_x[i], 2),
                                              sl_json_number(result->pleura_y[i], 2)));
    json_object_set_new(object, "pleural_line_px", line);
    json_object_set_new(object, "b_line_share_times_s", list_of(result->frame_time_s, result->frame_values, 4));
    json_object_set_new(object, "b_line_share", list_of(result->frame_coverage, result->frame_values, 4));
    json_object_set_new(object, "reading", result->reading ? sl_reading_to_json(result->reading) : json_null());
    set(object, "seconds", result->seconds, 4);
    return object;
}

/* ---- back ---- */

static double real(const json_t *object, const char *key)
{
    const json_t *field = json_object_get(object, key);
    return json_is_number(field) ? json_number_value(field) : SL_UNKNOWN;
}

static int whole(const json_t *object, const char *key)
{
    double value = real(object, key);
    return value >= 0 && value < 2e9 ? (int)value : 0;
}

static void text(const json_t *object, const char *key, char *out, size_t room)
{
    const char *value = json_string_value(json_object_get(object, key));
    snprintf(out, room, "%s", value ? value : "");
}

static void view_from_json(const json_t *object, const json_t *scale, sl_view *view)
{
    const char *shape = json_string_value(json_object_get(object, "shape"));
    const char *source = json_string_value(json_object_get(scale, "source"));
    for (sl_shape s = SL_SHAPE_UNKNOWN; shape && s <= SL_SHAPE_SECTOR; s++)
        if (!strcmp(shape, sl_shape_name(s)))
            view->shape = s;
    for (sl_scale_source s = SL_SCALE_NONE; source && s <= SL_SCALE_RULER; s++)
        if (!strcmp(source, sl_scale_source_name(s)))
            view->scale_source = s;
    view->width = whole(object, "width");
    view->height = whole(object, "height");
    view->apex_x = real(object, "apex_x");
    view->apex_y = real(object, "apex_y");
    view->first_angle = real(object, "first_angle_rad");
    view->last_angle = real(object, "last_angle_rad");
    view->near_r = real(object, "near_r");
    view->far_r = real(object, "far_r");
    view->first_x = real(object, "first_x");
    view->last_x = real(object, "last_x");
    view->near_y = real(object, "near_y");
    view->far_y = real(object, "far_y");
    view->aspect = real(object, "aspect");
    view->face_visible = json_is_true(json_object_get(object, "face_visible"));
    view->mirrored = json_is_true(json_object_get(object, "mirrored"));
    view->borrowed = json_is_true(json_object_get(object, "borrowed"));
    view->agreement = real(object, "agreement");
    view->edge_rms_px = real(object, "edge_rms_px");
    text(object, "note", view->note, sizeof view->note);
    view->mm_per_px = real(scale, "mm_per_px");
    view->mm_per_px_sd = real(scale, "mm_per_px_sd");
}

static void acquisition_from_json(const json_t *object, sl_acquisition *a)
{
    a->depth_mm = real(object, "depth_mm");
    a->focus_mm = real(object, "focus_mm");
    a->freq_mhz = real(object, "freq_mhz");
    a->mechanical_index = real(object, "mechanical_index");
    a->thermal_index = real(object, "thermal_index");
    a->gain_db = real(object, "gain_db");
    a->frame_rate_hz = real(object, "frame_rate_hz");
    text(object, "transducer", a->transducer, sizeof a->transducer);
    text(object, "body_part", a->body_part, sizeof a->body_part);
    text(object, "laterality", a->laterality, sizeof a->laterality);
    text(object, "view_name", a->view_name, sizeof a->view_name);
    text(object, "burned_label", a->burned_label, sizeof a->burned_label);
    text(object, "processing", a->processing, sizeof a->processing);
}

static bool numbers(const json_t *list, sl_arena *arena, double **out, int *count)
{
    size_t size = json_array_size(list);
    if (size > MOST_FRAMES_JSON || !(*out = SL_NEW(arena, size + 1, double)))
        return false;
    for (size_t i = 0; i < size; i++) {
        const json_t *item = json_array_get(list, i);
        (*out)[i] = json_is_number(item) ? json_number_value(item) : SL_UNKNOWN;
    }
    *count = (int)size;
    return true;
}

static bool line_px(const json_t *line, sl_arena *arena, sl_clip_result *result)
{
    size_t size = json_array_size(line);
    double *x = size > MOST_FRAMES_JSON ? NULL : SL_NEW(arena, size + 1, double), *y = x ? SL_NEW(arena, size + 1, double) : NULL;
    if (!y)
        return false;
    for (size_t i = 0; i < size; i++) {
        const json_t *point = json_array_get(line, i);
        x[i] = json_number_value(json_array_get(point, 0));
        y[i] = json_number_value(json_array_get(point, 1));
    }
    result->pleura_points = (int)size;
    result->pleura_x = x;
    result->pleura_y = y;
    return true;
}

sl_status sl_result_from_json(const json_t *json, const char *where, sl_arena *arena, sl_clip_result *result,
                              sl_error *error)
{
    *result = (sl_clip_result){0};
    if (!json_is_object(json))
        return sl_fail(error, SL_FORMAT, "%s is not the result of a clip.", where);
    const char *status = json_string_value(json_object_get(json, "status"));
    result->state = status && !strcmp(status, "read")         ? SL_CLIP_READ
                    : status && !strcmp(status, "unreadable") ? SL_CLIP_UNREADABLE
                                                              : SL_CLIP_FAILED;
    const char *reason = json_string_value(json_object_get(json, "reason"));
    result->reason = sl_arena_text(arena, reason ? reason : "");
    const json_t *file = json_object_get(json, "file");
    text(file, "format", result->info.format, sizeof result->info.format);
    result->info.width = whole(file, "width");
    result->info.height = whole(file, "height");
    result->info.frame_rate_hz = real(file, "frame_rate_hz");
    result->info.times_known = json_is_true(json_object_get(file, "times_known"));
    result->info.is_still = json_is_true(json_object_get(file, "still"));
    result->info.has_colour = json_is_true(json_object_get(file, "colour"));
    result->info.pixel_aspect = real(file, "pixel_aspect");
    acquisition_from_json(json_object_get(json, "acquisition"), &result->info.acquisition);
    result->frames = whole(json, "frames");
    result->duration_s = real(json, "duration_s");
    result->seconds = real(json, "seconds");
    view_from_json(json_object_get(json, "view"), json_object_get(json, "scale"), &result->view);
    sl_quality_from_json(json_object_get(json, "quality"), &result->quality);
    int times = 0;
    if (!result->reason || !line_px(json_object_get(json, "pleural_line_px"), arena, result) ||
        !numbers(json_object_get(json, "b_line_share"), arena, &result->frame_coverage, &result->frame_values) ||
        !numbers(json_object_get(json, "b_line_share_times_s"), arena, &result->frame_time_s, &times))
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", where);
    if (times != result->frame_values)
        return sl_fail(error, SL_FORMAT, "%s: the B-line shares and their times are not equally many.", where);
    const json_t *reading = json_object_get(json, "reading");
    if (json_is_object(reading))
        return sl_reading_from_json(reading, where, arena, &result->reading, error);
    return SL_OK;
}
