/* Fluid between the pleurae on straightened stacks drawn here: still, speckled wall down to a faint line, dark and stirred
 * fluid, a bright surface with haze below. The truth is what was drawn. */
#include "core/arena.h"
#include "reading/consolidation.h"
#include "reading/effusion.h"
#include "reading/pleura.h"
#include "reading/reading.h"
#include "reading/solid_surface.h"
#include "reading/solid_table.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 24, RIM = 64, SWING = 6 };

typedef struct scene {
    int surface;    /* row of what lies below the layer, at mid breath */
    double layer;   /* mean grey of the layer */
    bool stirred;   /* its speckle is new in every frame */
    bool bottom;    /* there is a surface below it */
    int rib_first, rib_last; /* beams in shadow; none: first > last */
    int cap;        /* rows from the rib's cap down to the rim */
    int frames;
    double grain;   /* grey of particles that fill the layer */
    int septa;      /* bright lines that cross it */
} scene;

static uint32_t hash(uint32_t a, uint32_t b, uint32_t c)
{
    uint32_t h = a * 0x9E3779B1u ^ b * 0x85EBCA77u ^ c * 0xC2B2AE3Du;
    h ^= h >> 15;
    h *= 0x2C1B3C6Du;
    h ^= h >> 13;
    return h * 0x297A2D39u >> 8;
}

/* Speckle of mean 1 (Rayleigh), over patches of two rows and three beams. */
static double speckle(uint32_t row, uint32_t beam, uint32_t time)
{
    double u = (hash(row / 2, beam / 3, time) % 65521u + 0.5) / 65521;
    return 1.128 * sqrt(-log(u));
}

static double border_at(const scene *s, int frame)
{
    return s->surface + 0.5 * SWING * sin(6.2832 * frame / s->frames);
}

static double grey_at(const scene *s, int row, int beam, int frame)
{
    uint32_t r = (uint32_t)row, b = (uint32_t)beam, f = (uint32_t)frame;
    double surface = border_at(s, frame);
    bool rib = beam >= s->rib_first && beam <= s->rib_last;
    if (rib && row > RIM - s->cap + 3)
        return 1.5 * speckle(r, b, 7 + f);
    if (rib && row >= RIM - s->cap)
        return 220;
    if (row < RIM - 1)
        return 70 * speckle(r, b, 1);
    if (row <= RIM + 1)
        return 120;
    for (int k = 0; k < s->septa && row < surface; k++)
        if (abs(row - (RIM + 14 + 12 * k + (k % 2 ? beam : -beam) / 24)) <= 1)
            return 60;
    if (row < surface && s->grain > 0)
        return s->grain * speckle(r + f, b, 9);
    if (row < surface || !s->bottom)
        return s->layer * speckle(r, b, s->stirred ? 1000 + f : 2);
    if (row < surface + 4)
        return 200;
    return 150 * exp(-(row - surface) / 60) * speckle(r, b, 3 + f);
}

static void draw(const scene *s, sl_arena *arena, sl_view *view, sl_stack *stack)
{
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    *view = (sl_view){.shape = SL_SHAPE_LINEAR, .width = 256, .height = 512, .last_x = 255, .far_y = 511, .face_visible = true,
                      .aspect = 1, .mm_per_px = 100.0 / 511};
    memset(stack, 0, sizeof *stack);
    stack->frames = stack->most = s->frames;
    stack->cell = SL_NEW(arena, (size_t)s->frames * SL_CELLS, uint8_t);
    stack->time_s = SL_NEW(arena, s->frames, double);
    stack->source = SL_NEW(arena, s->frames, int);
    stack->mask = mask;
    stack->view = view;
    stack->times_known = true;
    stack->frame_s = 0.08;
    for (int f = 0; f < s->frames; f++) {
        stack->time_s[f] = 0.08 * f;
        stack->source[f] = f;
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++)
                stack->cell[(f * SL_DEPTHS + i) * SL_BEAMS + j] = (uint8_t)fmin(255, grey_at(s, i, j, f));
    }
}

/* The mean in every frame, the pleural line at a row of all beams. */
static void hold_still(const float *mean, int frames, int spaces, int line, sl_stack *stack, sl_pleura *pleura)
{
    for (int f = 0; f < frames; f++)
        for (int k = 0; k < SL_CELLS; k++)
            stack->cell[f * SL_CELLS + k] = (uint8_t)mean[k];
    pleura->mean = mean;
    pleura->found = 1;
    pleura->blocks = 1;
    pleura->block_frames = frames;
    pleura->beams.spaces = spaces;
    pleura->beams.space_beams = SL_BEAMS;
    for (int j = 0; j < SL_BEAMS; j++)
        pleura->line[j] = (float)line;
}

