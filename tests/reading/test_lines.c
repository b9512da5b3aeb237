/* A-lines and B-lines on drawn stacks whose truth is known. */
#include "core/units.h"
#include "drawn.h"
#include "reading/segments.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

typedef struct read_stack {
    sl_arena arena;
    sl_reading *reading;
    sl_signs signs;
} read_stack;

/* Counts never contradict the answers: none where the answer is no, at least one or a reason where it is yes, and no
 * lower bound above none where it is uncertain. */
static void agree_with_themselves(const sl_reading *reading)
{
    static const sl_code pair[][2] = {{SL_A_LINES, SL_A_LINE_COUNT}, {SL_B_LINES, SL_B_LINE_COUNT}};
    for (int i = 0; i < 2; i++) {
        const sl_finding *answer = sl_reading_get(reading, pair[i][0]), *count = sl_reading_get(reading, pair[i][1]);
        assert_true(count->known || count->reason[0] || !answer->known);
        if (!count->known)
            continue;
        if (answer->answer == SL_ABSENT)
            assert_true(count->value == 0);
        if (answer->answer == SL_PRESENT)
            assert_true(count->value >= 1);
        if (answer->answer == SL_UNCERTAIN)
            assert_true(count->low == 0 && (count->value == 0 || count->reason[0]));
    }
}

static void read_drawn(const drawn *what, read_stack *out)
{
    *out = (read_stack){0};
    sl_stack stack;
    sl_segments *segments = sl_segments_new();
    assert_non_null(segments);
    draw_stack(what, &out->arena, &stack);
    assert_int_equal(sl_segments_read(segments, &stack, NULL), SL_OK);
    out->signs = sl_segments_signs(segments);
    out->reading = sl_segments_state(segments, "drawn", stack.view, &out->arena);
    assert_non_null(out->reading);
    agree_with_themselves(out->reading);
    sl_segments_free(&segments);
}

static const sl_finding *get(const read_stack *r, sl_code code)
{
    const sl_finding *finding = sl_reading_get(r->reading, code);
    assert_non_null(finding);
    return finding;
}

/* Physics-standards sheet A7: the k-th repeat lies at k times the face-to-pleura depth, so the spacing is the pleural
 * depth; the first cell's middle is half a row below the face. */
static void a_line_spacing_is_the_pleural_depth(void **state)
{
    (void)state;
    static const double pleura[] = {30, 38, 45};
    for (int i = 0; i < 3; i++) {
        read_stack r;
        read_drawn(&(drawn){.frames = 24, .pleura = pleura[i], .repeats = 3, .spacing = pleura[i] + 0.5, .gain = 1}, &r);
        assert_int_equal(get(&r, SL_A_LINES)->answer, SL_PRESENT);
        const sl_finding *spacing = get(&r, SL_A_LINE_SPACING);
        assert_true(spacing->known);
        assert_true(fabs(spacing->value - 1) <= 0.05); /* +-5 % of the spacing: clinical sheet, section 1 */
        assert_true(get(&r, SL_A_LINE_COUNT)->value >= 2);
        assert_int_equal(get(&r, SL_B_LINES)->answer, SL_ABSENT);
        for (int k = 0; k < get(&r, SL_A_LINES)->evidences; k++) {
            const sl_evidence *line = &get(&r, SL_A_LINES)->evidence[k];
            double rows = line->depth[0] * SL_DEPTHS - (pleura[i] + 0.5), times = rows / (pleura[i] + 0.5);
            assert_true(line->points > 64 && fabs(times - round(times)) < 0.1);
        }
        sl_arena_free(&r.arena);
    }
}

static void b_lines_are_counted(void **state)
{
    (void)state;
    static const double width[] = {3, 5, 8};
    for (int lines = 1; lines <= 6; lines++)
        for (int i = 0; i < 3; i++) {
            read_stack r;
            read_drawn(&(drawn){.frames = 32, .pleura = 40, .lines = lines, .line_width = width[i], .line_depth = 1,
                                .gain = 1},
                       &r);
            const sl_finding *found = get(&r, SL_B_LINES), *count = get(&r, SL_B_LINE_COUNT);
            if (found->answer != SL_PRESENT)
                fail_msg("%d lines of %g beams: not present, flicker %g", lines, width[i], r.signs.flicker);
            if (fabs(count->value - lines) > 1)
                fail_msg("%d lines of %g beams: counted %g", lines, width[i], count->value);
            double coverage = lines * width[i] / SL_BEAMS;
            if (fabs(get(&r, SL_B_LINE_COVERAGE)->value - coverage) > 0.05 + 0.4 * coverage)
                fail_msg("%d lines of %g beams: covers %g of %g", lines, width[i],
                         get(&r, SL_B_LINE_COVERAGE)->value, coverage);
            for (int k = 0; k < found->evidences; k++)
                assert_true(found->evidence[k].last_depth >= 0.9 && found->evidence[k].first_depth < 0.25);
            sl_arena_free(&r.arena);
        }
}

