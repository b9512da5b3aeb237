/* Organs and the heart on straightened stacks drawn here: speckle that lasts and is patchy both ways against rows, columns and noise;
 * a patch that beats against one that breathes. The truth is what was drawn. */
#include "core/arena.h"
#include "moving.h"
#include "reading/organ.h"
#include "reading/pleura.h"
#include "reading/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 90, LINE = 40 };
static const double FRAME_S = 0.04;

typedef enum below { BELOW_AIR, BELOW_TISSUE, BELOW_LITTLE } below;

/* Wall to row 40, a line, then air's artifacts or tissue; a patch grows and shrinks `beats_hz` times a second over it. */
static void draw(below what, double beats_hz, int frames, sl_arena *arena, sl_stack *stack)
{
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    memset(stack, 0, sizeof *stack);
    stack->frames = stack->most = frames;
    stack->cell = SL_NEW(arena, (size_t)frames * SL_CELLS, uint8_t);
    stack->time_s = SL_NEW(arena, frames, double);
    stack->source = SL_NEW(arena, frames, int);
    stack->level = SL_NEW(arena, frames, double);
    stack->change = SL_NEW(arena, frames, double);
    stack->mask = mask;
    stack->times_known = true;
    stack->frame_s = FRAME_S;
    speckle *grain = new_speckle(arena, SL_DEPTHS, 3, 5);
    uint32_t noise = 1;
    for (int t = 0; t < frames; t++) {
        stack->time_s[t] = t * FRAME_S;
        stack->source[t] = t;
        double beat = sin(2 * 3.14159265 * beats_hz * t * FRAME_S);
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                noise = noise * 1664525u + 1013904223u;
                double fresh = 0.7 + 0.6 * (noise >> 8) / 16777216.0, lasts = speckle_at(grain, i / 3 * 3, j);
                bool tissue = what == BELOW_TISSUE || (what == BELOW_LITTLE && j < 40 && i < 150);
                double v = i < LINE - 2 ? 90 * lasts : i <= LINE + 1 ? 230 : tissue ? 70 * lasts : 60 * exp(-(i - LINE) / 90.0) * fresh;
                if (beats_hz > 0 && hypot(i - 150, 2 * (j - 64)) < 50 + 30 * beat)
                    v = 8;
                stack->cell[(size_t)t * SL_CELLS + (size_t)(i * SL_BEAMS + j)] = (uint8_t)fmin(v, 255);
            }
    }
}

static void measure(below what, double beats_hz, int frames, sl_organ *organ)
{
    sl_arena arena = {0};
    sl_stack stack;
    sl_pleura pleura;
    draw(what, beats_hz, frames, &arena, &stack);
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    assert_int_equal(sl_organ_measure(&stack, &pleura, &arena, organ, NULL), SL_OK);
    sl_arena_free(&arena);
}

static void tissue_of_great_extent(void **state)
{
    (void)state;
    sl_organ air, tissue, little;
    measure(BELOW_AIR, 0, FRAMES, &air);
    measure(BELOW_TISSUE, 0, FRAMES, &tissue);
    measure(BELOW_LITTLE, 0, FRAMES, &little);
    assert_true(air.tissue < 0.2);
    assert_true(tissue.tissue > 0.9);
    assert_true(little.tissue < tissue.tissue);
    assert_true(tissue.last_beam - tissue.first_beam > 0.8 && tissue.last_depth > 0.7);
}

static void beats_and_breaths(void **state)
{
    (void)state;
    static const double beating[] = {55, 72, 110, 140}, not_beating[] = {15, 24};
    sl_organ organ;
    for (int i = 0; i < 4; i++) {
        measure(BELOW_AIR, beating[i] / 60, FRAMES, &organ);
        assert_true(organ.heart.judged);
        if (!(organ.heart.undone > 0.5) || !(fabs(60 / organ.heart.period_s - beating[i]) < 0.06 * beating[i]))
            fail_msg("%.0f a minute: %.2f at %.0f", beating[i], organ.heart.undone, 60 / organ.heart.period_s);
        assert_true(organ.heart.first_beam < 0.5 && organ.heart.last_beam > 0.5);
    }
    for (int i = 0; i < 2; i++) {
        measure(BELOW_AIR, not_beating[i] / 60, FRAMES, &organ);
        assert_true(organ.heart.judged && organ.heart.undone < 0.15);
    }
    measure(BELOW_AIR, 1.2, 30, &organ);
    assert_false(organ.heart.judged);
    assert_true(organ.heart.reason[0] != 0);
    measure(BELOW_TISSUE, 0, 1, &organ); /* a still */
    assert_false(organ.frames > 0);
}

