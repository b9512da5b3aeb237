/* Where the strips lie that movement is followed in, on a drawn line whose other layer was taken for it beside the space. That a rib's cap lies some
 * 5 mm nearer than the line and shadows it: Lichtenstein, Chest 2014;147:1659. */
#include "reading/strips.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 4, LINE = 60, OTHER = 40, LAST = 69 };

/* A wall of grey 60 down to a slanting line of grey 180, dark below; the line ends after `lit` beams. The space ends at LAST; beyond it
 * another layer was found. */
static void draw(int lit, sl_arena *arena, sl_stack *stack, sl_pleura *pleura)
{
    uint8_t *cell = SL_NEW(arena, FRAMES * SL_DEPTHS * SL_BEAMS, uint8_t), *mask = SL_NEW(arena, SL_DEPTHS * SL_BEAMS, uint8_t);
    float *mean = SL_NEW(arena, SL_DEPTHS * SL_BEAMS, float);
    assert_true(cell && mask && mean);
    memset(mask, 1, SL_DEPTHS * SL_BEAMS);
    for (int i = 0; i < SL_DEPTHS; i++)
        for (int j = 0; j < SL_BEAMS; j++) {
            int line = LINE + j / 8;
            mean[i * SL_BEAMS + j] = i < line - 2 ? 60 : i > line + 2 ? 5 : j < lit ? 180 : 5;
            for (int t = 0; t < FRAMES; t++)
                cell[(t * SL_DEPTHS + i) * SL_BEAMS + j] = (uint8_t)mean[i * SL_BEAMS + j];
        }
    *pleura = (sl_pleura){.mean = mean};
    *stack = (sl_stack){.frames = FRAMES, .cell = cell, .mask = mask};
    for (int j = 0; j < SL_BEAMS; j++) {
        pleura->line[j] = j <= LAST ? (float)LINE + (float)j / 8 : OTHER;
        pleura->beams.kind[j] = j <= LAST ? SL_BEAM_SPACE : SL_BEAM_RIB;
    }
    pleura->beams.spaces = 1;
    pleura->beams.space[0] = (sl_beam_range){0, LAST};
}

static int last_lit(int lit, float *off)
{
    sl_arena arena = {0};
    sl_stack stack;
    sl_pleura pleura;
    sl_strips strips;
    draw(lit, &arena, &stack, &pleura);
    assert_int_equal(sl_strips_cut(&stack, &pleura, &arena, &strips, NULL), SL_OK);
    int last = -1;
    *off = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (strips.lit[j] > 0) {
            float by = strips.line[j] - (float)LINE - (float)j / 8;
            last = j;
            *off = by > *off ? by : -by > *off ? -by : *off;
            assert_true(!(strips.use[j] > 0) == (j > LAST));
        }
    sl_arena_free(&arena);
    return last;
}

static void straight_on_where_it_is_lit(void **state)
{
    (void)state;
    float off;
    assert_int_equal(last_lit(SL_BEAMS, &off), LAST + STRIP_ON_BEAMS);
    assert_true(off < 0.1f);
}

/* In a shadow the line is dark: a rib's border is not passed by more than what its brightness is taken over. */
static void not_into_a_shadow(void **state)
{
    (void)state;
    float off;
    int last = last_lit(LAST + 5, &off);
    assert_in_range(last, LAST + 2, LAST + 4 + STRIP_LIT_BEAMS);
    assert_true(off < 0.1f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(straight_on_where_it_is_lit), cmocka_unit_test(not_into_a_shadow)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
