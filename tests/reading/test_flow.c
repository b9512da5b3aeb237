/* Flow in colour: numbers at the bar, the file's calibration, fluid against a vessel against moving tissue, aliasing. */
#include "reading/flow_colour.h"
#include "reading/flow_table.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

static void numbers(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double number, factor;
    } cases[] = {{"10.4 cm/s", 10.4, 1}, {"-38,5", 38.5, NAN}, {"+0.62 m/s", 0.62, 100}, {"cm/s 61", 61, 1}, {"", NAN, NAN}, {"OMe 5A", NAN, NAN},
                 {"1.2.3 cm/s", NAN, 1}, {"B12", NAN, NAN}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double factor = NAN, number = sl_flow_number(cases[i].text, &factor);
        if ((isnan(cases[i].number) ? !isnan(number) : !(fabs(number - cases[i].number) < 1e-9)) ||
            (isnan(cases[i].factor) ? !isnan(factor) : factor != cases[i].factor))
            fail_msg("\"%s\": %g, factor %g", cases[i].text, number, factor);
    }
}

/* PS3.3 C.8.5.5: Region Data Type 000EH is a colour bar, Physical Units 0007H are cm/s; 0002H is colour flow. The reference pixel is where
 * the value is 0. */
static void calibrated_bar(void **state)
{
    (void)state;
    static const uint8_t black[64 * 64];
    sl_colour_seen seen = {0};
    sl_flow_scale scale;
    sl_clip_info info = {.regions = 2, .region = {{.x0 = 2, .y0 = 2, .x1 = 60, .y1 = 60, .spatial_format = 1, .data_type = 2, .unit_x = 3, .unit_y = 3},
                                                  {.x0 = 4, .y0 = 10, .x1 = 8, .y1 = 110, .data_type = 0xE, .unit_y = 7, .delta_y = -0.77, .ref_y = 50}}};
    sl_flow_scale_read(&info, (sl_gray){64, 64, 64, black}, &seen, &scale);
    assert_true(fabs(scale.cm_s - 38.5) < 1e-9 && scale.from_file);
    info.region[1].ref_y = 20; /* a shifted zero: two different ends */
    sl_flow_scale_read(&info, (sl_gray){64, 64, 64, black}, &seen, &scale);
    assert_true(isnan(scale.cm_s) && scale.reason[0]);
    info.region[1].ref_y = 50;
    info.region[1].unit_y = 3; /* centimetres are no speed */
    sl_flow_scale_read(&info, (sl_gray){64, 64, 64, black}, &seen, &scale);
    assert_true(isnan(scale.cm_s) && scale.reason[0]);
}

typedef enum drawn { DRAWN_FLUID, DRAWN_VESSEL, DRAWN_FLASH, DRAWN_NOISE } drawn;

/* Sixty frames of tissue of grey 60 with fluid of grey 4 in it, and colour over a part. */
static void draw(drawn what, sl_colour_seen *seen, sl_colour_cells *cells)
{
    enum { FRAMES = 60 };
    memset(seen, 0, sizeof *seen);
    memset(cells, 0, sizeof *cells);
    seen->cells = cells;
    seen->frames = cells->frames = FRAMES;
    srand(7);
    for (int t = 0; t < FRAMES; t++) {
        cells->time_s[t] = 0.1 * t;
        cells->source[t] = t;
        bool toward = sin(6.2832 * t / 30) > 0, quiet = t % 15 < 3; /* between to and fro all stands still */
        for (int c = 0; c < SL_CELLS; c++) {
            int i = c / SL_BEAMS, j = c % SL_BEAMS;
            bool layer = i >= 80 && i < 130 && j >= 30 && j < 100, tube = i >= 80 && i < 180 && j >= 60 && j < 66;
            bool coloured = what == DRAWN_VESSEL ? tube && !quiet : layer && !quiet;
            bool warm = what == DRAWN_VESSEL || (what == DRAWN_NOISE ? rand() % 2 : toward);
            if (!coloured) {
                cells->grey[c] += what == DRAWN_FLUID && layer ? 4 : 60;
                cells->bare[c]++;
                continue;
            }
            cells->warm[c] = (uint16_t)(cells->warm[c] + warm);
            cells->cold[c] = (uint16_t)(cells->cold[c] + !warm);
            cells->frame_warm[t] += (float)warm;
            cells->frame_cold[t] += (float)!warm;
            cells->across_px[c] += what == DRAWN_VESSEL ? 6 : 50;
            seen->beam[j]++;
            seen->depth[i]++;
        }
    }
}

