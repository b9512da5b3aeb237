/* Clips that do not allow a finding get a reason and no number: two frames; frame times that are absent, stand still or run
 * backwards; a breath held; the probe lifted off; pictures zoomed to where no pleura is. Each is an invented chest of the simulator, handed to reading as a file of a format of this test's own. (Colour alone: tests/reading/test_read_clip.c.) */
#include "chest/chest.h"
#include "chest/scenario.h"
#include "clip/format.h"
#include "core/file.h"
#include "core/units.h"
#include "reading/read_clip.h"

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

typedef enum fault { NONE, TWO_FRAMES, NO_TIMES, ONE_TIME, TIMES_BACK, BREATH_HELD, UNSTEADY, LIFTED, ZOOMED, ONLY_WALL, ONLY_BELOW, FAULTS } fault;
static const char *const names[FAULTS] = {"none", "two frames", "no times", "one time for all", "times backwards", "breath held", "breath held, hand unsteady", "lifted", "zoomed, the pleura in it", "only wall", "only below"};
static fault wrong;

typedef struct state {
    sl_scenario scenario;
    sl_chest *chest;
    int next, frames;
    uint8_t *off; /* the picture of a probe in the air, or what is zoomed onto */
    sl_gray air;
    double x, y, scale; /* of the zoom: its upper left corner and its size against the whole picture's */
} state;

static bool detects(const uint8_t *head, size_t length)
{
    return length > 3 && !memcmp(head, "BAD!", 4);
}

static void close_clip(void *context)
{
    state *s = context;
    sl_chest_free(&s->chest);
    free(s->off);
    free(s);
}

static void set_up(sl_scenario *s)
{
    sl_scenario_defaults(s);
    sl_scenario_probe_defaults(s, SL_PROBE_LINEAR);
    s->seed = 4711;
    s->wall.skin_mm = 1.6;
    s->wall.fat_mm = 4;
    s->wall.muscle_mm = 9;
    s->motion.breaths_per_min = 20;
    s->motion.sliding_mm = 9;
    s->controls.depth_mm = 40;
    s->controls.duration_s = 7;
    s->controls.frame_rate_hz = 20;
    s->controls.picture_height = 240;
    s->controls.ruler = false;
    s->motion.sway_mm = wrong == UNSTEADY ? 1.2 : 0.15;
    if (wrong == BREATH_HELD || wrong == UNSTEADY)
        s->motion.breaths_per_min = s->motion.sliding_mm = s->motion.beats_per_min = s->motion.pulse_mm = 0;
    s->ribs = 0;
}

/* From the transducer's face to the pleura. */
static double wall_mm(const sl_scenario *s)
{
    return s->wall.skin_mm + s->wall.fat_mm + s->wall.muscle_mm;
}

/* Depths in shares of the pleura's, of the upper border and of the lower one (0: as deep as the picture is), and how wide at most. */
static const struct {
    double first, last, width;
} zooms[FAULTS] = {[ZOOMED] = {0, 2.2, 1}, [ONLY_WALL] = {0, 0.85, 1}, [ONLY_BELOW] = {1.2, 0, 1}};

static void place_zoom(state *s, const sl_view *view)
{
    double x, top, bottom, deepest = s->scenario.controls.depth_mm / wall_mm(&s->scenario), share = wall_mm(&s->scenario) / sl_view_depth_mm(view);
    sl_view_to_pixel(view, 0.5, share * zooms[wrong].first, &x, &top);
    sl_view_to_pixel(view, 0.5, share * (zooms[wrong].last > 0 ? zooms[wrong].last : deepest), &x, &bottom);
    s->scale = fmin(zooms[wrong].width, (bottom - top) / view->height);
    s->x = x - 0.5 * s->scale * view->width;
    s->y = top;
}

/* The pictures of the chest at hand, drawn once: most faults are faults of the same one. */
static struct {
    fault of; /* which of the chests that differ: NONE, BREATH_HELD or UNSTEADY */
    int frames;
    size_t bytes;
    uint8_t *pixel, *drawn;
} kept;

static void forget(void)
{
    free(kept.pixel);
    free(kept.drawn);
    memset(&kept, 0, sizeof kept);
}

static bool keep(const state *s)
{
    fault of = wrong == BREATH_HELD || wrong == UNSTEADY ? wrong : NONE;
    if (kept.pixel && kept.of == of)
        return true;
    forget();
    kept.of = of;
    kept.frames = sl_chest_frames(s->chest);
    kept.bytes = (size_t)s->air.width * (size_t)s->air.height;
    kept.pixel = malloc(kept.bytes * (size_t)kept.frames);
    kept.drawn = calloc((size_t)kept.frames, 1);
    return kept.pixel && kept.drawn;
}

