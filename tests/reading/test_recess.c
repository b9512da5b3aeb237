/* Fluid beside an organ on straightened stacks drawn here: a wall, fluid below it on the one side and tissue from the wall to a dome on the
 * other, with dark, a mirror's grey or no dome beyond. The truth is what was drawn. */
#include "core/arena.h"
#include "moving.h"
#include "reading/recess.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 30, WALL = 50, EDGE = 60, SURFACE = 110 };

typedef enum scene { BESIDE, TURNED_ROUND, MIRROR, FLUID_ALONE, ORGAN_ALONE } scene;

static double dome_row(double beams)
{
    double left = 1 - fmin(beams / 70, 1);
    return WALL + 120 * sqrt(1 - left * left);
}

static void draw(scene what, sl_arena *arena, sl_stack *stack, sl_pleura *pleura)
{
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    memset(stack, 0, sizeof *stack);
    *stack = (sl_stack){.frames = FRAMES, .most = FRAMES, .cell = SL_NEW(arena, (size_t)FRAMES * SL_CELLS, uint8_t), .time_s = SL_NEW(arena, FRAMES, double),
                        .source = SL_NEW(arena, FRAMES, int), .mask = mask, .times_known = true, .frame_s = 0.05};
    memset(pleura, 0, sizeof *pleura);
    float *mean = SL_NEW(arena, SL_CELLS, float);
    speckle *grain = new_speckle(arena, SL_DEPTHS, 2.5, 5);
    uint32_t noise = 1;
    for (int t = 0; t < FRAMES; t++) {
        double edge = EDGE + 6 * sin(0.2 * t);
        stack->time_s[t] = 0.05 * t;
        stack->source[t] = t;
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                noise = noise * 1664525u + 1013904223u;
                double fresh = 0.9 + 0.2 * (noise >> 8) / 16777216.0, from = (what == TURNED_ROUND ? SL_BEAMS - 1 - j : j) - edge;
                double tissue = 100 * (0.5 + 0.6 * fabs(speckle_at(grain, i / 4, j))) * fresh, v = 4 * fresh;
                bool organ = what == ORGAN_ALONE || (what != FLUID_ALONE && from > 0);
                if (i < WALL)
                    v = tissue;
                else if (organ && (what == ORGAN_ALONE || i < dome_row(from)))
                    v = tissue;
                else if (organ && what == MIRROR)
                    v = 0.7 * tissue;
                else if (!organ && i >= SURFACE)
                    v = tissue;
                stack->cell[(size_t)t * SL_CELLS + (size_t)(i * SL_BEAMS + j)] = (uint8_t)fmin(v, 255);
                mean[i * SL_BEAMS + j] += (float)(fmin(v, 255) / FRAMES);
            }
    }
    pleura->mean = mean;
}

static void fluid_beside_an_organ_is_told(void **state)
{
    (void)state;
    for (int what = BESIDE; what <= ORGAN_ALONE; what++) {
        sl_arena arena = {0};
        sl_stack stack;
        sl_pleura pleura;
        sl_recess recess;
        sl_error error = {0};
        draw((scene)what, &arena, &stack, &pleura);
        assert_int_equal(sl_recess_measure(&stack, &pleura, &arena, &recess, &error), SL_OK);
        assert_int_equal(recess.seen, what <= TURNED_ROUND);
        if (recess.seen) { /* drawn at 60 of 128 beams and 6 either side, from its own side */
            assert_int_equal(recess.right, what == BESIDE);
            assert_true(recess.steady && fabs((recess.right ? recess.edge_beam : 1 - recess.edge_beam) - 60.0 / 128) < 0.08);
        }
        sl_arena_free(&arena);
    }
}

static const sl_finding *of(const sl_reading *reading, sl_code code)
{
    return sl_reading_get(reading, code);
}

/* Solid lung told on the organ's side is in doubt, on the fluid's side it stands; a dark layer becomes fluid; a heart says it all. */
static void what_is_stated(void **state)
{
    (void)state;
    for (int what = 0; what < 4; what++) { /* solid lung on the organ's side, on the fluid's side, a heart, not seen */
        sl_arena arena = {0};
        sl_recess recess = {.frames = 30, .moments = 12, .share = 0.8, .seen = what != 3, .steady = true, .right = true, .edge_beam = 0.5, .first_beam = 0.5,
                            .last_beam = 0.9, .first_depth = 0.2, .last_depth = 0.6};
        sl_evidence where = {.first_beam = what == 1 ? 0.1 : 0.6, .last_beam = what == 1 ? 0.4 : 0.9};
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "made");
        static const sl_code codes[] = {SL_ORGAN, SL_CONSOLIDATION, SL_EFFUSION, SL_MIRROR_IMAGE};
        static const sl_answer answers[] = {SL_UNCERTAIN, SL_PRESENT, SL_UNCERTAIN, SL_UNCERTAIN};
        for (int k = 0; k < 4; k++)
            *sl_reading_put(reading, codes[k]) = (sl_finding){.code = codes[k], .known = true, .answer = answers[k], .value = 0.44, .reason = ""};
        sl_finding *solid = sl_reading_put(reading, SL_CONSOLIDATION);
        *solid = (sl_finding){.code = SL_CONSOLIDATION, .known = true, .answer = SL_PRESENT, .value = 0.9, .reason = "", .evidence = &where, .evidences = 1};
        if (what == 2)
            sl_reading_put(reading, SL_HEART_RATE)->known = true;
        sl_recess_state(&recess, &arena, reading);
        bool said = what < 2;
        assert_int_equal(of(reading, SL_ORGAN)->answer, said ? SL_PRESENT : SL_UNCERTAIN);
        assert_int_equal(of(reading, SL_EFFUSION)->answer, said ? SL_PRESENT : SL_UNCERTAIN);
        assert_int_equal(of(reading, SL_MIRROR_IMAGE)->answer, said ? SL_ABSENT : SL_UNCERTAIN);
        assert_int_equal(of(reading, SL_CONSOLIDATION)->answer, what == 0 ? SL_UNCERTAIN : SL_PRESENT);
        assert_true(!said || of(reading, SL_EFFUSION)->value > 0.5);
        sl_arena_free(&arena);
    }
}

/* No frame, one frame, black frames: nothing is seen and nothing fails. */
static void nothing_is_made_of_nothing(void **state)
{
    (void)state;
    for (int what = 0; what < 3; what++) {
        sl_arena arena = {0};
        sl_stack stack;
        sl_pleura pleura;
        sl_recess recess;
        sl_error error = {0};
        draw(BESIDE, &arena, &stack, &pleura);
        stack.frames = what == 0 ? 0 : what == 1 ? 1 : FRAMES;
        if (what == 2) {
            float *black = SL_NEW(&arena, SL_CELLS, float);
            memset(stack.cell, 0, (size_t)FRAMES * SL_CELLS);
            pleura.mean = black;
        }
        assert_int_equal(sl_recess_measure(&stack, &pleura, &arena, &recess, &error), SL_OK);
        assert_false(recess.seen);
        sl_arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fluid_beside_an_organ_is_told),
        cmocka_unit_test(what_is_stated),
        cmocka_unit_test(nothing_is_made_of_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