static const sl_reading *read_scene(const scene *s, sl_arena *arena, sl_pleura *parietal, sl_fluid *effusion)
{
    sl_view view;
    sl_stack stack;
    sl_pleura pleura;
    sl_fluid_layer layer;
    sl_error error = {0};
    draw(s, arena, &view, &stack);
    assert_int_equal(sl_pleura_find(&stack, arena, &pleura, &error), SL_OK);
    assert_int_equal(sl_effusion_find(&stack, &pleura, arena, &layer, parietal, &error), SL_OK);
    assert_int_equal(sl_effusion_measure(&stack, parietal, &layer, arena, effusion, &error), SL_OK);
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "test", "drawn");
    sl_effusion_state(effusion, &view, "", arena, reading);
    return reading;
}

static void fluid_is_found_and_measured(void **state)
{
    (void)state;
    static const int surfaces[] = {90, 110, 140};
    for (size_t k = 0; k < sizeof surfaces / sizeof *surfaces; k++) {
        sl_arena arena = {0};
        sl_pleura parietal;
        sl_fluid effusion;
        scene s = {.surface = surfaces[k], .layer = 4, .stirred = true, .bottom = true, .rib_first = 1, .frames = FRAMES};
        const sl_reading *reading = read_scene(&s, &arena, &parietal, &effusion);
        const sl_finding *answer = sl_reading_get(reading, SL_EFFUSION), *depth = sl_reading_get(reading, SL_EFFUSION_DEPTH);
        assert_true(effusion.seen);
        assert_int_equal(answer->answer, SL_PRESENT);
        assert_true(answer->value > 0.5);
        assert_int_equal(answer->evidences, 2);
        assert_true(fabs(parietal.depth * SL_DEPTHS - 0.5 - RIM) <= 2); /* the chest wall's border, not the lung's */
        double mm = 100.0 / SL_DEPTHS, widest = (surfaces[k] - RIM + 0.5 * SWING) * mm;
        assert_true(depth->known);
        assert_true(fabs(depth->value - widest) <= 2.0); /* the limit, mm */
        assert_true(depth->low < depth->value && depth->value < depth->high);
        assert_true(fabs(effusion.swing * SL_DEPTHS - SWING) <= 2.5);
        sl_arena_free(&arena);
    }
}

/* Clear fluid, fluid full of particles, fluid crossed by septa: what was drawn is what is said. */
static void what_is_in_the_fluid_is_told(void **state)
{
    (void)state;
    for (int k = 0; k < 3; k++) {
        sl_arena arena = {0};
        sl_pleura parietal;
        sl_fluid effusion;
        scene s = {.surface = 130, .layer = 4, .stirred = true, .bottom = true, .rib_first = 1, .frames = FRAMES, .grain = k == 1 ? 22 : 0,
                   .septa = k == 2 ? 3 : 0};
        const sl_reading *reading = read_scene(&s, &arena, &parietal, &effusion);
        const sl_finding *septa = sl_reading_get(reading, SL_EFFUSION_SEPTA), *grain = sl_reading_get(reading, SL_EFFUSION_PARTICLES),
                         *even = sl_reading_get(reading, SL_EFFUSION_EVENNESS), *count = sl_reading_get(reading, SL_EFFUSION_SEPTA_COUNT),
                         *swing = sl_reading_get(reading, SL_EFFUSION_SWING);
        assert_true(effusion.seen && septa->known && grain->known && even->known && swing->known);
        assert_int_equal(septa->answer, k == 2 ? SL_PRESENT : SL_ABSENT);
        assert_int_equal(grain->answer, k == 1 ? SL_PRESENT : SL_ABSENT);
        assert_true(k == 2 ? count->value >= 2 && count->value <= 4 && count->evidences > 0 : count->value == 0);
        assert_true(k == 2 ? even->value < 0.8 : even->value > 0.8);
        assert_true(swing->low <= swing->value && swing->value <= swing->high);
        sl_arena_free(&arena);
    }
}

