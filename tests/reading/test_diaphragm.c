/* Diaphragm and curtain on drawn stacks whose truth is known, and when nothing is claimed. Formula of the thickening fraction and
 * its worked example: (2.7 - 2.0) / 2.0 = 35 % (Ferrari et al., Crit Ultrasound J 2014;6:8, doi 10.1186/2036-7902-6-8). */
#include "core/units.h"
#include "reading/borders.h"
#include "reading/breaths.h"
#include "reading/curtain.h"
#include "reading/diaphragm.h"
#include "reading/muscle.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 120 };

typedef struct drawing {
    double frame_s, depth_mm; /* 0: unknown */
    double breaths_hz;
    double dome, excursion;   /* rows; 0 = none */
    double edge, swing;       /* beams of the lung's edge, organ to the right; 0 = none */
    int shade_from, shade_to; /* beams that a rib shades from row 60 on */
    double thin, thick;       /* rows between two lines at row 90 */
    int frames;
} drawing;

/* Speckle of a place: the same wherever the tissue has gone; about three cells across. */
static double speckle(int row, int beam, uint32_t salt)
{
    uint32_t h = (uint32_t)(row / 2) * 2654435761u ^ (uint32_t)(beam / 3) * 40503u ^ salt;
    h ^= h >> 15;
    h *= 2246822519u;
    h ^= h >> 13;
    return (double)(h & 1023) / 1023 - 0.5;
}

static double cell_of(const drawing *d, int r, int j, double breath)
{
    double value = 40 + 20 * speckle(r, j, 7);
    if (r < 30)
        return value + 40;
    if (d->dome > 0) {
        double at = d->dome - d->excursion * breath - 0.006 * (j - 64) * (j - 64), off = r - at;
        int own = (int)floor(r + d->excursion * breath + 0.5);
        value = off < 0 ? 70 + 60 * speckle(own, j, 1) : 30 + 20 * speckle(r, j, 2);
        value += 150 * exp(-0.5 * off * off / 2.5);
    } else if (d->edge > 0) {
        double edge = d->edge + d->swing * (breath - 0.5);
        if (j < edge) /* lung: a bright line, falling off below */
            value = (r >= 60 && r <= 64 ? 230 : r < 60 ? 60 : 90 * exp(-(r - 64) / 30.0)) + 25 * speckle(r, j - (int)(d->swing * breath), 3);
        else
            value = (r >= 60 && r <= 64 ? 110 : 80) + 40 * speckle(r, j - (int)(d->swing * breath), 4);
        if (r > 60 && j >= d->shade_from && j < d->shade_to)
            value = 6 + 6 * speckle(r, j, 6);
    } else if (d->thin > 0) {
        double lower = 90 + d->thin + (d->thick - d->thin) * breath, a = r - 90, b = r - lower;
        value = (r < 90 ? 60 : r < lower ? 15 : 85) + 25 * speckle(r, j, 5);
        value += 150 * exp(-0.5 * a * a / 1.2) + 130 * exp(-0.5 * b * b / 1.2);
    }
    return value < 0 ? 0 : value > 255 ? 255 : value;
}

static void draw(const drawing *d, sl_arena *arena, sl_stack *stack)
{
    int n = d->frames ? d->frames : FRAMES;
    double frame_s = d->frame_s > 0 ? d->frame_s : 0.05;
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    sl_view *view = SL_NEW(arena, 1, sl_view);
    *view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 400, .height = 512, .first_x = 0, .last_x = 399, .near_y = 0, .far_y = 511,
                      .aspect = 1, .mm_per_px = d->depth_mm > 0 ? d->depth_mm / 511 : SL_UNKNOWN, .mm_per_px_sd = 0};
    *stack = (sl_stack){.frames = n, .most = n, .cell = SL_NEW(arena, (size_t)n * SL_CELLS, uint8_t), .time_s = SL_NEW(arena, n, double),
                        .source = SL_NEW(arena, n, int), .mask = mask, .view = view, .times_known = d->frame_s > 0,
                        .frame_s = d->frame_s > 0 ? d->frame_s : SL_UNKNOWN};
    for (int t = 0; t < n; t++) {
        double breath = 0.5 - 0.5 * cos(2 * SL_PI * d->breaths_hz * t * frame_s + 0.6);
        stack->time_s[t] = d->frame_s > 0 ? t * frame_s : SL_UNKNOWN;
        stack->source[t] = t;
        for (int r = 0; r < SL_DEPTHS; r++)
            for (int j = 0; j < SL_BEAMS; j++)
                stack->cell[(size_t)t * SL_CELLS + (size_t)(r * SL_BEAMS + j)] = (uint8_t)cell_of(d, r, j, breath);
    }
}