static const sl_finding *stated(const sl_organ *organ, double dome, double edge, sl_code asked, sl_arena *arena)
{
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "test", "clip");
    static const sl_code others[] = {SL_CONSOLIDATION, SL_EFFUSION};
    for (int i = 0; i < 2; i++) {
        sl_finding *f = sl_reading_put(reading, others[i]);
        f->known = true;
        f->answer = SL_PRESENT;
        f->value = 0.9;
    }
    sl_dome d = {.frames = 90, .index = dome};
    sl_curtain c = {.frames = 90, .index = edge};
    sl_organ_state(organ, &d, &c, arena, reading);
    return sl_reading_get(reading, asked);
}

/* Tissue alone is in doubt, with a diaphragm or a travelling edge it is an organ, and then lung without air is in doubt. */
static void what_is_stated(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_organ o = {.frames = 90, .tissue = 0.95, .last_beam = 1, .last_depth = 1, .heart = {.judged = true, .reason = "", .period_s = NAN}};
    const sl_finding *f = stated(&o, 0, 0, SL_ORGAN, &arena);
    assert_int_equal(f->answer, SL_UNCERTAIN);
    assert_non_null(strstr(f->reason, "lung without air"));
    assert_int_equal(stated(&o, 0, 0, SL_CONSOLIDATION, &arena)->answer, SL_PRESENT);
    assert_int_equal(stated(&o, 0.95, 0, SL_ORGAN, &arena)->answer, SL_PRESENT);
    f = stated(&o, 0, 0.9, SL_CONSOLIDATION, &arena);
    assert_int_equal(f->answer, SL_UNCERTAIN);
    assert_non_null(strstr(f->reason, "organ"));
    assert_int_equal(stated(&o, 0, 0.9, SL_EFFUSION, &arena)->answer, SL_PRESENT); /* fluid lies beside organs */
    double before = 0;
    for (double moves = 0; moves <= 1; moves += 0.1) { /* monotone */
        double index = stated(&o, moves, 0, SL_ORGAN, &arena)->value;
        assert_true(index >= before);
        before = index;
    }
    assert_int_equal(stated(&o, 0.6, 0, SL_CONSOLIDATION, &arena)->answer, SL_UNCERTAIN); /* moves as an organ does, not surely one */
    o.tissue = 0.1;
    assert_int_equal(stated(&o, 0, 0, SL_ORGAN, &arena)->answer, SL_ABSENT);
    assert_int_equal(stated(&o, 0, 0.6, SL_CONSOLIDATION, &arena)->answer, SL_PRESENT); /* the edge of solid lung travels, too */
    assert_int_equal(stated(&o, 0, 0.9, SL_ORGAN, &arena)->answer, SL_UNCERTAIN);
    o.heart = (sl_heart){.judged = true, .reason = "", .undone = 0.7, .change = 0.2, .period_s = 0.8, .last_beam = 1, .last_depth = 1};
    assert_int_equal(stated(&o, 0, 0, SL_ORGAN, &arena)->answer, SL_PRESENT);
    f = stated(&o, 0, 0, SL_HEART_RATE, &arena);
    assert_true(f->known && fabs(f->value - 75) < 1e-9 && f->low < 75 && f->high > 75);
    assert_int_equal(stated(&o, 0, 0, SL_EFFUSION, &arena)->answer, SL_UNCERTAIN);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(tissue_of_great_extent), cmocka_unit_test(beats_and_breaths),
                                       cmocka_unit_test(what_is_stated)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
