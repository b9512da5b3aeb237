#include "reading/doubts.h"

#include "reading/motion_table.h"

#include <math.h>

#define SOLID_LARGE_MM 10.0 /* clinical sheet 1: larger than 1 cm is kept apart */

typedef enum answers { IF_PRESENT = 1, IF_ABSENT = 2, IF_ANY = 7 } answers;

static const char organ_seen[] = "an organ or lung without air: an organ below the diaphragm is seen";
static const char organ_moves[] = "an organ or lung without air: something moves as an organ below the diaphragm does";
static const char heart_solid[] = "the heart or lung without air: something moves at a heart's rate";
static const char heart_fluid[] = "fluid or the heart's chambers: something moves at a heart's rate";
static const char layers[] = "lung without air is seen, whose layers and deep border look like repeats";
/* Free air hides what lies behind it: where lung without air or fluid is seen through the pleura there is none. */
static const char fluid_through[] = "fluid is seen through the pleura, which free air would hide";
static const char solid_through[] = "lung without air is seen through the pleura, which free air would hide";
/* What is filled in under colour is smooth and moves with its surroundings, so that it can look like fluid, and like lung that slides or
 * stands still. */
static const char colour[] = "colour lies over the picture: record the place without colour too";
/* What comes into the picture with a breath may be out of it in two frames. */
static const char few[] = "not seen, but the clip is no longer than a picture or two: record a whole breath";

static const struct {
    sl_cause cause;
    sl_code sign;
    answers from;      /* answers that are doubted; amounts go with the sign, or on their own where `sign` is an amount */
    sl_code amount[2]; /* SL_CODES: none */
    const char *why;
    double stands; /* an answer whose index is above this with what the cause leaves of it stands, with the reason; 0: none does. Fluid and solid
                      lung are stated from a low index on. */
} rows[] = {
    {SL_CAUSE_HEART, SL_CONSOLIDATION, IF_PRESENT, {SL_CONSOLIDATION_EXTENT, SL_CODES}, heart_solid, 0},
    {SL_CAUSE_HEART, SL_EFFUSION, IF_PRESENT, {SL_EFFUSION_DEPTH, SL_EFFUSION_BASE}, heart_fluid, 0},
    {SL_CAUSE_ORGAN, SL_CONSOLIDATION, IF_PRESENT, {SL_CONSOLIDATION_EXTENT, SL_CODES}, organ_seen, 0},
    {SL_CAUSE_ORGAN_MOVES, SL_CONSOLIDATION, IF_PRESENT, {SL_CONSOLIDATION_EXTENT, SL_CODES}, organ_moves, 0},
    {SL_CAUSE_FLUID, SL_LUNG_POINT, IF_PRESENT, {SL_LUNG_POINT_TRAVEL, SL_CODES}, fluid_through, LUNG_POINT_PRESENT},
    {SL_CAUSE_SOLID, SL_A_LINES, IF_PRESENT, {SL_A_LINE_COUNT, SL_A_LINE_SPACING}, layers, 0},
    {SL_CAUSE_SOLID, SL_LUNG_POINT, IF_PRESENT, {SL_LUNG_POINT_TRAVEL, SL_CODES}, solid_through, LUNG_POINT_PRESENT},
    {SL_CAUSE_COLOUR, SL_LUNG_POINT, IF_ANY, {SL_LUNG_POINT_TRAVEL, SL_CODES}, colour, 0},
    {SL_CAUSE_COLOUR, SL_EFFUSION, IF_ANY, {SL_EFFUSION_DEPTH, SL_EFFUSION_BASE}, colour, 0},
    {SL_CAUSE_COLOUR, SL_SLIDING, IF_ANY, {SL_SLIDING_AMPLITUDE, SL_SLIDING_AMPLITUDE_MM}, colour, 0},
    {SL_CAUSE_COLOUR, SL_LUNG_PULSE, IF_ANY, {SL_SLIDING_SPEED, SL_SLIDING_PHASE}, colour, 0},
    {SL_CAUSE_COLOUR_MUCH, SL_A_LINES, IF_ANY, {SL_A_LINE_COUNT, SL_A_LINE_SPACING}, colour, 0},
    {SL_CAUSE_COLOUR_MUCH, SL_B_LINES, IF_ANY, {SL_B_LINE_COUNT, SL_B_LINE_COVERAGE}, colour, 0},
    {SL_CAUSE_COLOUR_MUCH, SL_WHITE_LUNG, IF_ANY, {SL_SCORE, SL_CODES}, colour, 0},
    {SL_CAUSE_COLOUR_MUCH, SL_CONSOLIDATION, IF_ANY, {SL_CONSOLIDATION_EXTENT, SL_CODES}, colour, 0},
    {SL_CAUSE_FEW_FRAMES, SL_EFFUSION, IF_ABSENT, {SL_CODES, SL_CODES}, few, 0},
    {SL_CAUSE_FEW_FRAMES, SL_CONSOLIDATION, IF_ABSENT, {SL_CODES, SL_CODES}, few, 0},
    {SL_CAUSE_FEW_FRAMES, SL_WHITE_LUNG, IF_ABSENT, {SL_CODES, SL_CODES}, few, 0},
    {SL_CAUSE_FEW_FRAMES, SL_PLEURA_IRREGULAR, IF_ABSENT, {SL_CODES, SL_CODES}, few, 0},
};

