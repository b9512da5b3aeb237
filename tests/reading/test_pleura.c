/* The pleural line on straightened pictures whose line is known: a wall with layers and speckle, ribs with
 * caps and clean shadows, below the line nothing, copies of the wall (A-lines) or verticals. The pictures are
 * drawn here, by rules that know nothing of the reader; the simulator (tests/loop) and real clips
 * (test_pleura_clips) judge further. */
#include "reading/pleura.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

enum { MOST = 24 };

typedef struct drawing {
    int frames;
    float middle, bow,
        tilt; /* row of the line at the middle beam; how far the outer beams lie deeper; slope */
    bool ribs, a_lines, verticals, fascia;
    float noise, gain;
    float breath; /* rows, to and fro over the frames */
} drawing;

static uint8_t cells[MOST * SL_CELLS], mask[SL_CELLS];
static uint32_t seed;

static float chance(void)
{
    seed = seed * 1664525u + 1013904223u;
    return (float)(seed >> 8) / 16777216.0f;
}

/* about normal, sd 1 */
static float bell(void)
{
    return (chance() + chance() + chance() + chance() - 2.0f) * 1.732f;
}

static float line_at(const drawing *d, int beam, int frame)
{
    float u = ((float)beam - 63.5f) / 64.0f;
    float move = d->frames > 1 ? d->breath * sinf(6.2832f * (float)frame / (float)d->frames) : 0;
    return d->middle + d->bow * u * u + d->tilt * u + move;
}

static bool in_rib(const drawing *d, int beam)
{
    return d->ribs && ((beam >= 14 && beam < 36) || (beam >= 92 && beam < 114));
}

static float bump(float x, float width)
{
    return expf(-0.5f * x * x / (width * width));
}

enum { NEAR_FIELD = 18 }; /* rows */

static void draw(const drawing *d)
{
    static float speckle[SL_CELLS], streak[SL_BEAMS];
    seed = 7;
    for (int k = 0; k < SL_CELLS; k++)
        speckle[k] = bell();
    for (int j = 0; j < SL_BEAMS; j++)
        streak[j] = bump((float)j - 50.0f, 3.0f) + 0.8f * bump((float)j - 75.0f, 2.5f);
    for (int k = 0; k < SL_CELLS; k++)
        mask[k] = 1;
    for (int f = 0; f < d->frames; f++)
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                float line = line_at(d, j, f), off = (float)i - line, grey;
                float wall =
                    70.0f +
                    25.0f * sinf(0.9f * (float)i) * (speckle[(i / 7) * SL_BEAMS + j / 16] > 0 ? 1.0f : 0.3f) +
                    14.0f * speckle[i * SL_BEAMS + j];
                if (i < NEAR_FIELD) /* the transducer's own bands and the skin: layers, even across the beams */
                    wall = 85.0f + 40.0f * sinf(0.9f * (float)i) + 5.0f * speckle[i * SL_BEAMS + j];
                if (d->fascia)
                    wall += 120.0f * bump((float)i - 0.55f * line, 1.2f);
                if (in_rib(d, j)) {
                    float cap = line - 9.0f;
                    grey = (float)i < cap ? wall : 8.0f;
                    grey += 170.0f * bump((float)i - cap, 1.5f);
                } else if (off < 0) {
                    grey = wall;
                } else {
                    grey = 34.0f * expf(-off / 60.0f);
                    if (d->a_lines)
                        grey += 90.0f * bump((float)i - 2.0f * line, 1.6f) +
                                50.0f * bump((float)i - 3.0f * line, 1.8f);
                    if (d->verticals)
                        grey += 110.0f * streak[j] * (0.7f + 0.3f * sinf(0.8f * (float)f + (float)(j / 30)));
                }
                if (!in_rib(d, j))
                    grey += 130.0f * bump(off, 1.4f);
                grey = d->gain * grey + d->noise * bell();
                cells[f * SL_CELLS + i * SL_BEAMS + j] = (uint8_t)(grey < 0 ? 0 : grey > 255 ? 255 : grey);
            }
}