static void muscle_that_stands_still_is_no_fluid(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_pleura parietal;
    sl_fluid effusion;
    scene s = {.surface = 82, .layer = 18, .bottom = true, .rib_first = 1, .frames = FRAMES};
    read_scene(&s, &arena, &parietal, &effusion);
    assert_false(effusion.seen);
    sl_arena_free(&arena);
}

static void a_dark_end_without_surface_is_no_fluid(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_pleura parietal;
    sl_fluid effusion;
    scene s = {.surface = 110, .layer = 4, .stirred = true, .rib_first = 1, .frames = FRAMES};
    const sl_reading *reading = read_scene(&s, &arena, &parietal, &effusion);
    assert_false(effusion.seen);
    assert_true(sl_reading_get(reading, SL_EFFUSION)->value < 0.5);
    assert_false(sl_reading_get(reading, SL_EFFUSION_DEPTH)->known);
    sl_arena_free(&arena);
}

/* The pleura lies about 5 mm below the ribs' surface (clinical sheet 1): a thin dark layer that begins there may be fluid, one
 * that begins beside the caps is more likely muscle between the ribs. A row is 0.39 mm. */
static void a_thin_layer_beside_the_caps_is_muscle(void **state)
{
    (void)state;
    for (int k = 0; k < 2; k++) {
        sl_arena arena = {0};
        sl_pleura parietal;
        sl_fluid effusion;
        scene s = {.surface = 74, .layer = 3, .stirred = true, .bottom = true, .rib_first = 40, .rib_last = 80,
                   .cap = k ? 18 : 0, .frames = FRAMES};
        read_scene(&s, &arena, &parietal, &effusion);
        assert_int_equal(effusion.seen, k == 1);
        sl_arena_free(&arena);
    }
}

/* What lies in a rib's shadow says nothing of fluid: shadows over half of the picture leave the index where it is. */
static void shadows_do_not_count_against_it(void **state)
{
    (void)state;
    double index[2];
    for (int k = 0; k < 2; k++) {
        sl_arena arena = {0};
        sl_pleura parietal;
        sl_fluid effusion;
        scene s = {.surface = 100, .layer = 4, .stirred = true, .bottom = true, .rib_first = 10, .rib_last = k ? SL_BEAMS / 2 : 0, .cap = 14,
                   .frames = FRAMES};
        read_scene(&s, &arena, &parietal, &effusion);
        assert_true(effusion.seen);
        index[k] = effusion.index;
        sl_arena_free(&arena);
    }
    assert_true(fabs(index[1] - index[0]) < 0.1);
}

/* The index rises with how thick the layer is, with all else as it was, and is a probability. */
static void the_index_of_fluid_is_monotone(void **state)
{
    (void)state;
    double before = 0;
    for (int rows = 16; rows <= 61; rows += 15) {
        sl_arena arena = {0};
        sl_pleura parietal;
        sl_fluid effusion;
        scene s = {.surface = RIM + rows, .layer = 4, .stirred = true, .bottom = true, .rib_first = 1, .frames = FRAMES};
        read_scene(&s, &arena, &parietal, &effusion);
        assert_true(effusion.index > before && effusion.index < 1);
        before = effusion.index;
        sl_arena_free(&arena);
    }
}

static void a_still_picture_says_so(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_pleura parietal;
    sl_fluid effusion;
    scene s = {.surface = 110, .layer = 4, .stirred = true, .bottom = true, .rib_first = 1, .frames = 1};
    const sl_reading *reading = read_scene(&s, &arena, &parietal, &effusion);
    const sl_finding *answer = sl_reading_get(reading, SL_EFFUSION);
    assert_false(answer->known);
    assert_true(strlen(answer->reason) > 10);
    sl_arena_free(&arena);
}

static void nothing_is_made_of_nothing(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "none");
    sl_view view = {.mm_per_px = NAN};
    sl_solid solid = {0};
    sl_fluid effusion = {0};
    sl_effusion_state(&effusion, &view, "no pleural line was found", &arena, reading);
    sl_solid_state(&solid, NULL, "no pleural line was found", &arena, reading);
    assert_false(sl_reading_get(reading, SL_EFFUSION)->known);
    assert_false(sl_reading_get(reading, SL_CONSOLIDATION)->known);
    assert_string_equal(sl_reading_get(reading, SL_CONSOLIDATION)->reason, "no pleural line was found");
    sl_arena_free(&arena);
}