static sl_finding *of(sl_reading *reading, sl_code code)
{
    for (int i = 0; i < reading->findings; i++)
        if (reading->finding[i].code == code)
            return &reading->finding[i];
    return NULL;
}

static bool applies(answers from, const sl_finding *f)
{
    if (from == IF_ANY)
        return true;
    return f && f->known && f->answer == (from == IF_PRESENT ? SL_PRESENT : SL_ABSENT);
}

void sl_doubt(sl_cause cause, double sure, sl_reading *reading)
{
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        sl_finding *f = rows[i].cause == cause ? of(reading, rows[i].sign) : NULL;
        if (rows[i].cause != cause || !applies(rows[i].from, f))
            continue;
        if (f && f->known) {
            f->value *= rows[i].from == IF_PRESENT ? 1 - sure : 1;
            f->reason = rows[i].why;
            if (rows[i].stands > 0 && f->value > rows[i].stands)
                continue;
            f->answer = SL_UNCERTAIN;
            f->confidence = 0.5;
        }
        for (int k = 0; k < 2; k++)
            if (rows[i].amount[k] != SL_CODES && (rows[i].from == IF_ANY || of(reading, rows[i].amount[k])))
                sl_reading_put(reading, rows[i].amount[k])->reason = rows[i].why;
    }
}

static bool present(const sl_finding *f)
{
    return f && f->known && f->answer == SL_PRESENT;
}

void sl_doubts_last(int frames, sl_reading *reading)
{
    if (frames < MOTION_FRAMES_LEAST)
        sl_doubt(SL_CAUSE_FEW_FRAMES, 0, reading);
    const sl_finding *fluid = of(reading, SL_EFFUSION);
    if (present(fluid))
        sl_doubt(SL_CAUSE_FLUID, fluid->value, reading);
    const sl_finding *solid = of(reading, SL_CONSOLIDATION), *extent = of(reading, SL_CONSOLIDATION_EXTENT);
    if (!present(solid))
        return;
    sl_doubt(SL_CAUSE_SOLID, solid->value, reading);
    sl_finding *score = of(reading, SL_SCORE);
    if (!score || !score->known)
        return;
    extent = of(reading, SL_CONSOLIDATION_EXTENT);
    bool measured = extent && extent->known;
    double least = measured && extent->value > SOLID_LARGE_MM ? 3 : 2;
    if (score->value < least) {
        score->value = least;
        score->reason = "an estimate, raised because lung without air is stated; breaks of the pleura are for the reader to add";
    }
    score->low = fmin(score->low, score->value);
    score->high = measured && extent->high <= SOLID_LARGE_MM ? fmax(score->high, score->value) : 3;
}