static sl_reading *read_drawing(const drawing *d, sl_arena *arena)
{
    sl_stack stack;
    sl_pleura pleura;
    sl_dome dome;
    sl_curtain curtain;
    sl_muscle muscle;
    draw(d, arena, &stack);
    assert_int_equal(sl_pleura_find(&stack, arena, &pleura, NULL), SL_OK);
    if (d->edge > 0)
        for (int j = 0; j < SL_BEAMS; j++) { /* the line is another test's */
            pleura.line[j] = 61;
            pleura.beams.kind[j] = SL_BEAM_SPACE;
        }
    assert_int_equal(sl_dome_measure(&stack, &pleura, arena, &dome, NULL), SL_OK);
    assert_int_equal(sl_curtain_measure(&stack, &pleura, arena, &curtain, NULL), SL_OK);
    assert_int_equal(sl_muscle_measure(&stack, &pleura, arena, &muscle, NULL), SL_OK);
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "test", "drawn");
    sl_curtain_state(&curtain, "", arena, reading);
    sl_dome_state(&dome, arena, reading);
    sl_muscle_state(&muscle, arena, reading);
    return reading;
}

static const sl_finding *get(const sl_reading *reading, sl_code code)
{
    const sl_finding *f = sl_reading_get(reading, code);
    assert_non_null(f);
    return f;
}

static void breaths_are_listed(void **state)
{
    (void)state;
    enum { N = 400 };
    sl_arena arena = {0};
    double time_s[N], x[N];
    sl_breaths b;
    for (int i = 0; i < N; i++) { /* 20 s at 15 a minute, uneven times, from the middle of a breath */
        time_s[i] = 0.05 * i + 0.01 * (i % 3);
        x[i] = -10 * cos(2 * SL_PI * 0.25 * time_s[i] + 2);
    }
    assert_true(sl_breaths_find(time_s, x, N, 1, &arena, &b));
    int whole = 0;
    for (int i = 0; i < b.count; i++)
        if (b.breath[i].whole) {
            whole++;
            assert_true(fabs(b.breath[i].high - b.breath[i].low - 20) < 0.3);
            /* of a cosine the middle 80 % of the way take acos(-0.8) - acos(0.8) of pi */
            double seconds = (acos(-0.8) - acos(0.8)) / SL_PI * 2;
            assert_true(fabs(b.breath[i].speed - 16 / seconds) < 0.5);
        }
    assert_true(whole >= 4 && whole <= 5);
    for (int i = 0; i < N; i++)
        x[i] = 3;
    assert_true(sl_breaths_find(time_s, x, N, 1, &arena, &b));
    assert_int_equal(b.count, 0);
    sl_arena_free(&arena);
}

static void a_dome_is_followed(void **state)
{
    (void)state;
    sl_arena arena = {0};
    const drawing d = {.frame_s = 0.05, .depth_mm = 180, .breaths_hz = 0.3, .dome = 190, .excursion = 24};
    sl_reading *r = read_drawing(&d, &arena);
    assert_int_equal(get(r, SL_DIAPHRAGM)->answer, SL_PRESENT);
    const sl_finding *way = get(r, SL_DIAPHRAGM_EXCURSION), *rate = get(r, SL_BREATHING_RATE);
    double truth = 24 * 180.0 / SL_DEPTHS;
    assert_true(way->known && fabs(way->value - truth) < 1.5); /* the limit */
    assert_true(way->low <= truth && truth <= way->high && way->evidences >= 2);
    assert_true(rate->known && fabs(rate->value - 18) < 1);
    assert_int_not_equal(get(r, SL_CURTAIN)->answer, SL_PRESENT);
    assert_false(get(r, SL_DIAPHRAGM_THICKNESS)->known);
    sl_arena_free(&arena);
}