/* Tissue down to a torn border, artifact below it: 120 rows of 256 in a picture 100 mm deep are 47 mm. */
static void the_deep_border_of_solid_lung_is_followed(void **state)
{
    enum { LINE = 60, DEEP = 120 };
    (void)state;
    for (int bordered = 0; bordered < 2; bordered++) {
        sl_arena arena = {0};
        sl_error error = {0};
        sl_view view;
        sl_stack stack;
        sl_pleura pleura = {.seen = true, .depth = (LINE + 0.5) / SL_DEPTHS};
        const scene any = {.surface = 200, .frames = 2, .rib_first = 1};
        draw(&any, &arena, &view, &stack);
        float *mean = SL_NEW(&arena, SL_CELLS, float);
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                double torn = LINE + DEEP + 4 * sin(0.9 * j), grey = i < LINE ? 80 : i < LINE + 2 ? 180 : 50;
                if (bordered && i >= torn)
                    grey = 200 * exp(-(i - torn) / 60);
                mean[i * SL_BEAMS + j] = (float)(grey * (0.85 + 0.15 * speckle((uint32_t)i, (uint32_t)j, 5)));
            }
        hold_still(mean, any.frames, 1, LINE, &stack, &pleura);
        sl_solid solid;
        assert_int_equal(sl_solid_measure(&stack, &pleura, NULL, &arena, &solid, &error), SL_OK);
        solid.patchiness = solid.decay = 3; /* surely solid: the answer is not at issue here */
        view.scale_source = SL_SCALE_STATED;
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "drawn");
        sl_solid_state(&solid, &view, "", &arena, reading);
        const sl_finding *extent = sl_reading_get(reading, SL_CONSOLIDATION_EXTENT);
        assert_true(extent->known == (bordered == 1));
        if (!bordered)
            assert_non_null(strstr(extent->reason, "no border"));
        else {
            assert_true(fabs(extent->value - (DEEP + 3) * 100.0 / SL_DEPTHS) < 2);
            assert_true(extent->low < extent->value && extent->value < extent->high);
            assert_true(extent->evidences == 1 && extent->evidence[0].points > SL_BEAMS / 2);
            assert_non_null(strstr(extent->reason, "over the whole picture"));
            assert_true(solid.extent.torn > 0.002 && solid.extent.torn < 0.03);
            assert_true(extent->high - extent->low >= 2 * EXTENT_SLACK_MM);
            double torn = solid.extent.torn;
            solid.extent.torn = 0; /* a layer of the wall, fluid or an organ ends in such a border */
            sl_solid_state(&solid, &view, "", &arena, reading);
            assert_false(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->known);
            assert_non_null(strstr(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->reason, "smooth"));
            solid.extent.torn = torn;
            solid.extent.below_caps = 1; /* rows: the line is a rib's cap */
            sl_solid_state(&solid, &view, "", &arena, reading);
            assert_false(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->known);
            solid.extent.below_caps = NAN;
            view.mm_per_px = NAN; /* no scale: no mm */
            sl_solid_state(&solid, &view, "", &arena, reading);
            assert_false(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->known);
            solid.wet = true;
            sl_solid_state(&solid, &view, "", &arena, reading);
            assert_non_null(strstr(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->reason, "in fluid"));
        }
        sl_arena_free(&arena);
    }
}

/* Wall, muscle before the pleura, solid lung down to a torn border, artifact below it; the pleural line taken at the muscle's upper border, or, with
 * `rib`, at the lung's surface but for a rib's beams, where it follows the rib's cap. */