static void what_flows(void **state)
{
    (void)state;
    static const struct {
        drawn what;
        sl_answer fluid, vessel;
    } cases[] = {{DRAWN_FLUID, SL_PRESENT, SL_ABSENT}, {DRAWN_VESSEL, SL_ABSENT, SL_PRESENT}, {DRAWN_FLASH, SL_UNCERTAIN, SL_ABSENT}, {DRAWN_NOISE, SL_ABSENT, SL_ABSENT}};
    static sl_colour_seen seen;
    static uint8_t mask[SL_CELLS];
    memset(mask, 1, sizeof mask);
    sl_colour_cells *cells = malloc(sizeof *cells);
    assert_non_null(cells);
    const sl_view view = {.shape = SL_SHAPE_LINEAR, .width = 256, .height = 256, .first_x = 0, .last_x = 255, .near_y = 0, .far_y = 255, .aspect = 1, .mm_per_px = NAN};
    for (int k = 0; k < 4; k++)
        for (int turned = 0; turned < 2; turned++) {
            sl_arena arena = {0};
            sl_flow flow;
            draw(cases[k].what, &seen, cells);
            seen.bar_warm_up = turned ? 0 : 5;
            seen.bar_warm_down = turned ? 5 : 0;
            assert_int_equal(sl_flow_measure(&seen, &view, NULL, mask, &arena, &flow, NULL), SL_OK);
            sl_reading *reading = sl_reading_new(&arena, SL_BY_PROGRAM, "test", "drawn");
            sl_flow_state(&flow, &(sl_flow_scale){NAN, false, "none"}, &arena, reading);
            const sl_finding *fluid = sl_reading_get(reading, SL_FLUID_COLOUR), *vessel = sl_reading_get(reading, SL_VESSEL_COLOUR);
            if (fluid->answer != cases[k].fluid || vessel->answer != cases[k].vessel)
                fail_msg("case %d: fluid %.2f, vessel %.2f", k, fluid->value, vessel->value);
            double toward = sl_reading_get(reading, SL_COLOUR_TOWARD)->value, away = sl_reading_get(reading, SL_COLOUR_AWAY)->value;
            if (cases[k].what == DRAWN_VESSEL) /* all red: towards, and away under a bar turned over (common practice) */
                assert_true(turned ? away > 0.5 && toward == 0 : toward > 0.5 && away == 0);
            assert_false(sl_reading_get(reading, SL_COLOUR_SCALE)->known);
            /* the same, too short to see a change of direction */
            flow.seconds = 0.5;
            sl_flow_state(&flow, &(sl_flow_scale){NAN, false, "none"}, &arena, reading);
            assert_int_equal(sl_reading_get(reading, SL_FLUID_COLOUR)->answer, SL_UNCERTAIN);
            sl_arena_free(&arena);
        }
    free(cells);
}

/* Where the colours meet through dark the flow turns round, where they meet at their brightest the display does. */
static void turned_over(void **state)
{
    (void)state;
    sl_colour_cells *cells = calloc(1, sizeof *cells);
    assert_non_null(cells);
    for (int v = 40; v < 200; v++)
        cells->luma[0][v] = cells->luma[1][v] = 10;
    assert_true(isnan(sl_colour_turned_over(cells)));
    cells->meet[0][190] = cells->meet[1][185] = 100;
    assert_true(sl_colour_turned_over(cells) > FLOW_TURNED_OVER);
    cells->meet[0][45] = cells->meet[1][50] = 900;
    assert_true(sl_colour_turned_over(cells) < FLOW_NOT_TURNED);
    free(cells);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(numbers), cmocka_unit_test(calibrated_bar), cmocka_unit_test(what_flows), cmocka_unit_test(turned_over)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
