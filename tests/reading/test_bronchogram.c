/* Bronchi in lung without air on straightened stacks drawn here: speckled tissue that slides with the breath, bright points in it that go
 * along or travel on their own, echo-free tubes. The truth is what was drawn; what counts as moving (more than 1 mm) is from Lichtenstein et
 * al., Chest 2009;135:1421, doi 10.1378/chest.08-2281. */
#include "moving.h"

#include "core/units.h"
#include "reading/blobs.h"
#include "reading/bronchogram.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { LINE = 50, POINTS = 6 };

typedef struct scene {
    int frames;
    double frame_s;      /* 0: times are not known */
    double mm_per_row;   /* 0: no scale */
    double breaths_hz, slide;   /* beams peak to peak of all the lung */
    double travel_mm;    /* of the points against it, peak to peak */
    int points, tubes;
    double points_grey;
} scene;

static const scene usual = {.frames = 100, .frame_s = 0.08, .mm_per_row = 0.4, .breaths_hz = 0.25, .slide = 6, .points_grey = 230};

typedef struct drawn {
    sl_view view;
    sl_stack stack;
    sl_pleura pleura;
    sl_solid solid;
} drawn;

static const int point_row[POINTS] = {80, 96, 110, 125, 138, 152}, point_beam[POINTS] = {30, 88, 55, 100, 24, 66};

static void put_point(uint8_t *cell, double row, double beam, double grey)
{
    for (int i = (int)row - 6; i <= (int)row + 6; i++)
        for (int j = (int)beam - 6; j <= (int)beam + 6; j++) {
            double g = grey * exp(-0.5 * (pow((i - row) / 1.5, 2) + pow((j - beam) / 1.8, 2)));
            uint8_t *at = &cell[i * SL_BEAMS + j];
            *at = g > *at ? (uint8_t)g : *at;
        }
}

static void draw(const scene *s, sl_arena *arena, drawn *d)
{
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    memset(d, 0, sizeof *d);
    d->view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 256, .height = 512, .last_x = 255, .far_y = 511, .face_visible = true, .aspect = 1,
                        .mm_per_px = s->mm_per_row > 0 ? s->mm_per_row * SL_DEPTHS / 511 : SL_UNKNOWN};
    sl_stack *stack = &d->stack;
    stack->frames = stack->most = s->frames;
    stack->cell = SL_NEW(arena, (size_t)s->frames * SL_CELLS, uint8_t);
    stack->time_s = SL_NEW(arena, s->frames, double);
    stack->source = SL_NEW(arena, s->frames, int);
    stack->mask = mask;
    stack->view = &d->view;
    stack->times_known = s->frame_s > 0;
    stack->frame_s = s->frame_s > 0 ? s->frame_s : SL_UNKNOWN;
    speckle *tissue = new_speckle(arena, SL_DEPTHS, 2.5, 3);
    float *mean = SL_NEW(arena, SL_CELLS, float);
    memset(mean, 0, SL_CELLS * sizeof *mean);
    for (int f = 0; f < s->frames; f++) {
        double breath = 0.5 * sin(6.2831853 * s->breaths_hz * f * (s->frame_s > 0 ? s->frame_s : 0.08)), slid = s->slide * breath;
        double down = s->mm_per_row > 0 ? s->travel_mm * breath / s->mm_per_row : 0;
        uint8_t *cell = stack->cell + (size_t)f * SL_CELLS;
        stack->time_s[f] = s->frame_s > 0 ? s->frame_s * f : SL_UNKNOWN;
        stack->source[f] = f;
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                double g = i < 200 ? fmax(60 + 18 * speckle_at(tissue, i, j - slid), 8) : 4;
                for (int k = 0; k < s->tubes; k++) {
                    double off = j - slid - point_beam[k];
                    if (fabs(off) < 6 && fabs(i - point_row[k] - 0.5 * off) < 4)
                        g = 2;
                }
                cell[i * SL_BEAMS + j] = (uint8_t)fmin(255, fmax(g, 0));
            }
        for (int k = 0; k < s->points; k++)
            put_point(cell, point_row[k] + down, point_beam[k] + slid, s->points_grey);
        for (int c = 0; c < SL_CELLS; c++)
            mean[c] += (float)cell[c] / (float)s->frames;
    }
    d->pleura.seen = true;
    d->pleura.mean = mean;
    for (int j = 0; j < SL_BEAMS; j++) {
        d->pleura.line[j] = LINE;
        d->pleura.beams.kind[j] = SL_BEAM_SPACE;
    }
    d->solid = (sl_solid){.frames = s->frames, .patchiness = -2, .decay = 0};
}