static void a_line_beside_the_lung_is_put_right(void **state)
{
    enum { MUSCLE = 35, SURFACE = 60, DEEP = 120, CAP = 47, FIRST = 60, LAST = 70 };
    (void)state;
    for (int rib = 0; rib < 2; rib++) {
        sl_arena arena = {0};
        sl_error error = {0};
        sl_view view;
        sl_stack stack;
        sl_pleura pleura = {.seen = true, .depth = (SURFACE + 0.5) / SL_DEPTHS};
        const scene any = {.surface = 200, .frames = 2, .rib_first = 1};
        draw(&any, &arena, &view, &stack);
        float *mean = SL_NEW(&arena, SL_CELLS, float);
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                double torn = SURFACE + DEEP + 4 * sin(0.9 * j);
                double grey = i < MUSCLE ? 90 : i < SURFACE ? 60 : i < SURFACE + 2 ? 180 : i < torn ? 90 : 170 * exp(-(i - torn) / 60);
                mean[i * SL_BEAMS + j] = (float)(grey * (0.85 + 0.15 * speckle((uint32_t)i, (uint32_t)j, 5)));
            }
        hold_still(mean, any.frames, rib ? 2 : 1, rib ? SURFACE : MUSCLE, &stack, &pleura);
        if (rib) {
            pleura.beams.caps = 1;
            pleura.beams.cap[0] = (sl_rib_cap){.first = FIRST, .last = LAST, .row = CAP};
            for (int j = FIRST; j <= LAST; j++) {
                pleura.beams.kind[j] = SL_BEAM_RIB;
                pleura.line[j] = CAP;
            }
        }
        sl_solid solid;
        assert_int_equal(sl_solid_measure(&stack, &pleura, NULL, &arena, &solid, &error), SL_OK);
        solid.patchiness = solid.decay = 3; /* surely solid: the answer is not at issue here */
        view.scale_source = SL_SCALE_STATED;
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "drawn");
        sl_solid_state(&solid, &view, "", &arena, reading);
        const sl_finding *extent = sl_reading_get(reading, SL_CONSOLIDATION_EXTENT);
        assert_true(extent->known);
        assert_true(fabs(extent->value - (DEEP + 3) * 100.0 / SL_DEPTHS) < 2);
        assert_int_equal(solid.extent.moved, !rib);
        assert_true(fabs((double)solid.extent.line[20] - SURFACE) < 4);
        assert_true(rib ? fabs(solid.extent.below_caps - (SURFACE - CAP)) < 2 : isnan(solid.extent.below_caps));
        solid.extent.thin = true; /* as thin as muscle, and as dark */
        solid.extent.inside = EXTENT_THIN_DARK - 0.1;
        solid.extent.stir = 1;
        solid.extent.wall_stir = 0.1;
        sl_solid_state(&solid, &view, "", &arena, reading);
        assert_false(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->known);
        assert_non_null(strstr(sl_reading_get(reading, SL_CONSOLIDATION_EXTENT)->reason, "muscle"));
        sl_arena_free(&arena);
    }
}

/* The rule is monotone: patchier and brighter in the depth is more surely solid. */
static void the_index_of_solid_lung_is_monotone(void **state)
{
    (void)state;
    double before = -1;
    for (int k = 0; k <= 10; k++) {
        sl_arena arena = {0};
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "none");
        sl_solid solid = {.frames = 10, .patchiness = -6 + 0.5 * k, .decay = -2 + 0.2 * k};
        sl_solid_state(&solid, NULL, "", &arena, reading);
        double index = sl_reading_get(reading, SL_CONSOLIDATION)->value;
        assert_true(index > before && index >= 0 && index <= 1);
        before = index;
        sl_arena_free(&arena);
    }
}

/* Air behind tissue is the brightest thing below the wall (it reflects 0.65, the surface of solid lung some hundredths); a repeat of an
 * air mirror is weaker than the mirror: the same step says nothing then. */
static void a_border_before_air_is_told_from_a_repeat(void **state)
{
    (void)state;
    sl_solid_extent x = {.seen = true, .step = 0.6, .width = 0.6, .shine = 0.1, .inside = -0.1, .sure = 0.9, .stir = 0.1, .wall_stir = 0.03};
    assert_true(sl_solid_border_strength(&x) == 1);
    x.shine = -1;
    assert_true(sl_solid_border_strength(&x) == 0);
    x.shine = 0.1;
    x.thin = true; /* as thin as muscle: it must move */
    assert_true(sl_solid_border_strength(&x) == 1);
    x.stir = 0.035;
    assert_true(sl_solid_border_strength(&x) == 0);
    sl_solid solid = {.frames = 10, .patchiness = -5, .decay = -0.3}, with = solid;
    with.extent = (sl_solid_extent){.seen = true, .step = 0.6, .width = 0.6, .shine = 0.1, .inside = -0.1, .sure = 0.9};
    assert_true(sl_solid_index(&solid) < 0.1 && sl_solid_index(&with) > 0.5);
}