/* The borders that are kept give the reading's own figures again, breath by breath. */
static void kept_borders_give_the_same_figures(void **state)
{
    (void)state;
    sl_arena arena = {0};
    const drawing drawn[] = {{.frame_s = 0.05, .depth_mm = 180, .breaths_hz = 0.3, .dome = 190, .excursion = 24},
                             {.frame_s = 0.05, .depth_mm = 40, .breaths_hz = 0.3, .thin = 18, .thick = 27}};
    static const sl_code codes[][3] = {{SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED, SL_DIAPHRAGM_SPEED},
                                       {SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING}};
    for (int kind = 0; kind < SL_BORDER_KINDS; kind++) {
        sl_stack stack;
        sl_pleura pleura;
        sl_dome dome;
        sl_muscle muscle;
        draw(&drawn[kind], &arena, &stack);
        assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
        assert_int_equal(sl_dome_measure(&stack, &pleura, &arena, &dome, NULL), SL_OK);
        assert_int_equal(sl_muscle_measure(&stack, &pleura, &arena, &muscle, NULL), SL_OK);
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "drawn");
        sl_dome_state(&dome, &arena, reading);
        sl_muscle_state(&muscle, &arena, reading);
        const sl_border_path path = {.frames = stack.frames, .source = stack.source, .time_s = stack.time_s, .found = true, .beam = 0.5,
                                     .depth = {kind ? muscle.upper : dome.path, kind ? muscle.lower : NULL}};
        sl_border_figures f;
        assert_int_equal(sl_borders_measure((sl_border_kind)kind, &path, NULL, stack.view, &arena, &f, NULL), SL_OK);
        const sl_breaths *due = kind ? &muscle.breaths : &dome.breaths;
        assert_int_equal(f.breaths.count, due->count);
        assert_true(due->count >= 2);
        for (int b = 0; b < due->count; b++) {
            assert_int_equal(f.breaths.breath[b].from, due->breath[b].from);
            assert_int_equal(f.breaths.breath[b].to, due->breath[b].to);
            assert_true(fabs(f.breaths.breath[b].high - f.breaths.breath[b].low - due->breath[b].high + due->breath[b].low) < 1e-9);
        }
        for (int i = 0; i < 3; i++) {
            const sl_finding *by_reading = get(reading, codes[kind][i]), *again = get(f.reading, codes[kind][i]);
            assert_true(by_reading->known && again->known);
            assert_true(fabs(by_reading->value - again->value) < 1e-6 && fabs(by_reading->low - again->low) < 1e-6);
        }
        /* the borders lie where they were drawn: the muscle's upper line at row 90, its leading edge about a row before */
        if (kind)
            for (int t = 0; t < stack.frames; t++)
                assert_true(fabs(muscle.upper[t] * SL_DEPTHS - 89) < 2);
    }
    sl_arena_free(&arena);
}

static void nothing_is_claimed_without_ground(void **state)
{
    (void)state;
    sl_arena arena = {0};
    drawing d = {.frame_s = 0.05, .depth_mm = 180, .breaths_hz = 0.3, .dome = 190, .excursion = 0};
    assert_int_not_equal(get(read_drawing(&d, &arena), SL_DIAPHRAGM)->answer, SL_PRESENT); /* stands still */
    d.excursion = 24;
    d.depth_mm = 0; /* no scale, no millimetres */
    sl_reading *r = read_drawing(&d, &arena);
    assert_false(get(r, SL_DIAPHRAGM_EXCURSION)->known);
    assert_true(get(r, SL_DIAPHRAGM_EXCURSION)->reason[0]);
    d.depth_mm = 180;
    d.frame_s = 0.4; /* too slow */
    d.frames = 24;
    r = read_drawing(&d, &arena);
    assert_int_not_equal(get(r, SL_DIAPHRAGM)->answer, SL_PRESENT);
    assert_false(get(r, SL_DIAPHRAGM_EXCURSION)->known);
    d.frame_s = 0.05;
    d.frames = 2;
    r = read_drawing(&d, &arena);
    assert_false(get(r, SL_DIAPHRAGM)->known);
    assert_false(get(r, SL_CURTAIN)->known);
    assert_true(get(r, SL_DIAPHRAGM_THICKNESS)->reason[0]);
    sl_arena_free(&arena);
}

