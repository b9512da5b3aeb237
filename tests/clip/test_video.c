/* Every container, coding and pixel format that has to be read, made here from a pattern whose grey is known; decoded
 * grey must equal it within one level where the coding is lossless. Ranges and weights: ITU-R BT.601-7. */
#include "clip/clip.h"
#include "make_clip.h"

#include <libavutil/log.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static char folder[] = "/tmp/strandline-video-XXXXXX";

static void check_picture(const clip_recipe *recipe, const sl_frame *frame)
{
    double sum = 0;
    int worst = 0;
    for (int y = 0; y < frame->gray.height; y++)
        for (int x = 0; x < frame->gray.width; x++) {
            int gray = frame->gray.pixel[(long)y * frame->gray.stride + x];
            int off = abs(gray - pattern_gray(recipe, frame->index, x, y));
            worst = off > worst ? off : worst;
            sum += off;
        }
    double mean = sum / frame->gray.width / frame->gray.height;
    if (worst > recipe->worst || mean > recipe->mean)
        fail_msg("%s frame %d: off by up to %d, %.2f in the mean", recipe->file, frame->index, worst, mean);
}

/* The patch is coloured and the rest is grey, in the chroma handed out. */
static void check_chroma(const clip_recipe *recipe, const sl_frame *frame)
{
    assert_int_equal(frame->cb != NULL, recipe->coloured);
    if (!frame->cb)
        return;
    for (int y = 0; y < frame->gray.height; y += 2)
        for (int x = 0; x < frame->gray.width; x += 2) {
            long at = (long)(y >> frame->chroma_shift_y) * frame->chroma_stride + (x >> frame->chroma_shift_x);
            int reach = abs(frame->cr[at] - 128);
            if (in_patch(recipe, x, y) ? reach < 75 : reach > 2)
                fail_msg("%s frame %d: chroma of %d, %d is off grey by %d", recipe->file, frame->index, x, y, reach);
        }
}

static void check_facts(const clip_recipe *recipe, const sl_clip_info *info)
{
    bool lies = recipe->quarter_turns & 1, is_still = recipe->frames == 1 && strcmp(recipe->reads_as, "mp4");
    assert_string_equal(info->format, recipe->reads_as);
    assert_int_equal(info->width, lies ? recipe->height : recipe->width);
    assert_int_equal(info->height, lies ? recipe->width : recipe->height);
    assert_int_equal(info->is_still, is_still);
    bool nonsense = !strcmp(recipe->file, "too fast.gif");
    assert_int_equal(info->times_known, !is_still && !nonsense);
    double aspect = recipe->aspect_num ? (double)recipe->aspect_num / recipe->aspect_den : 1;
    assert_float_equal(info->pixel_aspect, aspect, 1e-9);
    if (info->times_known && !recipe->uneven && recipe->frames > 1)
        assert_float_equal(info->frame_rate_hz, (double)recipe->rate / recipe->rate_den, 0.01);
    if (info->frames_stated && strcmp(recipe->muxer, "mpegts"))
        assert_int_equal(info->frames_stated, recipe->frames);
}

static int read_all(const clip_recipe *recipe, sl_clip *clip)
{
    const sl_clip_info *info = sl_clip_get_info(clip);
    sl_frame frame;
    sl_error error;
    bool got;
    int frames = 0;
    while (!sl_clip_next(clip, &frame, &got, &error) && got) {
        assert_int_equal(frame.index, frames);
        assert_int_equal(frame.gray.width, info->width);
        assert_int_equal(frame.gray.height, info->height);
        if (info->times_known)
            assert_float_equal(frame.time_s, pattern_time(recipe, frames), 0.0011);
        else
            assert_true(isnan(frame.time_s));
        check_picture(recipe, &frame);
        check_chroma(recipe, &frame);
        frames++;
    }
    assert_false(got);
    return frames;
}

static void read_recipe(void **state)
{
    const clip_recipe *recipe = *state;
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, recipe->file);
    if (!make_clip(recipe, path))
        fail_msg("%s could not be made", recipe->file);
    for (int threads = 1; threads <= 2; threads++) {
        sl_clip *clip;
        sl_error error = {0};
        if (sl_clip_open(path, threads, &clip, &error))
            fail_msg("%s", error.text);
        check_facts(recipe, sl_clip_get_info(clip));
        assert_int_equal(read_all(recipe, clip), recipe->frames);
        assert_int_equal(sl_clip_get_info(clip)->has_colour, recipe->coloured);
        assert_string_equal(sl_clip_damage(clip), "");
        assert_int_equal(sl_clip_rewind(clip, &error), SL_OK);
        sl_frame frame;
        bool got;
        if (recipe->frames > 2)
            for (int i = 0; i < 2; i++)
                assert_int_equal(sl_clip_next(clip, &frame, &got, &error), SL_OK);
        assert_int_equal(sl_clip_rewind(clip, &error), SL_OK);
        assert_int_equal(read_all(recipe, clip), recipe->frames);
        sl_clip_close(&clip);
        assert_null(clip);
    }
    unlink(path);
}

static int make_folder(void **state)
{
    (void)state;
    av_log_set_level(AV_LOG_QUIET);
    return mkdtemp(folder) ? 0 : -1;
}

static int drop_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    struct CMUnitTest *tests = calloc((size_t)recipe_count, sizeof *tests);
    if (!tests)
        return 1;
    for (int i = 0; i < recipe_count; i++)
        tests[i] = (struct CMUnitTest){recipes[i].file, read_recipe, NULL, NULL, (void *)(uintptr_t)&recipes[i]};
    int failed = _cmocka_run_group_tests("video", tests, (size_t)recipe_count, make_folder, drop_folder);
    free(tests);
    return failed;
}
