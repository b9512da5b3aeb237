/* What lies beyond a diaphragm on straightened stacks drawn here: the same speckle turned over, other speckle, dark with or without a
 * deep line. The truth is what was drawn. */
#include "core/arena.h"
#include "moving.h"
#include "reading/behind.h"
#include "reading/spine_table.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 12, LINE = 36, DOME = 140, SPINE_ROW = 215 };

typedef enum beyond { TURNED, OTHER, DARK, DARK_AND_SPINE, SPINE_ALONE } beyond;

static double tissue_seen = NAN; /* what the organ's part says of this picture */

static double dome_row(int j)
{
    return DOME - 0.006 * (j - 80) * (j - 80);
}

static double grey(const speckle *s, int row, int beam)
{
    return 0.5 + 0.6 * fabs(speckle_at(s, row / 4, beam));
}

enum { NEAR_FIELD = 18 }; /* rows */

/* A picture 150 mm deep (or of unknown scale): wall, a line, tissue to a dome, and what lies beyond it. */
static void draw(beyond what, bool scale, int frames, sl_arena *arena, sl_stack *stack, sl_view *view)
{
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    *view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 400, .height = 512, .first_x = 0, .last_x = 399, .near_y = 0, .far_y = 511,
                      .aspect = 1, .mm_per_px = scale ? 150.0 / 511 : NAN};
    memset(stack, 0, sizeof *stack);
    *stack = (sl_stack){.frames = frames, .most = frames, .cell = SL_NEW(arena, (size_t)frames * SL_CELLS, uint8_t),
                        .time_s = SL_NEW(arena, frames, double), .source = SL_NEW(arena, frames, int), .level = SL_NEW(arena, frames, double),
                        .change = SL_NEW(arena, frames, double), .mask = mask, .view = view,
                        .times_known = true, .frame_s = 0.04};
    speckle *grain = new_speckle(arena, SL_DEPTHS, 2.5, 5), *other = new_speckle(arena, SL_DEPTHS, 2.5, 17);
    uint32_t noise = 1;
    for (int t = 0; t < frames; t++) {
        stack->time_s[t] = t * 0.04;
        stack->source[t] = t;
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                noise = noise * 1664525u + 1013904223u;
                double fresh = 0.9 + 0.2 * (noise >> 8) / 16777216.0, dome = dome_row(j), v = 4 * fresh;
                int turned = (int)(2 * dome - i + 0.5);
                if (i < NEAR_FIELD) /* the transducer's own bands and the skin: layers, even across the beams */
                    v = 80 + 40 * sin(0.9 * i);
                else if (i < LINE - 2)
                    v = 90 * grey(grain, i, j);
                else if (i <= LINE + 1)
                    v = 200;
                else if (what != SPINE_ALONE && fabs(i - dome) <= 1.5)
                    v = 220;
                else if (what != SPINE_ALONE && i < dome)
                    v = 100 * grey(grain, i, j) * fresh;
                else if (what == TURNED)
                    v = turned > LINE ? 60 * grey(grain, turned, j) * fresh : 4;
                else if (what == OTHER)
                    v = 60 * grey(other, i, j) * fresh;
                else if ((what == DARK_AND_SPINE || what == SPINE_ALONE) && i >= SPINE_ROW && i < SPINE_ROW + 5 && j % 28 > 4)
                    v = 180;
                stack->cell[(size_t)t * SL_CELLS + (size_t)(i * SL_BEAMS + j)] = (uint8_t)fmin(v, 255);
            }
    }
}

static const sl_finding *found(beyond what, bool scale, int frames, sl_code code, sl_arena *arena, sl_behind *behind)
{
    sl_stack stack;
    sl_view view;
    sl_pleura pleura;
    draw(what, scale, frames, arena, &stack, &view);
    assert_int_equal(sl_pleura_find(&stack, arena, &pleura, NULL), SL_OK);
    assert_int_equal(sl_behind_measure(&stack, &pleura, tissue_seen, arena, behind, NULL), SL_OK);
    sl_reading *r = sl_reading_new(arena, SL_BY_PROGRAM, "test", "clip");
    sl_finding *fluid = sl_reading_put(r, SL_EFFUSION);
    fluid->known = true;
    fluid->answer = what == DARK || what == DARK_AND_SPINE ? SL_PRESENT : SL_ABSENT;
    fluid->reason = "";
    sl_reading_put(r, SL_ORGAN)->reason = "nothing moves";
    sl_finding *solid = sl_reading_put(r, SL_CONSOLIDATION);
    solid->known = true;
    solid->answer = SL_PRESENT;
    sl_behind_state(behind, arena, r);
    return sl_reading_get(r, code);
}