static sl_stack stack_of(int frames)
{
    sl_stack stack = {.frames = frames, .cell = cells, .mask = mask, .times_known = true, .frame_s = 0.04};
    return stack;
}

/* Every beam between the ribs within `rows` of the truth in the middle frame, and the depth too. */
static void check(const drawing *d, float rows)
{
    draw(d);
    sl_stack stack = stack_of(d->frames);
    sl_arena arena = {0};
    sl_pleura pleura;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    assert_true(pleura.seen);
    assert_true(pleura.found > 0.5 && pleura.found <= 1);
    float truth[SL_BEAMS];
    int n = 0, right = 0;
    for (int j = 0; j < SL_BEAMS; j++) {
        if (in_rib(d, j) || in_rib(d, j + 2 < SL_BEAMS ? j + 2 : j) || in_rib(d, j > 1 ? j - 2 : j))
            continue;
        truth[n++] = line_at(d, j, d->frames / 2);
        right += fabs(sl_pleura_row_at(&pleura, d->frames / 2, j) - truth[n - 1]) <= rows;
    }
    assert_true(right >= n * 95 / 100);
    /* median of a bowed line between the ribs, by sorting */
    for (int i = 1; i < n; i++)
        for (int k = i; k > 0 && truth[k - 1] > truth[k]; k--) {
            float swap = truth[k];
            truth[k] = truth[k - 1];
            truth[k - 1] = swap;
        }
    float margin = rows + 0.15f * (fabsf(d->bow) + fabsf(d->tilt)) + fabsf(d->breath);
    assert_true(fabs(pleura.depth * SL_DEPTHS - 0.5 - truth[n / 2]) <= margin);
    assert_true(pleura.depth_low <= pleura.depth && pleura.depth <= pleura.depth_high);
    double beam[SL_BEAMS], depth[SL_BEAMS];
    assert_int_equal(sl_pleura_line_at(&pleura, d->frames / 2, beam, depth), SL_BEAMS);
    for (int j = 0; j < SL_BEAMS; j++)
        assert_true(beam[j] > 0 && beam[j] < 1 && depth[j] > 0 && depth[j] < 1);
    sl_arena_free(&arena);
}

static const drawing plain = {.frames = 12, .middle = 50, .noise = 4, .gain = 1};

static void known_lines(void **state)
{
    (void)state;
    drawing d = plain;
    check(&d, 2);
    d.middle = 26;
    check(&d, 2);
    d.middle = 95; /* as with a linear probe */
    check(&d, 2.5f);
    d = plain;
    d.bow = 40; /* as with a convex probe on a flat wall */
    check(&d, 2.5f);
    d = plain;
    d.tilt = 20;
    check(&d, 2.5f);
}

static void what_lies_below(void **state)
{
    (void)state;
    drawing d = plain;
    d.a_lines = true;
    check(&d, 2);
    d.verticals = true;
    check(&d, 2);
    d.a_lines = false;
    check(&d, 2);
}

static void decoys(void **state)
{
    (void)state;
    drawing d = plain;
    d.fascia = true;
    check(&d, 2);
    d.a_lines = true;
    check(&d, 2);
    d.ribs = true;
    check(&d, 2);
    d.bow = 30;
    check(&d, 2.5f);
}

static void poor_pictures(void **state)
{
    (void)state;
    drawing d = plain;
    d.ribs = true;
    d.noise = 14;
    check(&d, 2.5f);
    d.noise = 2;
    d.gain = 0.3f;
    check(&d, 2);
    d.gain = 1.6f; /* saturates at the line */
    check(&d, 2.5f);
    d = plain;
    d.frames = 1; /* a still */
    check(&d, 2);
    d.frames = 2;
    check(&d, 2);
}