static sl_status picture_of(state *s, int frame, sl_gray *picture, sl_error *error)
{
    uint8_t *to = kept.pixel + kept.bytes * (size_t)frame;
    if (!kept.drawn[frame]) {
        sl_status status = sl_chest_frame(s->chest, frame, picture, error);
        if (status != SL_OK)
            return status;
        for (int y = 0; y < picture->height; y++)
            memcpy(to + (size_t)y * (size_t)s->air.width, picture->pixel + (ptrdiff_t)y * picture->stride, (size_t)s->air.width);
        kept.drawn[frame] = 1;
    }
    *picture = (sl_gray){s->air.width, s->air.height, s->air.width, to};
    return SL_OK;
}

static sl_status open_clip(const char *path, int threads, sl_clip_info *info, void **out, sl_error *error)
{
    (void)path;
    state *s = calloc(1, sizeof *s);
    if (!s)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    set_up(&s->scenario);
    sl_status status = sl_chest_new(&s->scenario, &s->chest, error);
    if (status != SL_OK) {
        close_clip(s);
        return status;
    }
    sl_chest_workers(s->chest, threads);
    sl_view view;
    sl_chest_view(s->chest, &view);
    s->scale = 1;
    if (zooms[wrong].width > 0)
        place_zoom(s, &view);
    s->frames = wrong == TWO_FRAMES ? 2 : sl_chest_frames(s->chest);
    info->width = view.width;
    info->height = view.height;
    info->frames_stated = s->frames;
    info->times_known = wrong != NO_TIMES;
    info->pixel_aspect = 1;
    strcpy(info->format, "bad");
    info->regions = 1;
    info->region[0] = (sl_clip_region){.x1 = view.width - 1, .y1 = info->height - 1, .spatial_format = 1, .data_type = 1, .unit_x = 3, .unit_y = 3,
                                       .delta_x = s->scale * view.mm_per_px / 10, .delta_y = s->scale * view.mm_per_px / 10};
    s->off = malloc((size_t)view.width * (size_t)view.height);
    s->air = (sl_gray){view.width, view.height, view.width, s->off};
    *out = s;
    return s->off && keep(s) ? SL_OK : SL_MEMORY;
}

/* In the air nothing comes back but what rings at the face: the uppermost rows stay, below them noise that is new each time. */
static void lift(state *s, sl_gray picture, int frame)
{
    uint32_t seed = 77u + (uint32_t)frame;
    for (int y = 0; y < picture.height; y++)
        for (int x = 0; x < picture.width; x++) {
            seed = seed * 1664525u + 1013904223u; /* Numerical Recipes' quick one */
            int grey = picture.pixel[(ptrdiff_t)y * picture.stride + x];
            s->off[(size_t)y * (size_t)picture.width + (size_t)x] = (uint8_t)(y < picture.height / 24 ? grey : grey ? (int)(seed >> 28) : 0);
        }
}

/* Enlarged to the whole picture, between the pixels. */
static void zoom(state *s, sl_gray picture)
{
    for (int y = 0; y < picture.height; y++)
        for (int x = 0; x < picture.width; x++) {
            double u = fmin(fmax(s->x + s->scale * x, 0), picture.width - 1.001), v = fmin(fmax(s->y + s->scale * y, 0), picture.height - 1.001);
            int i = (int)u, j = (int)v;
            const uint8_t *p = picture.pixel + (ptrdiff_t)j * picture.stride + i;
            double a = u - i, b = v - j;
            s->off[(size_t)y * (size_t)picture.width + (size_t)x] =
                (uint8_t)((1 - b) * ((1 - a) * p[0] + a * p[1]) + b * ((1 - a) * p[picture.stride] + a * p[picture.stride + 1]) + 0.5);
        }
}

static sl_status next_frame(void *context, sl_frame *frame, bool *got, sl_error *error)
{
    state *s = context;
    *got = s->next < s->frames;
    if (!*got)
        return SL_OK;
    int i = s->next++;
    double time_s = i / sl_chest_frame_rate_hz(s->chest);
    *frame = (sl_frame){.index = i, .time_s = wrong == NO_TIMES ? SL_UNKNOWN : wrong == ONE_TIME ? 0 : wrong == TIMES_BACK ? -time_s : time_s};
    sl_status status = picture_of(s, i, &frame->gray, error);
    if (status == SL_OK && wrong == LIFTED && i >= s->frames / 6) {
        lift(s, frame->gray, i);
        frame->gray = s->air;
    }
    if (status == SL_OK && s->scale < 1) {
        zoom(s, frame->gray);
        frame->gray = s->air;
    }
    return status;
}

static sl_status rewind_clip(void *context, sl_error *error)
{
    (void)error;
    ((state *)context)->next = 0;
    return SL_OK;
}