/* A vertical artifact that fades half-way is no B-line (clinical sheet, section 1: Z-line). */
static void short_lines_are_not_counted(void **state)
{
    (void)state;
    read_stack r;
    read_drawn(&(drawn){.frames = 32, .pleura = 40, .lines = 3, .line_width = 5, .line_depth = 0.5, .gain = 1}, &r);
    assert_true(get(&r, SL_B_LINE_COUNT)->value <= 1);
    assert_true(get(&r, SL_B_LINE_COVERAGE)->value < 0.02);
    sl_arena_free(&r.arena);
}

/* More of a sign never lowers its index. */
static void indices_rise(void **state)
{
    (void)state;
    read_stack none, some, lines;
    read_drawn(&(drawn){.frames = 24, .pleura = 40, .gain = 1}, &none);
    read_drawn(&(drawn){.frames = 24, .pleura = 40, .repeats = 3, .spacing = 40.5, .gain = 1}, &some);
    read_drawn(&(drawn){.frames = 24, .pleura = 40, .lines = 3, .line_width = 5, .line_depth = 1, .gain = 1}, &lines);
    assert_true(some.signs.coherence > none.signs.coherence + 0.2);
    assert_true(get(&some, SL_A_LINES)->value > get(&none, SL_A_LINES)->value);
    assert_true(lines.signs.flicker > none.signs.flicker + 0.2);
    assert_true(get(&lines, SL_B_LINES)->value > get(&none, SL_B_LINES)->value);
    sl_arena_free(&none.arena);
    sl_arena_free(&some.arena);
    sl_arena_free(&lines.arena);
}

/* Nothing, black, one frame, two frames: an answer with a reason or none, never a crash. */
static void little_to_see(void **state)
{
    (void)state;
    for (int frames = 0; frames <= 2; frames++)
        for (int black = 0; black <= 1; black++) {
            read_stack r;
            read_drawn(&(drawn){.frames = frames, .pleura = 40, .lines = 2, .line_width = 5, .line_depth = 1,
                                .gain = black ? 0 : 1},
                       &r);
            const sl_finding *found = get(&r, SL_B_LINES);
            if (frames < 2 || black)
                assert_int_not_equal(found->answer, SL_PRESENT);
            if (found->answer == SL_UNCERTAIN)
                assert_true(found->reason[0] != 0);
            for (int i = 0; i < r.reading->findings; i++) {
                const sl_finding *f = &r.reading->finding[i];
                const sl_finding_info *info = sl_finding_info_of(f->code);
                assert_true(!sl_known(f->value) || (f->value >= info->low && f->value <= info->high));
                assert_true(f->known || f->reason[0] || !sl_known(f->value));
            }
            sl_arena_free(&r.arena);
        }
}

/* The same stack in one segment and in two gives one reading with the same count and nearly the same index. */
static void segments_pool(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_stack whole, part;
    const drawn what = {.frames = 48, .pleura = 40, .lines = 3, .line_width = 5, .line_depth = 1, .gain = 1};
    draw_stack(&what, &arena, &whole);
    sl_segments *one = sl_segments_new(), *two = sl_segments_new();
    assert_int_equal(sl_segments_read(one, &whole, NULL), SL_OK);
    for (int half = 0; half < 2; half++) {
        part = whole;
        part.frames = 24;
        part.cell += (size_t)half * 24 * SL_CELLS;
        part.time_s += half * 24;
        part.source += half * 24;
        part.level += half * 24;
        part.change += half * 24;
        assert_int_equal(sl_segments_read(two, &part, NULL), SL_OK);
    }
    sl_reading *a = sl_segments_state(one, "", whole.view, &arena), *b = sl_segments_state(two, "", whole.view, &arena);
    assert_true(fabs(sl_reading_get(a, SL_B_LINE_COUNT)->value - sl_reading_get(b, SL_B_LINE_COUNT)->value) <= 1);
    assert_true(fabs(sl_reading_get(a, SL_B_LINES)->value - sl_reading_get(b, SL_B_LINES)->value) < 0.1);
    assert_int_equal(sl_segments_nearest_frame(two, 47), 47);
    assert_true(fabs(sl_segments_duration(two) - 47 * 0.04) < 1e-9);
    sl_segments_free(&one);
    sl_segments_free(&two);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_spacing_is_the_pleural_depth), cmocka_unit_test(b_lines_are_counted),
        cmocka_unit_test(short_lines_are_not_counted), cmocka_unit_test(indices_rise),
        cmocka_unit_test(little_to_see), cmocka_unit_test(segments_pool),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
