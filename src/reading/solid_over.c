#include "reading/solid_over.h"

#include <math.h>

#define SOLID_LARGE_MM 10.0 /* clinical sheet 1: larger than 1 cm is kept apart */

static sl_finding *of(sl_reading *reading, sl_code code)
{
    for (int i = 0; i < reading->findings; i++)
        if (reading->finding[i].code == code)
            return &reading->finding[i];
    return NULL;
}

static void doubt_a_lines(double solid, sl_reading *reading)
{
    static const char *const why = "lung without air is seen, whose layers and deep border look like repeats";
    sl_finding *lines = of(reading, SL_A_LINES);
    if (!lines || !lines->known || lines->answer != SL_PRESENT)
        return;
    lines->value *= 1 - solid;
    lines->answer = SL_UNCERTAIN;
    lines->confidence = 0.5;
    lines->reason = why;
    static const sl_code amounts[] = {SL_A_LINE_COUNT, SL_A_LINE_SPACING};
    for (int k = 0; k < 2; k++)
        if (of(reading, amounts[k]))
            sl_reading_put(reading, amounts[k])->reason = why;
}

/* Free air hides what lies behind it: where lung without air or fluid is seen through the pleura there is none. */
static void doubt_lung_point(double index, const char *why, sl_reading *reading)
{
    sl_finding *point = of(reading, SL_LUNG_POINT);
    if (!point || !point->known || point->answer != SL_PRESENT)
        return;
    point->value *= 1 - index;
    point->answer = SL_UNCERTAIN;
    point->confidence = 0.5;
    point->reason = why;
    if (of(reading, SL_LUNG_POINT_TRAVEL))
        sl_reading_put(reading, SL_LUNG_POINT_TRAVEL)->reason = why;
}

void sl_solid_over_lines(sl_reading *reading)
{
    const sl_finding *fluid = of(reading, SL_EFFUSION);
    if (fluid && fluid->known && fluid->answer == SL_PRESENT)
        doubt_lung_point(fluid->value, "fluid is seen through the pleura, which free air would hide", reading);
    const sl_finding *solid = of(reading, SL_CONSOLIDATION), *extent = of(reading, SL_CONSOLIDATION_EXTENT);
    if (!solid || !solid->known || solid->answer != SL_PRESENT)
        return;
    doubt_a_lines(solid->value, reading);
    doubt_lung_point(solid->value, "lung without air is seen through the pleura, which free air would hide", reading);
    sl_finding *score = of(reading, SL_SCORE);
    if (!score || !score->known)
        return;
    bool measured = extent && extent->known;
    double least = measured && extent->value > SOLID_LARGE_MM ? 3 : 2;
    if (score->value < least) {
        score->value = least;
        score->reason = "an estimate, raised because lung without air is stated; breaks of the pleura are for the reader to add";
    }
    score->low = fmin(score->low, score->value);
    score->high = measured && extent->high <= SOLID_LARGE_MM ? fmax(score->high, score->value) : 3;
}