static void the_curtain_is_seen(void **state)
{
    (void)state;
    sl_arena arena = {0};
    drawing d = {.frame_s = 0.05, .depth_mm = 120, .breaths_hz = 0.3, .edge = 64, .swing = 40};
    sl_reading *r = read_drawing(&d, &arena);
    assert_int_equal(get(r, SL_CURTAIN)->answer, SL_PRESENT);
    double beam_mm = sl_known(get(r, SL_CURTAIN_TRAVEL)->value) ? 120.0 / 511 * 399 / SL_BEAMS : 0;
    assert_true(fabs(get(r, SL_CURTAIN_TRAVEL)->value - 40 * beam_mm) < 4);
    d.swing = 0; /* side by side, at rest */
    assert_int_equal(get(read_drawing(&d, &arena), SL_CURTAIN)->answer, SL_ABSENT);
    sl_arena_free(&arena);
}

static void a_turn_in_a_ribs_shadow_leaves_the_travel_open(void **state)
{
    (void)state;
    sl_arena arena = {0};
    drawing d = {.frame_s = 0.05, .depth_mm = 120, .breaths_hz = 0.3, .edge = 64, .swing = 40, .shade_from = 72, .shade_to = 96};
    sl_reading *r = read_drawing(&d, &arena); /* its way ends at beam 84 */
    const sl_finding *travel = get(r, SL_CURTAIN_TRAVEL);
    assert_int_equal(get(r, SL_CURTAIN)->answer, SL_PRESENT);
    assert_false(travel->known);
    assert_non_null(strstr(travel->reason, "rib's shadow"));
    d.shade_from = 10; /* clear of its ends, 44 and 84 */
    d.shade_to = 30;
    assert_true(get(read_drawing(&d, &arena), SL_CURTAIN_TRAVEL)->known);
    sl_arena_free(&arena);
}

static void muscle_thickens(void **state)
{
    (void)state;
    sl_arena arena = {0};
    const double row_mm = 40.0 / SL_DEPTHS;
    drawing d = {.frame_s = 0.05, .depth_mm = 40, .breaths_hz = 0.3, .thin = 2.0 / row_mm, .thick = 2.7 / row_mm};
    sl_reading *r = read_drawing(&d, &arena);
    const sl_finding *thin = get(r, SL_DIAPHRAGM_THICKNESS), *thick = get(r, SL_DIAPHRAGM_THICKNESS_IN), *share = get(r, SL_DIAPHRAGM_THICKENING);
    assert_true(thin->known && fabs(thin->value - 2.0) < 0.3);
    assert_true(thick->known && fabs(thick->value - 2.7) < 0.3); /* the limit */
    assert_true(share->known && fabs(share->value - 35) < 6 && share->low < 35 && share->high > 35);
    d.thick = d.thin; /* paralysed, or no diaphragm: nothing is stated */
    assert_false(get(read_drawing(&d, &arena), SL_DIAPHRAGM_THICKENING)->known);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(breaths_are_listed), cmocka_unit_test(a_dome_is_followed), cmocka_unit_test(kept_borders_give_the_same_figures), cmocka_unit_test(nothing_is_claimed_without_ground),
        cmocka_unit_test(the_curtain_is_seen),
        cmocka_unit_test(a_turn_in_a_ribs_shadow_leaves_the_travel_open), cmocka_unit_test(muscle_thickens),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
