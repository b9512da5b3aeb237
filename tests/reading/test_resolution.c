/* The grain's width of drawn speckle against the point spread it was made with; how the logarithm changes a correlation; the
 * resolution at a depth, from the clip or from the beam's formula, and unknown where neither says. */
#include "core/units.h"
#include "reading/grain.h"
#include "reading/resolution.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { EDGE = 16 };

static double uniform(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u; /* Knuth's MMIX */
    return ((double)(*seed >> 11) + 0.5) / 9007199254740992.0;
}

static double normal(uint64_t *seed)
{
    double a = uniform(seed), b = uniform(seed);
    return sqrt(-2 * log(a)) * cos(2 * acos(-1.0) * b);
}

static void smooth(double *field, int rows, int beams, double sd_rows, double sd_beams)
{
    double *line = calloc((size_t)(rows > beams ? rows : beams), sizeof *line);
    for (int pass = 0; pass < 2; pass++) {
        double sd = pass ? sd_beams : sd_rows;
        int n = pass ? beams : rows, lines = pass ? rows : beams, step = pass ? 1 : beams, next = pass ? beams : 1;
        for (int k = 0; k < lines; k++) {
            double *at = field + (ptrdiff_t)k * next;
            for (int i = 0; i < n; i++) {
                line[i] = 0;
                for (int d = -EDGE + 1; d < EDGE; d++)
                    if (i + d >= 0 && i + d < n)
                        line[i] += at[(ptrdiff_t)(i + d) * step] * exp(-d * d / (2 * sd * sd));
            }
            for (int i = 0; i < n; i++)
                at[(ptrdiff_t)i * step] = line[i];
        }
    }
    free(line);
}

/* Frames of fully developed speckle (the Rayleigh amplitude of complex Gaussian noise under a Gaussian point spread), shown over
 * `range_db`, a gradient over the depth, and with `layers` bright bands that run across some of the picture. */
static void draw(sl_arena *arena, sl_stack *stack, double sd_rows, double sd_beams, double range_db, bool layers)
{
    enum { FRAMES = 6, ROWS = SL_DEPTHS + 2 * EDGE, BEAMS = SL_BEAMS + 2 * EDGE };
    static uint8_t mask[SL_CELLS];
    uint64_t seed = 7;
    double *re = malloc(sizeof *re * ROWS * BEAMS), *im = malloc(sizeof *im * ROWS * BEAMS);
    memset(mask, 1, sizeof mask);
    *stack = (sl_stack){.frames = FRAMES, .most = FRAMES, .cell = SL_NEW(arena, FRAMES * (size_t)SL_CELLS, uint8_t), .mask = mask};
    for (int t = 0; t < FRAMES; t++) {
        double power = 0;
        for (int i = 0; i < ROWS * BEAMS; i++) {
            re[i] = normal(&seed);
            im[i] = normal(&seed);
        }
        smooth(re, ROWS, BEAMS, sd_rows, sd_beams);
        smooth(im, ROWS, BEAMS, sd_rows, sd_beams);
        for (int i = 0; i < ROWS * BEAMS; i++)
            power += (re[i] * re[i] + im[i] * im[i]) / (ROWS * BEAMS);
        for (int row = 0; row < SL_DEPTHS; row++)
            for (int beam = 0; beam < SL_BEAMS; beam++) {
                int i = (row + EDGE) * BEAMS + beam + EDGE;
                double db = 10 * log10((re[i] * re[i] + im[i] * im[i]) / power) - 0.02 * row;
                db += layers && row % 40 < 3 && beam < 80 ? 15 : 0;
                double grey = 150 + 255 / range_db * db;
                stack->cell[(size_t)t * SL_CELLS + (size_t)(row * SL_BEAMS + beam)] = (uint8_t)fmin(fmax(grey, 0), 255);
            }
    }
    free(re);
    free(im);
}

static double median_of(const double *band)
{
    double known[SL_GRAIN_BANDS], swap;
    int n = 0;
    for (int b = 0; b < SL_GRAIN_BANDS; b++)
        if (sl_known(band[b]))
            known[n++] = band[b];
    for (int i = 0; i < n; i++)
        for (int k = i + 1; k < n; k++)
            if (known[k] < known[i])
                swap = known[i], known[i] = known[k], known[k] = swap;
    return n ? known[n / 2] : NAN;
}

/* FWHM = 2.3548 sigma of the amplitude point spread (Wagner et al., IEEE Trans Sonics Ultrason 1983;30:156). */
static void drawn_speckle(void **state)
{
    (void)state;
    static const struct {
        double rows, beams, range_db;
        bool layers;
    } cases[] = {{1.0, 1.2, 60, false}, {0.6, 2.0, 60, false}, {2.0, 1.0, 90, false}, {1.0, 1.5, 60, true}};
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        sl_arena arena = {0};
        sl_stack stack;
        sl_grain_widths widths;
        draw(&arena, &stack, cases[c].rows, cases[c].beams, cases[c].range_db, cases[c].layers);
        assert_true(sl_grain_measure(&stack, 255, &arena, &widths));
        double along = median_of(widths.along) / (2.3548 * cases[c].rows), across = median_of(widths.across) / (2.3548 * cases[c].beams);
        double room = cases[c].layers ? 0.25 : cases[c].rows < 0.8 ? 0.15 : 0.1; /* of a grain less than two rows long one lag is left to fit */
        if (!(fabs(along - 1) < room && fabs(across - 1) < room))
            fail_msg("case %zu: %.3f and %.3f of the point spread's widths", c, along, across);
        sl_arena_free(&arena);
    }
}