static void follows_movement(void **state)
{
    (void)state;
    drawing d = plain;
    d.frames = MOST;
    d.breath = 5;
    draw(&d);
    sl_stack stack = stack_of(d.frames);
    sl_arena arena = {0};
    sl_pleura pleura;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    assert_int_equal(pleura.block_frames, 4);
    assert_int_equal(pleura.blocks, MOST / 4);
    double high = sl_pleura_row_at(&pleura, MOST / 4, 64), low = sl_pleura_row_at(&pleura, 3 * MOST / 4, 64);
    /* three blocks are averaged, so that a whole breath in 24 frames is seen at about half its size */
    assert_true(high - low > 3 && high - low < 11);
    assert_true(pleura.depth_high - pleura.depth_low > 2.0 / SL_DEPTHS);
    sl_arena_free(&arena);
}

static void ribs_and_spaces(void **state)
{
    (void)state;
    drawing d = plain;
    d.ribs = true;
    draw(&d);
    sl_stack stack = stack_of(d.frames);
    sl_arena arena = {0};
    sl_pleura pleura;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    int agree = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        agree += (pleura.beams.kind[j] == SL_BEAM_RIB) == in_rib(&d, j);
    assert_true(agree >= 118);
    assert_int_equal(pleura.beams.spaces, 3);
    assert_int_equal(pleura.beams.widest, 1);
    assert_in_range(pleura.beams.space[1].first, 33, 40);
    assert_in_range(pleura.beams.space[1].last, 87, 94);
    assert_int_equal(pleura.beams.caps, 2);
    for (int c = 0; c < 2; c++) /* caps lie nine rows above the line */
        assert_true(fabsf(pleura.beams.cap[c].row - 41) <= 2);
    sl_arena_free(&arena);
}

static void no_contact(void **state)
{
    (void)state;
    drawing d = plain;
    draw(&d);
    for (int k = 0; k < d.frames * SL_CELLS; k++)
        if (k % SL_BEAMS >= 100)
            cells[k] = 1;
    sl_stack stack = stack_of(d.frames);
    sl_arena arena = {0};
    sl_pleura pleura;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    for (int j = 106; j < SL_BEAMS; j++)
        assert_int_equal(pleura.beams.kind[j], SL_BEAM_NO_CONTACT);
    for (int j = 0; j < 92; j++)
        assert_int_equal(pleura.beams.kind[j], SL_BEAM_SPACE);
    sl_arena_free(&arena);
}

/* A cropped fan: outer beams begin deeper, the last ones lie outside altogether. */
static void outside_the_picture(void **state)
{
    (void)state;
    drawing d = plain;
    draw(&d);
    for (int i = 0; i < SL_DEPTHS; i++)
        for (int j = 0; j < SL_BEAMS; j++)
            if (j >= 120 || i < (j - 64) * (j - 64) / 100)
                mask[i * SL_BEAMS + j] = 0;
    for (int k = 0; k < d.frames * SL_CELLS; k++)
        if (!mask[k % SL_CELLS])
            cells[k] = 0;
    sl_stack stack = stack_of(d.frames);
    sl_arena arena = {0};
    sl_pleura pleura;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    assert_true(pleura.seen);
    for (int j = 120; j < SL_BEAMS; j++) {
        assert_true(isnan(pleura.line[j]));
        assert_true(isnan(sl_pleura_row_at(&pleura, 3, j)));
        assert_int_equal(pleura.beams.kind[j], SL_BEAM_OUTSIDE);
    }
    for (int j = 20; j < 110; j++)
        assert_true(fabsf(pleura.line[j] - 50) <= 2);
    sl_arena_free(&arena);
}