static const char *damage(void *context)
{
    (void)context;
    return "";
}

/* What needs movement and its time. */
static const sl_code moving[] = {SL_SLIDING, SL_SLIDING_AMPLITUDE, SL_SLIDING_AMPLITUDE_MM, SL_SLIDING_SPEED, SL_LUNG_PULSE, SL_LUNG_POINT,
    SL_LUNG_POINT_TRAVEL, SL_BREATHING_RATE, SL_CURTAIN, SL_CURTAIN_TRAVEL, SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED,
    SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING, SL_HEART_RATE};
/* What a breath may bring into the picture. */
static const sl_code there[] = {SL_EFFUSION, SL_CONSOLIDATION, SL_WHITE_LUNG, SL_PLEURA_IRREGULAR, SL_ORGAN, SL_SPINE};
/* Rates and speeds: what cannot be said without the frames' times. */
static const sl_code timed[] = {SL_SLIDING_SPEED, SL_SLIDING_PHASE, SL_BREATHING_RATE, SL_DIAPHRAGM_SPEED, SL_HEART_RATE, SL_LUNG_PULSE, SL_LUNG_POINT};
static void no_number(const sl_clip_result *r, const sl_code *code, size_t codes)
{
    if (r->state != SL_CLIP_READ) {
        assert_int_equal(r->state, SL_CLIP_UNREADABLE);
        assert_true(r->reason[0] != 0);
        return;
    }
    for (size_t i = 0; i < codes; i++) {
        const sl_finding *f = sl_reading_get(r->reading, code[i]);
        const sl_finding_info *info = sl_finding_info_of(code[i]);
        if (!f) /* nothing is said of it */
            continue;
        if (f->known && (info->kind != SL_KIND_ANSWER || f->answer != SL_UNCERTAIN))
            fail_msg("%s: %s is told: %g, %d", names[wrong], info->key, f->value, (int)f->answer);
        if (!f->reason[0])
            fail_msg("%s: no reason for %s", names[wrong], info->key);
    }
}

static char path[] = "/tmp/bad-input-XXXXXX";

static void show(const sl_clip_result *r)
{
    if (!getenv("BAD_INPUT_SHOW"))
        return;
    printf("== %s: state %d %s\n", names[wrong], (int)r->state, r->reason);
    for (int i = 0; r->reading && i < r->reading->findings; i++) {
        const sl_finding *f = &r->reading->finding[i];
        printf("   %-26s known %d answer %d value %g  %s\n", sl_finding_info_of(f->code)->key, f->known, (int)f->answer, f->value, f->reason);
    }
}

static void read_with(fault what, sl_arena *arena, sl_clip_result *result)
{
    wrong = what;
    sl_read_clip(path, NULL, arena, result);
    show(result);
}

/* So that the test can fail: the same chest without a fault is told. */
static void nothing_wrong(void **unused)
{
    (void)unused;
    sl_arena arena = {0};
    sl_clip_result r;
    read_with(NONE, &arena, &r);
    assert_int_equal(r.state, SL_CLIP_READ);
    assert_int_equal(sl_reading_get(r.reading, SL_SLIDING)->answer, SL_PRESENT);
    assert_true(sl_reading_get(r.reading, SL_BREATHING_RATE)->known && sl_reading_get(r.reading, SL_SLIDING_AMPLITUDE_MM)->known);
    sl_arena_free(&arena);
}

#define COUNT(list) (sizeof(list) / sizeof *(list))

static void two_frames(void **unused)
{
    (void)unused;
    sl_arena arena = {0};
    sl_clip_result r;
    read_with(TWO_FRAMES, &arena, &r);
    no_number(&r, moving, COUNT(moving));
    no_number(&r, there, COUNT(there));
    sl_arena_free(&arena);
}

static void wrong_times(void **unused)
{
    (void)unused;
    for (fault f = NO_TIMES; f <= TIMES_BACK; f++) {
        sl_arena arena = {0};
        sl_clip_result r;
        read_with(f, &arena, &r);
        no_number(&r, timed, COUNT(timed));
        assert_false(sl_known(r.duration_s));
        sl_arena_free(&arena);
    }
}