/* Li2(1) = pi^2 / 6, Li2(1/2) = pi^2 / 12 - (ln 2)^2 / 2 (DLMF 25.12.5 and 25.12.6, from memory). */
static void dilogarithm(void **state)
{
    (void)state;
    double pi2 = acos(-1.0) * acos(-1.0), half = (pi2 / 12 - log(2) * log(2) / 2) / (pi2 / 6);
    assert_true(fabs(sl_grain_log_correlation(1) - 1) < 1e-12 && sl_grain_log_correlation(0) == 0);
    assert_true(fabs(sl_grain_log_correlation(0.5) - half) < 1e-12);
    assert_true(fabs(sl_grain_log_correlation(0.5000001) - half) < 1e-6);
    for (double r = 0.02; r < 0.99; r += 0.07)
        assert_true(fabs(sl_grain_intensity_correlation(sl_grain_log_correlation(r)) - r) < 1e-9);
}

static void close_to(double a, double b, double within)
{
    if (!(fabs(a - b) <= within))
        fail_msg("%g is not within %g of %g", a, within, b);
}

/* A linear picture 50 mm deep and 40 mm wide, grain known in the upper half. */
static void at_a_depth(void **state)
{
    (void)state;
    sl_view view = {.shape = SL_SHAPE_LINEAR, .width = 400, .height = 500, .last_x = 400, .far_y = 500, .aspect = 1, .mm_per_px = 0.1,
                    .mm_per_px_sd = NAN, .face_visible = true};
    sl_quality q;
    sl_quality_clear(&q);
    const double one = 0.3, two[2] = {0.2, 0.4}, deep = 0.9, lower = 0.55;
    sl_beam_stated none = {NAN, NAN, NAN}, stated = {5, 10, 25}, frequency = {5, NAN, NAN};
    sl_resolution r = sl_resolution_at(&view, &q.grey, &none, &one, 1);
    assert_true(r.along_from == SL_RESOLUTION_UNKNOWN && r.across_from == SL_RESOLUTION_UNKNOWN && !sl_known(r.along_mm) && !sl_known(r.across_mm));
    for (int b = 0; b < SL_QUALITY_BANDS / 2; b++) {
        q.grey.grain_rows[b] = 2;
        q.grey.grain_beams[b] = 3 + b;
    }
    r = sl_resolution_at(&view, &q.grey, &none, &one, 1);
    close_to(r.along_mm, 2 * 50.0 / SL_DEPTHS, 1e-9);
    close_to(r.across_mm, (3 + 0.3 * SL_QUALITY_BANDS - 0.5) * 40.0 / SL_BEAMS, 0.02);
    assert_true(r.along_from == SL_RESOLUTION_SPECKLE && r.across_from == SL_RESOLUTION_SPECKLE);
    double first = sl_resolution_at(&view, &q.grey, &none, &two[0], 1).across_mm, second = sl_resolution_at(&view, &q.grey, &none, &two[1], 1).across_mm;
    close_to(sl_resolution_at(&view, &q.grey, &none, two, 2).across_mm, sqrt((first * first + second * second) / 2), 1e-9);
    /* carried over a little, not to the far edge */
    assert_true(sl_known(sl_resolution_at(&view, &q.grey, &none, &lower, 1).across_mm));
    assert_int_equal(sl_resolution_at(&view, &q.grey, &none, &deep, 1).across_from, SL_RESOLUTION_UNKNOWN);
    /* At the focus 0.8859 lambda F (Selfridge et al., Appl Phys Lett 1980;37:35, from memory): 0.8859 x 0.308 x 2.5. */
    const double focus = 0.5;
    r = sl_resolution_at(&view, &q.grey, &stated, &focus, 1);
    close_to(r.across_mm, 0.8859 * 1.54 / 5 * 2.5, 0.01);
    assert_true(r.across_from == SL_RESOLUTION_FORMULA && r.along_from == SL_RESOLUTION_SPECKLE);
    r = sl_resolution_at(&view, &q.grey, &frequency, &deep, 1); /* frequency alone: half a pulse of two cycles, no width */
    close_to(r.along_mm, 1.54 / 5, 1e-9);
    assert_true(r.along_from == SL_RESOLUTION_FORMULA && r.across_from == SL_RESOLUTION_UNKNOWN);
    view.face_visible = false; /* cropped: how deep it is, is not known */
    assert_int_equal(sl_resolution_at(&view, &q.grey, &stated, &focus, 1).across_from, SL_RESOLUTION_SPECKLE);
    view.mm_per_px = NAN;
    assert_int_equal(sl_resolution_at(&view, &q.grey, &stated, &focus, 1).along_from, SL_RESOLUTION_UNKNOWN);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(drawn_speckle), cmocka_unit_test(dilogarithm), cmocka_unit_test(at_a_depth)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