/* A surface fainter than the layers of the wall above it: the wall stands still, the lung goes to and fro. */
static void the_surface_of_solid_lung_is_where_movement_begins(void **state)
{
    enum { LAYER = 50, SURFACE = 66 };
    (void)state;
    for (int moves = 0; moves < 2; moves++) {
        sl_arena arena = {0};
        sl_error error = {0};
        sl_view view;
        sl_stack stack;
        sl_pleura pleura = {.seen = true, .depth = (LAYER + 0.5) / SL_DEPTHS};
        const scene any = {.surface = 200, .frames = FRAMES, .rib_first = 1};
        draw(&any, &arena, &view, &stack);
        float *mean = SL_NEW(&arena, SL_CELLS, float), *change = SL_NEW(&arena, SL_CELLS, float), line[SL_BEAMS];
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                bool lung = i >= SURFACE && moves;
                mean[i * SL_BEAMS + j] = i >= LAYER && i < LAYER + 2 ? 160 : i >= SURFACE && i < SURFACE + 2 ? 90 : 70;
                change[i * SL_BEAMS + j] = lung ? 12 : 2;
            }
        hold_still(mean, FRAMES, 1, LAYER, &stack, &pleura);
        pleura.change = change;
        bool moved;
        assert_int_equal(sl_solid_surface_find(&stack, &pleura, 100.0 / SL_DEPTHS, &arena, line, &moved, &error), SL_OK);
        assert_true(moved == (moves == 1));
        for (int j = 8; j < SL_BEAMS - 8; j++)
            assert_true(fabsf(line[j] - (float)(moves ? SURFACE : LAYER)) <= 2);
        sl_arena_free(&arena);
    }
}

/* Beside an organ on the right the fluid is as deep as the beams next to it say; far from it, without it, or without a scale: a reason. */
static void depth_at_the_base(void **state)
{
    (void)state;
    for (int what = 0; what < 4; what++) { /* beside, no organ, fluid that ends far off, no scale */
        sl_arena arena = {0};
        sl_fluid fluid = {.frames = 20, .seen = true};
        for (int j = 0; j < (what == 2 ? 40 : 76); j++) {
            fluid.beam[fluid.points] = (j + 0.5) / SL_BEAMS;
            fluid.rim[fluid.points] = 0.2;
            fluid.border[fluid.points++] = 0.2 + 0.1 + 0.2 * j / 76; /* deeper towards the base */
        }
        sl_view view = {.shape = SL_SHAPE_LINEAR, .width = 400, .height = 400, .first_x = 0, .last_x = 400, .near_y = 0, .far_y = 400, .aspect = 1,
                        .mm_per_px = what == 3 ? NAN : 0.25};
        sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "made");
        sl_finding *depth = sl_reading_put(reading, SL_EFFUSION_DEPTH), *organ = sl_reading_put(reading, SL_ORGAN);
        depth->known = what != 3;
        depth->reason = what == 3 ? "the picture's scale is not known" : "";
        organ->known = true;
        organ->answer = what == 1 ? SL_ABSENT : SL_PRESENT;
        sl_effusion_base_state(&fluid, 0.6, 1, &view, &arena, reading);
        const sl_finding *base = sl_reading_get(reading, SL_EFFUSION_BASE);
        assert_int_equal(base->known, what == 0);
        assert_int_equal(base->reason[0] != 0, what != 0);
        if (!what) { /* 100 mm deep: between the depth a tenth of the width before the end, 27 mm, and 30 mm at the end */
            assert_true(base->value > 26.5 && base->value < 30 && base->low < base->value && base->high > 30 && base->evidences == 2);
            assert_true(base->evidence[0].first_beam > 0.45);
        }
        sl_arena_free(&arena);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_in_the_fluid_is_told),
        cmocka_unit_test(a_border_before_air_is_told_from_a_repeat),
        cmocka_unit_test(the_surface_of_solid_lung_is_where_movement_begins),
        cmocka_unit_test(fluid_is_found_and_measured),
        cmocka_unit_test(muscle_that_stands_still_is_no_fluid),
        cmocka_unit_test(a_dark_end_without_surface_is_no_fluid),
        cmocka_unit_test(a_thin_layer_beside_the_caps_is_muscle),
        cmocka_unit_test(shadows_do_not_count_against_it),
        cmocka_unit_test(the_index_of_fluid_is_monotone),
        cmocka_unit_test(a_still_picture_says_so),
        cmocka_unit_test(nothing_is_made_of_nothing),
        cmocka_unit_test(the_deep_border_of_solid_lung_is_followed),
        cmocka_unit_test(a_line_beside_the_lung_is_put_right),
        cmocka_unit_test(the_index_of_solid_lung_is_monotone),
        cmocka_unit_test(depth_at_the_base),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
