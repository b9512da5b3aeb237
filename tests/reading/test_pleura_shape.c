/* The shape of a pleural line that is drawn here with a known thickness, roughness, gap and spot. Full width at half height of
 * a Gaussian of standard deviation s is 2 sqrt(2 ln 2) s = 2.3548 s (mathematics). */
#include "core/units.h"
#include "reading/pleura_shape.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <string.h>

enum { FRAMES = 12, BLOCK = 4, LINE = 80 };

typedef struct drawing {
    double sd;         /* of the line, rows */
    double rough;      /* rows: standard deviation of a surface three beams fine */
    int gap, spot;     /* beams, 0: none */
} drawing;

static uint8_t cells[FRAMES * SL_CELLS], mask[SL_CELLS];
static double times[FRAMES];
static int sources[FRAMES];
static float rows[FRAMES / BLOCK * SL_BEAMS];

static double bell(uint32_t *seed)
{
    double sum = 0;
    for (int k = 0; k < 12; k++) {
        *seed = *seed * 1664525u + 1013904223u;
        sum += (*seed >> 8) / 16777216.0;
    }
    return sum - 6;
}

static void measure(const drawing *d, sl_pleura_shape *shape)
{
    sl_pleura pleura = {.seen = true, .found = 1, .blocks = FRAMES / BLOCK, .block_frames = BLOCK, .row = rows};
    double surface[SL_BEAMS];
    uint32_t seed = 5;
    for (int j = 0; j < SL_BEAMS; j++) {
        surface[j] = j % 3 ? surface[j - 1] : d->rough * bell(&seed);
        pleura.line[j] = LINE;
        pleura.beams.kind[j] = j >= 20 && j < 110 ? SL_BEAM_SPACE : SL_BEAM_RIB;
        for (int b = 0; b < pleura.blocks; b++)
            rows[b * SL_BEAMS + j] = LINE;
    }
    memset(mask, 1, sizeof mask);
    for (int t = 0; t < FRAMES; t++) {
        times[t] = 0.04 * t;
        sources[t] = t;
        for (int i = 0; i < SL_DEPTHS; i++)
            for (int j = 0; j < SL_BEAMS; j++) {
                double off = i - LINE - surface[j], line = 180 * exp(-0.5 * off * off / (d->sd * d->sd));
                if (d->gap && j >= 40 && j < 40 + d->gap)
                    line *= 0.2;
                double body = i > LINE ? 40 : 50;
                if (d->spot && j >= 70 && j < 70 + d->spot && i >= LINE + 5 && i < LINE + 11)
                    body = 2;
                cells[t * SL_CELLS + i * SL_BEAMS + j] = (uint8_t)(body + line > 255 ? 255 : body + line);
            }
    }
    static const sl_view view = {.shape = SL_SHAPE_LINEAR, .last_x = 127, .far_y = 255, .aspect = 1, .mm_per_px = 0.5,
                                 .scale_source = SL_SCALE_DICOM};
    sl_stack stack = {.frames = FRAMES, .most = FRAMES, .cell = cells, .time_s = times, .source = sources, .mask = mask, .view = &view,
                      .times_known = true, .frame_s = 0.04};
    sl_arena arena = {0};
    sl_error error;
    assert_int_equal(sl_pleura_shape_measure(&stack, &pleura, &arena, shape, &error), SL_OK);
    sl_arena_free(&arena);
}

static void thickness(void **state)
{
    (void)state;
    for (double sd = 1; sd < 2.4; sd += 0.4) {
        sl_pleura_shape shape;
        measure(&(drawing){.sd = sd}, &shape);
        assert_true(fabs(shape.thick - 2.3548 * sd) < 0.35);
        assert_true(shape.rough < 0.1);
        assert_int_equal(shape.gaps, 0);
        assert_int_equal(shape.spots, 0);
        assert_true(shape.broken < 1e-9);
    }
}

static void roughness(void **state)
{
    (void)state;
    double before = 0;
    for (double rough = 0.3; rough < 1.3; rough += 0.3) {
        sl_pleura_shape shape;
        measure(&(drawing){.sd = 1.2, .rough = rough}, &shape);
        assert_true(shape.rough > 0.6 * rough && shape.rough < 1.3 * rough); /* the course takes a part of it up */
        assert_true(shape.rough > before);
        before = shape.rough;
    }
}

static void gap_and_spot(void **state)
{
    (void)state;
    sl_pleura_shape shape;
    measure(&(drawing){.sd = 1.2, .gap = 6}, &shape);
    assert_int_equal(shape.gaps, 1);
    assert_true(abs(shape.gap[0].first_beam - 40) <= 1 && abs(shape.gap[0].last_beam - 45) <= 1);
    assert_true(fabs(shape.broken - 6.0 / 90) < 0.02);
    measure(&(drawing){.sd = 1.2, .spot = 5}, &shape);
    assert_int_equal(shape.spots, 1);
    assert_true(shape.spot[0].first_beam == 70 && shape.spot[0].last_beam == 74);
    assert_int_equal(shape.gaps, 0);
}

/* Without scale no millimetres; without a line nothing, and why. */
static void unknown(void **state)
{
    (void)state;
    sl_pleura_shape shape;
    sl_arena arena = {0};
    measure(&(drawing){.sd = 1.2}, &shape);
    sl_view view = {.shape = SL_SHAPE_LINEAR, .far_y = 255, .aspect = 1, .mm_per_px = SL_UNKNOWN};
    sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "clip");
    sl_pleura_shape_state(&shape, &view, "", &arena, reading);
    const sl_finding *thick = sl_reading_get(reading, SL_PLEURA_THICKNESS);
    assert_false(thick->known);
    assert_non_null(strstr(thick->reason, "scale"));
    assert_true(sl_reading_get(reading, SL_PLEURA_IRREGULAR)->answer == SL_ABSENT);
    memset(&shape, 0, sizeof shape);
    sl_pleura_shape_state(&shape, &view, "no pleural line was found", &arena, reading);
    assert_false(sl_reading_get(reading, SL_SUBPLEURAL_SPOTS)->known);
    assert_true(*sl_reading_get(reading, SL_SUBPLEURAL_SPOTS)->reason != 0);
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(thickness), cmocka_unit_test(roughness), cmocka_unit_test(gap_and_spot),
                                       cmocka_unit_test(unknown)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
