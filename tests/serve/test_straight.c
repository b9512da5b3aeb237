/* Straightened clips at hand: frames and times of a clip of uneven rate, a long clip thinned within its bound, the least used one given up,
 * a changed file decoded anew, and many threads that want more clips than there are places. */
#include "../clip/make_clip.h"
#include "core/units.h"
#include "serve/frames.h"
#include "serve/straight.h"

#include <libavutil/avutil.h>
#include <math.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

enum { CLIPS = 6, LONG = SL_FRAMES_SENT + 100 };

static char folder[] = "/tmp/strandline-straight-XXXXXX";
static char path[CLIPS + 1][300];
static const clip_recipe uneven = {"uneven.mp4", "mp4", "libx264", AV_PIX_FMT_YUV420P, AVCOL_RANGE_MPEG, 96, 80, 12, 25, 1, 1, 1, .uneven = true,
                                   .options = "qp=0"};
static const clip_recipe film = {"long.mkv", "matroska", "ffv1", AV_PIX_FMT_GRAY8, AVCOL_RANGE_UNSPECIFIED, 32, 32, LONG, 50, 1, 1, 1,
                                 .options = "strict=-2"};
static const sl_view view = {.shape = SL_SHAPE_LINEAR, .width = 96, .height = 80, .last_x = 95, .far_y = 79, .aspect = 1, .mm_per_px = NAN};

static int begin(void **state)
{
    (void)state;
    av_log_set_level(AV_LOG_QUIET);
    if (!mkdtemp(folder))
        return 1;
    for (int i = 0; i <= CLIPS; i++) {
        snprintf(path[i], sizeof path[i], "%s/%d.%s", folder, i, i < CLIPS ? "mp4" : "mkv");
        if (!make_clip(i < CLIPS ? &uneven : &film, path[i]))
            return 1;
    }
    return 0;
}

static int end(void **state)
{
    (void)state;
    for (int i = 0; i <= CLIPS; i++)
        unlink(path[i]);
    return rmdir(folder);
}

static void frames_and_times(void **state)
{
    (void)state;
    sl_error error;
    sl_at_hand *all = sl_straight_new();
    const sl_straight_clip *c, *again;
    assert_int_equal(sl_straight_take(all, path[0], &view, &c, &error), SL_OK);
    assert_true(c->frames == uneven.frames && c->decoded == uneven.frames && c->every == 1);
    double off = 0;
    for (int t = 0; t < c->frames; t++) {
        assert_true(c->source[t] == t && fabs(c->time_s[t] - pattern_time(&uneven, t)) < 2e-3);
        for (int j = 0; j < SL_BEAMS; j += 16) { /* beside the middle of a pixel: its grey to what its neighbours differ by */
            double x = (j + 0.5) / SL_BEAMS * 95, y = 100.5 / SL_DEPTHS * 79;
            off += abs(c->cell[t * SL_CELLS + 100 * SL_BEAMS + j] - pattern_gray(&uneven, t, (int)lrint(x), (int)lrint(y)));
        }
    }
    assert_true(off / (c->frames * SL_BEAMS / 16) < 12);
    assert_true(fabs(c->last_s - pattern_time(&uneven, uneven.frames - 1)) < 2e-3 && fabs(c->first_s) < 1e-9);
    assert_int_equal(sl_straight_take(all, path[0], &view, &again, &error), SL_OK);
    assert_ptr_equal(c, again); /* not decoded twice */
    sl_view other = view;
    other.far_y = 60;
    sl_straight_give(all, again);
    assert_int_equal(sl_straight_take(all, path[0], &other, &again, &error), SL_OK);
    assert_ptr_not_equal(c, again); /* by another geometry it is another clip */
    sl_straight_give(all, again);
    sl_straight_give(all, c);
    assert_int_equal(sl_straight_take(all, "/nowhere/at all.mp4", &view, &again, &error), SL_IO);
    assert_true(!again && strstr(error.text, "Bring it in again."));
    sl_at_hand_free(&all);
    assert_null(all);
}

static void long_clips(void **state)
{
    (void)state;
    sl_error error;
    sl_at_hand *all = sl_straight_new();
    const sl_straight_clip *c;
    sl_view small = view;
    small.width = small.height = 32;
    small.last_x = small.far_y = 31;
    assert_int_equal(sl_straight_take(all, path[CLIPS], &small, &c, &error), SL_OK);
    assert_true(c->decoded == SL_FRAMES_SENT && c->every == 4 && c->frames == SL_FRAMES_SENT / 4 && c->frames <= SL_STRAIGHT_FRAMES);
    for (int t = 0; t < c->frames; t++)
        assert_true(c->source[t] == 4 * t && fabs(c->time_s[t] - 4 * t / 50.0) < 2e-3);
    assert_true(fabs(c->last_s - (SL_FRAMES_SENT - 1) / 50.0) < 2e-3);
    sl_straight_give(all, c);
    sl_at_hand_free(&all);
}

/* What is not a clip, and what changes under its name. */
static void changed(void **state)
{
    (void)state;
    sl_error error;
    sl_at_hand *all = sl_straight_new();
    const sl_straight_clip *c;
    char name[300];
    snprintf(name, sizeof name, "%s/changing.mp4", folder);
    FILE *file = fopen(name, "wb");
    fputs("no clip", file);
    fclose(file);
    for (int i = 0; i < 2; i++) {
        assert_int_not_equal(sl_straight_take(all, name, &view, &c, &error), SL_OK);
        assert_null(c);
    }
    assert_true(make_clip(&uneven, name));
    assert_int_equal(sl_straight_take(all, name, &view, &c, &error), SL_OK);
    assert_int_equal(c->frames, uneven.frames);
    sl_straight_give(all, c);
    clip_recipe shorter = uneven;
    shorter.frames = 5;
    assert_true(make_clip(&shorter, name));
    assert_int_equal(sl_straight_take(all, name, &view, &c, &error), SL_OK);
    assert_int_equal(c->frames, 5);
    sl_straight_give(all, c);
    unlink(name);
    sl_at_hand_free(&all);
}

typedef struct worker {
    sl_at_hand *all;
    int number, got;
} worker;

static void *work(void *context)
{
    worker *self = context;
    for (int i = 0; i < 30; i++) {
        const sl_straight_clip *c;
        if (sl_straight_take(self->all, path[(self->number * 5 + i * 7) % CLIPS], &view, &c, NULL) != SL_OK)
            continue;
        self->got += c->frames == uneven.frames && c->source[11] == 11;
        sl_straight_give(self->all, c);
    }
    return NULL;
}

static void many_at_once(void **state)
{
    (void)state;
    enum { WORKERS = 8 };
    pthread_t thread[WORKERS];
    worker each[WORKERS];
    sl_at_hand *all = sl_straight_new();
    for (int i = 0; i < WORKERS; i++) {
        each[i] = (worker){all, i, 0};
        assert_int_equal(pthread_create(&thread[i], NULL, work, &each[i]), 0);
    }
    for (int i = 0; i < WORKERS; i++) {
        pthread_join(thread[i], NULL);
        assert_int_equal(each[i].got, 30);
    }
    sl_at_hand_free(&all);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(frames_and_times), cmocka_unit_test(long_clips), cmocka_unit_test(changed),
                                       cmocka_unit_test(many_at_once)};
    return cmocka_run_group_tests(tests, begin, end);
}