static const sl_reading *read_scene(const scene *s, sl_arena *arena, sl_bronchi *bronchi)
{
    static drawn d;
    sl_error error = {0};
    draw(s, arena, &d);
    assert_int_equal(sl_bronchi_measure(&d.stack, &d.pleura, NULL, &d.solid, arena, bronchi, &error), SL_OK);
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "test", "drawn");
    sl_solid_state(&d.solid, &d.view, "", arena, reading);
    sl_bronchi_state(bronchi, s->frames * (s->frame_s > 0 ? s->frame_s : 0) >= 5, "", arena, reading);
    return reading;
}

static void assert_answer(const sl_reading *reading, sl_code code, sl_answer answer)
{
    const sl_finding *f = sl_reading_get(reading, code);
    assert_non_null(f);
    assert_true(f->known);
    assert_int_equal(f->answer, answer);
}

static void points_that_go_with_the_tissue_stand_still(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_bronchi b;
    scene s = usual;
    s.points = POINTS;
    const sl_reading *reading = read_scene(&s, &arena, &b);
    assert_answer(reading, SL_AIR_BRONCHOGRAM, SL_PRESENT);
    assert_answer(reading, SL_AIR_BRONCHOGRAM_MOVES, SL_ABSENT);
    assert_answer(reading, SL_FLUID_BRONCHOGRAM, SL_ABSENT);
    assert_true(b.travel < 0.4);
    assert_true(b.tissue > 2); /* mm, as it slides */
    const sl_finding *air = sl_reading_get(reading, SL_AIR_BRONCHOGRAM);
    assert_in_range(air->evidences, POINTS - 1, POINTS + 1);
    sl_arena_free(&arena);
}

/* What was drawn, within a fifth. */
static void points_that_travel_are_measured(void **state)
{
    (void)state;
    static const double drawn_mm[] = {2, 3.5, 5};
    for (int k = 0; k < 3; k++) {
        sl_arena arena = {0};
        sl_bronchi b;
        scene s = usual;
        s.points = POINTS;
        s.travel_mm = drawn_mm[k];
        const sl_reading *reading = read_scene(&s, &arena, &b);
        assert_answer(reading, SL_AIR_BRONCHOGRAM_MOVES, SL_PRESENT);
        const sl_finding *travel = sl_reading_get(reading, SL_AIR_BRONCHOGRAM_TRAVEL);
        assert_true(travel->known);
        assert_true(fabs(travel->value - drawn_mm[k]) < 0.2 * drawn_mm[k]);
        assert_true(travel->low <= drawn_mm[k] && travel->high >= drawn_mm[k]);
        sl_arena_free(&arena);
    }
}

static void tissue_alone_shows_neither(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_bronchi b;
    const sl_reading *reading = read_scene(&usual, &arena, &b);
    assert_answer(reading, SL_AIR_BRONCHOGRAM, SL_ABSENT);
    assert_answer(reading, SL_FLUID_BRONCHOGRAM, SL_ABSENT);
    assert_false(sl_reading_get(reading, SL_AIR_BRONCHOGRAM_TRAVEL)->known);
    sl_arena_free(&arena);
}

static void echo_free_tubes_are_found(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_bronchi b;
    scene s = usual;
    s.tubes = 4;
    const sl_reading *reading = read_scene(&s, &arena, &b);
    assert_answer(reading, SL_FLUID_BRONCHOGRAM, SL_PRESENT);
    assert_answer(reading, SL_AIR_BRONCHOGRAM, SL_ABSENT);
    assert_true(fabs(b.tubes - 4) < 1);
    sl_arena_free(&arena);
}