static void turned_speckle_is_an_image(void **state)
{
    (void)state;
    for (int frames = 1; frames <= FRAMES; frames += FRAMES - 1) {
        sl_arena arena = {0};
        sl_behind b;
        const sl_finding *f = found(TURNED, true, frames, SL_MIRROR_IMAGE, &arena, &b);
        assert_true(f->known);
        assert_int_equal(f->answer, SL_PRESENT);
        assert_true(f->evidences == 2 && f->evidence[0].points > 4);
        for (int i = 0; i < f->evidence[0].points; i++) { /* the line lies where it was drawn, to two rows */
            int beam = (int)(f->evidence[0].beam[i] * SL_BEAMS);
            assert_true(fabs(f->evidence[0].depth[i] * SL_DEPTHS - dome_row(beam)) < 3);
        }
        assert_int_equal(found(TURNED, true, frames, SL_SPINE, &arena, &b)->answer, SL_ABSENT);
        f = found(TURNED, true, frames, SL_ORGAN, &arena, &b); /* an organ, though nothing moves; then lung without air is in doubt */
        assert_int_equal(f->answer, SL_PRESENT);
        assert_true(f->value > 0.7 && f->evidences == 1);
        assert_int_equal(found(TURNED, true, frames, SL_CONSOLIDATION, &arena, &b)->answer, SL_UNCERTAIN);
        assert_int_equal(found(OTHER, true, frames, SL_CONSOLIDATION, &arena, &b)->answer, SL_PRESENT);
        sl_arena_free(&arena);
    }
}

static void other_speckle_is_none(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_behind image, other;
    found(TURNED, true, FRAMES, SL_MIRROR_IMAGE, &arena, &image);
    const sl_finding *f = found(OTHER, true, FRAMES, SL_MIRROR_IMAGE, &arena, &other);
    assert_true(!f->known || f->answer == SL_UNCERTAIN);
    assert_true(other.mirror < 0.3 * image.mirror);
    sl_arena_free(&arena);
}

/* Even tissue with a sagging line behind it is an organ where the organ's part saw tissue, not elsewhere, and not beyond an edge to fluid. */
static void sagging_line_is_an_organ(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_behind b;
    assert_int_equal(found(OTHER, true, FRAMES, SL_ORGAN, &arena, &b)->known, false);
    tissue_seen = 0.9;
    const sl_finding *f = found(OTHER, true, FRAMES, SL_ORGAN, &arena, &b);
    assert_int_equal(f->answer, SL_PRESENT);
    assert_non_null(strstr(f->reason, "sags"));
    assert_true(f->evidences == 1 && f->evidence[0].last_depth * SL_DEPTHS < DOME + 4);
    assert_int_equal(found(DARK, true, FRAMES, SL_ORGAN, &arena, &b)->known, false);
    assert_true(b.arc < 0.3);
    tissue_seen = NAN;
    sl_arena_free(&arena);
}

static void spine_beyond_fluid(void **state)
{
    (void)state;
    for (int scale = 0; scale < 2; scale++) {
        sl_arena arena = {0};
        sl_behind b;
        const sl_finding *f = found(DARK_AND_SPINE, scale, FRAMES, SL_SPINE, &arena, &b);
        assert_int_equal(f->answer, SL_PRESENT);
        assert_int_equal(f->evidences, 2);
        const sl_evidence *line = &f->evidence[1];
        for (int i = 0; i < line->points; i++)
            assert_true(fabs(line->depth[i] * SL_DEPTHS - (SPINE_ROW + 2.5)) < 3);
        assert_int_equal(found(DARK_AND_SPINE, scale, FRAMES, SL_MIRROR_IMAGE, &arena, &b)->answer, SL_ABSENT);
        assert_non_null(strstr(found(DARK_AND_SPINE, scale, FRAMES, SL_EFFUSION, &arena, &b)->reason, "supports fluid"));
        sl_arena_free(&arena);
    }
}

static void dark_is_no_image_and_no_spine(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_behind b;
    assert_int_equal(found(DARK, true, FRAMES, SL_MIRROR_IMAGE, &arena, &b)->answer, SL_ABSENT);
    const sl_finding *f = found(DARK, true, FRAMES, SL_SPINE, &arena, &b);
    assert_true(!f->known || f->answer != SL_PRESENT);
    assert_string_equal(found(DARK, true, FRAMES, SL_EFFUSION, &arena, &b)->reason, "");
    sl_arena_free(&arena);
}

/* A deep line with no diaphragm before it is never called a spine above the diaphragm. */
static void line_alone_stays_open(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_behind b;
    const sl_finding *f = found(SPINE_ALONE, true, FRAMES, SL_SPINE, &arena, &b);
    assert_int_equal(f->answer, SL_UNCERTAIN);
    assert_string_equal(f->reason, "a deep bright line like a spine is seen, but no diaphragm before it");
    assert_false(found(SPINE_ALONE, true, FRAMES, SL_MIRROR_IMAGE, &arena, &b)->known);
    sl_arena_free(&arena);
}

static void black_shows_neither(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_stack stack;
    sl_view view;
    sl_pleura pleura;
    sl_behind b;
    draw(DARK, true, 2, &arena, &stack, &view);
    memset(stack.cell, 0, 2 * SL_CELLS);
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    assert_int_equal(sl_behind_measure(&stack, &pleura, NAN, &arena, &b, NULL), SL_OK);
    assert_true(!b.line && b.spine < 0.3 && b.mirror < 0.3);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(turned_speckle_is_an_image), cmocka_unit_test(other_speckle_is_none), cmocka_unit_test(sagging_line_is_an_organ),
                                       cmocka_unit_test(spine_beyond_fluid), cmocka_unit_test(dark_is_no_image_and_no_spine),
                                       cmocka_unit_test(line_alone_stays_open), cmocka_unit_test(black_shows_neither)};
    return cmocka_run_group_tests_name("beyond the diaphragm", tests, NULL, NULL);
}