static void nothing_to_see(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_pleura pleura;
    memset(cells, 0, sizeof cells);
    memset(mask, 1, sizeof mask);
    sl_stack stack = stack_of(5);
    for (int variant = 0; variant < 3; variant++) {
        if (variant == 1)
            stack.frames = 0;
        if (variant == 2) {
            stack.frames = 5;
            memset(mask, 0, sizeof mask);
        }
        assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
        assert_false(pleura.seen);
        assert_true(pleura.found == 0);
        assert_true(isnan(pleura.depth) && isnan(pleura.depth_low));
        assert_int_equal(pleura.beams.spaces, 0);
        assert_int_equal(pleura.beams.widest, -1);
        assert_true(isnan(sl_pleura_row_at(&pleura, 0, 64)));
        double beam[SL_BEAMS], depth[SL_BEAMS];
        assert_int_equal(sl_pleura_line_at(&pleura, 0, beam, depth), 0);
    }
    /* speckle alone: no line is believed */
    memset(mask, 1, sizeof mask);
    seed = 3;
    for (int k = 0; k < 8 * SL_CELLS; k++)
        cells[k] = (uint8_t)(60 + 14 * bell());
    stack.frames = 8;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    assert_false(pleura.seen);
    assert_true(pleura.found < 0.2);
    sl_arena_free(&arena);
}

static void mirrored_is_the_same(void **state)
{
    (void)state;
    drawing d = plain;
    d.ribs = d.a_lines = true;
    d.tilt = 12;
    draw(&d);
    sl_stack stack = stack_of(d.frames);
    sl_arena arena = {0};
    sl_pleura one, other;
    assert_int_equal(sl_pleura_find(&stack, &arena, &one, NULL), SL_OK);
    for (int k = 0; k < d.frames * SL_DEPTHS; k++) {
        uint8_t *row = cells + k * SL_BEAMS;
        for (int j = 0; j < SL_BEAMS / 2; j++) {
            uint8_t swap = row[j];
            row[j] = row[SL_BEAMS - 1 - j];
            row[SL_BEAMS - 1 - j] = swap;
        }
    }
    assert_int_equal(sl_pleura_find(&stack, &arena, &other, NULL), SL_OK);
    assert_true(fabs(one.depth - other.depth) < 0.5 / SL_DEPTHS);
    int differ = 0; /* at the rims of the ribs the search's ties fall to one side */
    for (int j = 0; j < SL_BEAMS; j++) {
        differ += one.beams.kind[j] != other.beams.kind[SL_BEAMS - 1 - j];
        if (one.beams.kind[j] == SL_BEAM_SPACE)
            assert_true(fabsf(one.line[j] - other.line[SL_BEAMS - 1 - j]) < 1);
    }
    assert_true(differ <= 4);
    sl_arena_free(&arena);
}

/* The face of the probe is no pleura: nothing nearer than 5 mm where the face is in the picture and the scale
 * known. */
static void not_the_face(void **state)
{
    (void)state;
    drawing d = plain;
    d.middle = 70;
    draw(&d);
    for (int f = 0; f < d.frames; f++)
        memset(cells + f * SL_CELLS, 250, 8 * SL_BEAMS);
    sl_view view = {
        .shape = SL_SHAPE_LINEAR, .far_y = 400, .face_visible = true, .mm_per_px = 0.1, .aspect = 1};
    sl_stack stack = stack_of(d.frames);
    stack.view = &view;
    sl_arena arena = {0};
    sl_pleura pleura;
    assert_int_equal(sl_pleura_find(&stack, &arena, &pleura, NULL), SL_OK);
    for (int j = 0; j < SL_BEAMS; j++)
        assert_true(fabsf(pleura.line[j] - 70) <= 2);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(known_lines),      cmocka_unit_test(what_lies_below),
        cmocka_unit_test(decoys),           cmocka_unit_test(poor_pictures),
        cmocka_unit_test(follows_movement), cmocka_unit_test(ribs_and_spaces),
        cmocka_unit_test(no_contact),       cmocka_unit_test(outside_the_picture),
        cmocka_unit_test(nothing_to_see),   cmocka_unit_test(mirrored_is_the_same),
        cmocka_unit_test(not_the_face)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
