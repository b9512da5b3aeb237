/* What the grey levels and the grain say of gain, depth gain, dynamic range and averaging. */
#include "audit/audit.h"

#include "core/units.h"

#include <math.h>

enum { BANDS = SL_QUALITY_BANDS, FAR = 12 };

/* Mean of the known values of bands first..last-1. */
static double mean_of(const double *band, int first, int last)
{
    double sum = 0;
    int known = 0;
    for (int b = first; b < last; b++)
        if (sl_known(band[b])) {
            sum += band[b];
            known++;
        }
    return known ? sum / known : SL_UNKNOWN;
}

static void place(sl_complaint *complaint, double value, double low, double high, const char *unit, int first, int last)
{
    if (!sl_complaint_measured(complaint, value, low, high, unit))
        return;
    complaint->where.first_depth = (double)first / BANDS;
    complaint->where.last_depth = (double)last / BANDS;
}

/* What averaging does to the grain is told from plain speckle only loosely: to know, not to act on. */
static void note(sl_complaint *complaint, double value, double low, double high)
{
    place(complaint, value, low, high, "", 0, BANDS);
    if (complaint)
        complaint->grade = SL_GRADE_NOTE;
}

static int pleura_band(const sl_clip_result *result)
{
    const sl_finding *pleura = sl_reading_get(result->reading, SL_PLEURA_DEPTH);
    int band = pleura && pleura->known ? (int)(pleura->value * BANDS) : 3;
    return band < 2 ? 2 : band > BANDS / 2 ? BANDS / 2 : band;
}

static void judge_gain(sl_audit_desk *desk)
{
    const sl_grey_quality *g = &desk->result->quality.grey;
    int pleura = pleura_band(desk->result);
    double white = mean_of(g->white, 0, BANDS), wall = mean_of(g->strong, 0, pleura), skin = mean_of(g->strong, 0, 2), middle = mean_of(g->strong, BANDS / 2, FAR);
    /* A rib or fluid darkens a band of the wall; what lies above it then still tells. */
    double bright = fmax(wall, skin);
    if (bright > AUDIT_BRIGHT_STRONG && bright > AUDIT_NEAR_OVER_REST * middle)
        place(sl_complain(desk, SL_RULE_NEAR_BRIGHT, "the wall has grey %.0f of 255, %.1f times as bright as the middle of the picture", bright,
                          bright / fmax(middle, 1)),
              bright, SL_UNKNOWN, AUDIT_BRIGHT_STRONG, "grey levels", 0, pleura);
    else if (bright > AUDIT_BRIGHT_STRONG)
        place(sl_complain(desk, SL_RULE_GAIN_HIGH, "the wall has grey %.0f of 255", bright), bright, SL_UNKNOWN, AUDIT_BRIGHT_STRONG, "grey levels",
              0, pleura);
    else if (white > AUDIT_WHITE_SHARE)
        place(sl_complain(desk, SL_RULE_GAIN_HIGH, "%.0f %% of the picture is at the display's ceiling", 100 * white), white, SL_UNKNOWN,
              AUDIT_WHITE_SHARE, "share of the picture", 0, BANDS);
    if ((wall < AUDIT_DARK_STRONG && mean_of(g->strong, 0, BANDS / 2) < 1.5 * AUDIT_DARK_STRONG) ||
        (wall < 1.5 * AUDIT_DARK_STRONG && g->top < AUDIT_DARK_TOP)) {
        place(sl_complain(desk, SL_RULE_GAIN_LOW, "the brighter beams of the wall have grey %.0f of 255", wall), wall, AUDIT_DARK_STRONG,
              SL_UNKNOWN, "grey levels", 0, pleura);
        return; /* an empty far field then says nothing more */
    }
    if (!desk->purpose.placed || !desk->purpose.deep)
        return; /* behind aerated lung at the front nothing needs to come back */
    /* Where depth gain follows attenuation the noise grows with depth: a far end that is dark and no brighter than what lies before
     * it was not amplified, one that is dark and brightens holds little echo but was. */
    double last = g->strong[BANDS - 1], before = g->strong[FAR], black = g->black[BANDS - 1];
    if (last < AUDIT_FAR_STRONG && last <= before && black > AUDIT_FAR_BLACK)
        place(sl_complain(desk, SL_RULE_FAR_EMPTY, "%.0f %% of the far end is black, and it darkens towards the end", 100 * black), black,
              SL_UNKNOWN, AUDIT_FAR_BLACK, "share of the far end", FAR, BANDS);
}

static void judge_grain(sl_audit_desk *desk)
{
    /* Only as the scanner stored it: a video that was scaled and coded again has its grain smoothed and noise that lingers. */
    bool original = desk->result->view.scale_source == SL_SCALE_DICOM;
    const sl_grey_quality *g = &desk->result->quality.grey;
    /* What the display's ceiling stands for is not known; the speckle's spread against it is. */
    double spread = g->grain_upper, skew = g->grain_upper / g->grain_lower, range = AUDIT_SPECKLE_UPPER_DB * 255 / spread;
    if (spread > AUDIT_GRAIN_HARD)
        place(sl_complain(desk, SL_RULE_RANGE_LOW, "the speckle spreads as with about %.0f dB from black to white", range), spread, SL_UNKNOWN,
              AUDIT_GRAIN_HARD, "grey levels", 0, BANDS);
    else if (!original)
        return;
    else if (spread < AUDIT_GRAIN_FLAT && sl_complained(desk, SL_RULE_COMPOUNDING))
        ; /* averaging explains it */
    else if (spread < AUDIT_GRAIN_FLAT && skew > AUDIT_GRAIN_SKEW)
        note(sl_complain(desk, SL_RULE_COMPOUNDING,
                         "the speckle looks averaged: narrow (%.0f grey levels) and lopsided (%.2f, plain speckle 1.37)", spread, skew),
             skew, SL_UNKNOWN, AUDIT_GRAIN_SKEW);
    else if (spread < AUDIT_GRAIN_FLAT)
        place(sl_complain(desk, SL_RULE_RANGE_HIGH, "the speckle spreads as with about %.0f dB from black to white", range), spread,
              AUDIT_GRAIN_FLAT, SL_UNKNOWN, "grey levels", 0, BANDS);
    if (g->step_one > AUDIT_STEP_ONE_LOW && g->step_one < AUDIT_STEP_ONE_HIGH && g->step_two < AUDIT_STEP_TWO &&
        !sl_complained(desk, SL_RULE_PERSISTENCE))
        note(sl_complain(desk, SL_RULE_PERSISTENCE,
                         "noise lingers: correlation of successive changes %.2f and, two pictures apart, %.2f instead of -0.50 and 0",
                         g->step_one, g->step_two),
             g->step_two, AUDIT_STEP_TWO, SL_UNKNOWN);
}

void sl_audit_picture(sl_audit_desk *desk)
{
    if (!(desk->result->quality.grey.frames > 0) || !desk->result->reading)
        return;
    judge_gain(desk);
    judge_grain(desk);
}