/* Breath held, by a steady hand and by one that sways: no rate, no travel; that nothing slides is not called absent sliding. */
static void breath_held(void **unused)
{
    (void)unused;
    static const sl_code amounts[] = {SL_SLIDING_AMPLITUDE, SL_SLIDING_AMPLITUDE_MM, SL_SLIDING_SPEED, SL_SLIDING_PHASE, SL_LUNG_POINT_TRAVEL, SL_BREATHING_RATE, SL_CURTAIN_TRAVEL,
                                      SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED, SL_DIAPHRAGM_THICKENING, SL_HEART_RATE};
    for (fault f = BREATH_HELD; f <= UNSTEADY; f++) {
        sl_arena arena = {0};
        sl_clip_result r;
        read_with(f, &arena, &r);
        no_number(&r, amounts, COUNT(amounts));
        const sl_finding *sliding = sl_reading_get(r.reading, SL_SLIDING);
        assert_int_equal(sliding->answer, SL_UNCERTAIN);
        assert_true(sliding->reason[0] != 0);
        sl_arena_free(&arena);
    }
}

/* Lifted after a little more than a second: that the lung slides was seen until then, all else of the breath was not, and nothing that
 * the lift itself moves in the picture is told as movement of the chest. */
static void lifted(void **unused)
{
    (void)unused;
    static const sl_code unsaid[] = {SL_SLIDING_AMPLITUDE, SL_SLIDING_AMPLITUDE_MM, SL_SLIDING_SPEED, SL_LUNG_PULSE, SL_LUNG_POINT, SL_LUNG_POINT_TRAVEL,
                                     SL_BREATHING_RATE, SL_CURTAIN, SL_CURTAIN_TRAVEL, SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED, SL_DIAPHRAGM_THICKENING,
                                     SL_HEART_RATE};
    sl_arena arena = {0};
    sl_clip_result r;
    read_with(LIFTED, &arena, &r);
    no_number(&r, unsaid, COUNT(unsaid));
    assert_int_equal(r.state, SL_CLIP_READ);
    assert_int_not_equal(sl_reading_get(r.reading, SL_SLIDING)->answer, SL_ABSENT);
    sl_arena_free(&arena);
}

/* Zoomed onto the wall, or onto what lies below the pleura, nothing is told that hangs on the pleural line, and the reason says what to
 * do. Zoomed so that the line stays in the picture, it is found where it is. */
static void zoomed(void **unused)
{
    (void)unused;
    static const sl_code hanging[] = {SL_PLEURA_DEPTH, SL_PLEURA_DEPTH_MM, SL_A_LINES, SL_A_LINE_COUNT, SL_A_LINE_SPACING, SL_B_LINES, SL_B_LINE_COUNT, SL_B_LINE_COVERAGE,
                                      SL_WHITE_LUNG, SL_SCORE, SL_SLIDING, SL_SLIDING_AMPLITUDE, SL_SLIDING_AMPLITUDE_MM, SL_SLIDING_SPEED, SL_LUNG_PULSE,
                                      SL_LUNG_POINT, SL_LUNG_POINT_TRAVEL, SL_EFFUSION, SL_EFFUSION_DEPTH, SL_CONSOLIDATION, SL_CONSOLIDATION_EXTENT,
                                      SL_PLEURA_IRREGULAR, SL_PLEURA_THICKNESS, SL_PLEURA_ROUGHNESS, SL_PLEURA_BROKEN, SL_SUBPLEURAL_SPOTS, SL_PLEURA_BUMPS,
                                      SL_TRACE_TEXTURE, SL_CURTAIN, SL_CURTAIN_TRAVEL, SL_BREATHING_RATE, SL_AIR_BRONCHOGRAM, SL_FLUID_BRONCHOGRAM};
    for (fault f = ZOOMED; f <= ONLY_BELOW; f++) {
        sl_arena arena = {0};
        sl_clip_result r;
        read_with(f, &arena, &r);
        assert_int_equal(r.state, SL_CLIP_READ);
        const sl_finding *depth = sl_reading_get(r.reading, SL_PLEURA_DEPTH);
        if (f == ZOOMED) {
            assert_true(depth->known && fabs(depth->value - 1 / zooms[f].last) < 0.04);
        } else {
            no_number(&r, hanging, COUNT(hanging));
            if (!strstr(depth->reason, "zoom out"))
                fail_msg("%s: %s", names[f], depth->reason);
        }
        sl_arena_free(&arena);
    }
}

static int join(void **unused)
{
    static const sl_clip_format format = {"bad", detects, open_clip, next_frame, rewind_clip, damage, close_clip};
    (void)unused;
    int file = mkstemp(path);
    if (file < 0 || close(file))
        return -1;
    sl_clip_add_format(&format);
    return sl_file_write(path, "BAD! one of this test's own", 27, NULL) == SL_OK ? 0 : -1;
}

static int leave(void **unused)
{
    (void)unused;
    forget();
    return unlink(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(nothing_wrong), cmocka_unit_test(two_frames), cmocka_unit_test(wrong_times),
                                       cmocka_unit_test(breath_held),   cmocka_unit_test(lifted), cmocka_unit_test(zoomed)};
    return cmocka_run_group_tests(tests, join, leave);
}