/* Each with a reason instead of an answer. */
static void what_cannot_be_told_is_said(void **state)
{
    (void)state;
    scene cases[5];
    for (int k = 0; k < 5; k++) {
        cases[k] = usual;
        cases[k].points = POINTS;
    }
    cases[0].mm_per_row = 0;      /* no scale: no millimetres */
    cases[1].frame_s = 0;         /* no times */
    cases[2].breaths_hz = 0;      /* a held breath */
    cases[3].frames = 30;         /* 2.4 s: shorter than a breath */
    cases[4].frames = 2;
    static const char *const why[5] = {"scale", "times", "held", "no whole breath", ""};
    for (int k = 0; k < 5; k++) {
        sl_arena arena = {0};
        sl_bronchi b;
        const sl_reading *reading = read_scene(&cases[k], &arena, &b);
        const sl_finding *moves = sl_reading_get(reading, SL_AIR_BRONCHOGRAM_MOVES);
        assert_int_equal(moves->answer, SL_UNCERTAIN);
        assert_true(moves->reason[0] != '\0' && strstr(moves->reason, why[k]) != NULL);
        if (k < 2)
            assert_false(sl_reading_get(reading, SL_AIR_BRONCHOGRAM_TRAVEL)->known);
        sl_arena_free(&arena);
    }
    sl_arena arena = {0};
    sl_bronchi b;
    scene one = usual;
    one.frames = 1;
    one.points = POINTS;
    const sl_reading *reading = read_scene(&one, &arena, &b);
    assert_false(sl_reading_get(reading, SL_AIR_BRONCHOGRAM)->known);
    assert_true(sl_reading_get(reading, SL_AIR_BRONCHOGRAM)->reason[0] != '\0');
    sl_arena_free(&arena);
}

/* Bright points in what is not surely lung without air are not stated, whatever they are, unless they travel. */
static void doubt_about_the_lung_is_kept(void **state)
{
    (void)state;
    for (int travels = 0; travels < 2; travels++) {
        sl_arena arena = {0};
        sl_bronchi b;
        static drawn d;
        sl_error error = {0};
        scene s = usual;
        s.points = POINTS;
        s.travel_mm = travels ? 4 : 0;
        draw(&s, &arena, &d);
        d.solid.patchiness = -4.6;
        d.solid.decay = -0.3;
        assert_int_equal(sl_bronchi_measure(&d.stack, &d.pleura, NULL, &d.solid, &arena, &b, &error), SL_OK);
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "drawn");
        sl_solid_state(&d.solid, &d.view, "", &arena, reading);
        assert_answer(reading, SL_CONSOLIDATION, SL_UNCERTAIN);
        sl_bronchi_state(&b, true, "", &arena, reading);
        assert_answer(reading, SL_CONSOLIDATION, travels ? SL_PRESENT : SL_UNCERTAIN);
        assert_answer(reading, SL_AIR_BRONCHOGRAM, travels ? SL_PRESENT : SL_UNCERTAIN);
        assert_answer(reading, SL_AIR_BRONCHOGRAM_MOVES, travels ? SL_PRESENT : SL_UNCERTAIN);
        sl_arena_free(&arena);
    }
}

static void blobs_are_counted_and_boxed(void **state)
{
    (void)state;
    static uint8_t on[SL_CELLS];
    static int room[SL_CELLS];
    sl_blob blob[4];
    memset(on, 0, sizeof on);
    for (int i = 10; i < 14; i++) /* a square, a diagonal that only corners join, and one at the picture's corner */
        for (int j = 20; j < 25; j++)
            on[i * SL_BEAMS + j] = 1;
    for (int k = 0; k < 6; k++)
        on[(100 + k) * SL_BEAMS + 60 + k] = 1;
    on[SL_CELLS - 1] = 1;
    assert_int_equal(sl_blobs_find(on, room, blob, 4), 3);
    assert_int_equal(blob[0].cells, 20);
    assert_int_equal(blob[0].first_beam, 20);
    assert_int_equal(blob[0].last_row, 13);
    assert_true(fabs(blob[0].row - 11.5) < 1e-9);
    assert_int_equal(blob[1].cells, 6);
    assert_int_equal(blob[2].last_beam, SL_BEAMS - 1);
    memset(on, 1, sizeof on); /* all of it at once fits the room */
    assert_int_equal(sl_blobs_find(on, room, blob, 4), 1);
    assert_int_equal(blob[0].cells, SL_CELLS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(points_that_go_with_the_tissue_stand_still), cmocka_unit_test(points_that_travel_are_measured),
        cmocka_unit_test(tissue_alone_shows_neither), cmocka_unit_test(echo_free_tubes_are_found),
        cmocka_unit_test(what_cannot_be_told_is_said), cmocka_unit_test(doubt_about_the_lung_is_kept),
        cmocka_unit_test(blobs_are_counted_and_boxed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
