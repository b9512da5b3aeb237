#include "reading/effusion_volume.h"

#include <math.h>
#include <stddef.h>

/* Errors [V] of the clinical sheet: "Thoracic ultrasound for pleural effusion in the ICU", Crit Care 2017;21, doi
 * 10.1186/s13054-017-1897-5, table 1, and the papers' abstracts; what is from memory says so. */
enum { BALIK, USTA, GOECKE_ONE, GOECKE_TWO, HASSAN, REMERAND, EIBENBERGER };

static const sl_volume formulas[SL_VOLUMES] = {
    [BALIK] = {"Balik 2006", "20 x separation (mm)", "10.1007/s00134-005-0024-2",
               "mean prediction error 158.4 +- 160.6 mL, r 0.72; 81 ventilated patients, supine, trunk raised by 15 degrees", false, "", NAN,
               NAN, NAN},
    [USTA] = {"Usta 2010", "16 x distance from the middle of the diaphragm to the lung (mm)", "10.1510/icvts.2009.222273",
              "-21.1 +- 97.8 mL, r 0.89; sitting, after cardiac surgery", false, "", NAN, NAN, NAN},
    [GOECKE_ONE] = {"Goecke and Schwerk 1990", "90 x height (cm)", "10.14366/usg.17050 (compares it)",
                    "r 0.75 in 32 patients; reads large effusions too low; the formula is from memory", false, "", NAN, NAN, NAN},
    [GOECKE_TWO] = {"Goecke and Schwerk 1990", "70 x (height + distance from base to diaphragm) (cm)",
                    "10.1007/s40477-017-0266-1 (checks it)", "ICC 0.83 in 46 patients; r 0.81 in 32; reads large effusions too low",
                    false, "", NAN, NAN, NAN},
    [HASSAN] = {"Hassan 2017", "100 x height (cm)", "10.1007/s40477-017-0266-1", "ICC 0.79 in 46 patients", false, "", NAN, NAN, NAN},
    [REMERAND] = {"Remerand 2010", "length (cm) x cross section at half length (cm2)", "10.1007/s00134-010-1769-9",
                  "bias -33 mL, limits of agreement -292 to +227 mL; supine", false, "", NAN, NAN, NAN},
    [EIBENBERGER] = {"Eibenberger 1994", "between its two published points: 380 + 31 x (separation - 20) (mm)",
                     "10.1148/radiology.191.3.8184046",
                     "380 +- 130 mL at 20 mm, 1000 +- 330 mL at 40 mm; mean error 224 mL; supine, at full inspiration", false, "",
                     NAN, NAN, NAN},
};

/* low and high: the volume less and plus these, mL (true volume = formula - bias +- 1.96 SD, or the limits of agreement) */
static void fill(sl_volume *volume, double ml, double under, double over)
{
    volume->applies = true;
    volume->ml = ml;
    if (isnan(under) || isnan(over))
        return;
    volume->low_ml = fmax(0, ml - under);
    volume->high_ml = ml + over;
}

static const char *supine(const sl_fluid_size *s)
{
    return s->posture == SL_POSTURE_UNKNOWN ? "how the patient lay is not known"
           : s->posture != SL_POSTURE_SUPINE ? "made for patients who lie"
                                             : "";
}

static const char *sitting(const sl_fluid_size *s)
{
    return s->posture == SL_POSTURE_UNKNOWN ? "how the patient sat or lay is not known"
           : s->posture != SL_POSTURE_SITTING ? "made for patients who sit"
                                              : "";
}

static bool measured(double value)
{
    return isfinite(value) && value >= 0;
}

static void reason(sl_volume *volume, const char *posture, bool given, const char *missing)
{
    volume->why_not = posture[0] ? posture : given ? "" : missing;
}

void sl_effusion_volumes(const sl_fluid_size *s, sl_volume volume[SL_VOLUMES])
{
    for (int i = 0; i < SL_VOLUMES; i++)
        volume[i] = formulas[i];
    bool expired = s->phase == SL_PHASE_END_EXPIRATION, inspired = s->phase == SL_PHASE_FULL_INSPIRATION;
    bool gap = measured(s->separation_mm), height = measured(s->height_cm), base = measured(s->base_mm);

    const char *lies = supine(s), *sits = sitting(s), *place = !gap && s->no_separation ? s->no_separation : "";
    const char *machine = s->breathing == SL_BREATHING_UNKNOWN ? "whether the patient is ventilated is not known" : "";
    reason(&volume[BALIK], lies[0] ? lies : machine[0] ? machine : s->breathing != SL_BREATHING_VENTILATED ? "made for ventilated patients" : place,
           gap && expired, "needs the separation at the end of expiration");
    reason(&volume[USTA], sits[0] ? sits : machine[0] ? machine : s->breathing == SL_BREATHING_VENTILATED ? "made for patients who breathe by themselves" : "", base,
           "needs the distance from the diaphragm to the lung");
    reason(&volume[GOECKE_ONE], sits, height, "needs the height of the effusion");
    reason(&volume[GOECKE_TWO], sits, height && base, "needs height and distance from base to diaphragm");
    reason(&volume[HASSAN], sits, height, "needs the height of the effusion");
    reason(&volume[REMERAND], lies, measured(s->length_cm) && measured(s->area_cm2), "needs length and cross section");
    reason(&volume[EIBENBERGER], lies[0] ? lies : place, gap && inspired && s->separation_mm >= 20 && s->separation_mm <= 40,
           "published for 20 to 40 mm at full inspiration only");

    if (!volume[BALIK].why_not[0]) /* a mean absolute error and its SD: the volume within their sum of 1 + 1.96 SD */
        fill(&volume[BALIK], 20 * s->separation_mm, 158.4 + 1.96 * 160.6, 158.4 + 1.96 * 160.6);
    if (!volume[USTA].why_not[0])
        fill(&volume[USTA], 16 * s->base_mm, 1.96 * 97.78 + 21.1, 1.96 * 97.78 + 21.1);
    if (!volume[GOECKE_ONE].why_not[0])
        fill(&volume[GOECKE_ONE], 90 * s->height_cm, NAN, NAN);
    if (!volume[GOECKE_TWO].why_not[0])
        fill(&volume[GOECKE_TWO], 70 * (s->height_cm + s->base_mm / 10), NAN, NAN);
    if (!volume[HASSAN].why_not[0])
        fill(&volume[HASSAN], 100 * s->height_cm, NAN, NAN);
    if (!volume[REMERAND].why_not[0]) /* which way round the difference was taken is not in the excerpt: the wider each way */
        fill(&volume[REMERAND], s->length_cm * s->area_cm2, 292, 292);
    if (!volume[EIBENBERGER].why_not[0]) {
        double t = (s->separation_mm - 20) / 20, sd = 130 + 200 * t;
        fill(&volume[EIBENBERGER], 380 + 620 * t, 1.96 * sd, 1.96 * sd);
    }
}

bool sl_effusion_volume_span(const sl_volume volume[SL_VOLUMES], double *least_ml, double *most_ml)
{
    bool any = false;
    for (int i = 0; i < SL_VOLUMES; i++) {
        if (!volume[i].applies)
            continue;
        *least_ml = any ? fmin(*least_ml, volume[i].ml) : volume[i].ml;
        *most_ml = any ? fmax(*most_ml, volume[i].ml) : volume[i].ml;
        any = true;
    }
    return any;
}

const char *sl_effusion_large(const sl_fluid_size *s)
{
    if (s->posture != SL_POSTURE_SUPINE || !measured(s->separation_mm))
        return "";
    if (s->side == SL_BODY_RIGHT && s->separation_mm > 45)
        return "over 45 mm at the right base, supine: over 800 mL with sensitivity 94 %, specificity 76 % (Vignon 2005, doi "
               "10.1097/01.CCM.0000171532.02639.08)";
    if (s->side == SL_BODY_LEFT && s->separation_mm > 50)
        return "over 50 mm at the left base, supine: over 800 mL with sensitivity 100 %, specificity 67 % (Vignon 2005, doi "
               "10.1097/01.CCM.0000171532.02639.08)";
    if (s->breathing == SL_BREATHING_VENTILATED && s->separation_mm > 50)
        return "over 50 mm at the base, ventilated, supine: over 500 mL with sensitivity 83 %, specificity 90 % (Roch 2005, doi "
               "10.1378/chest.127.1.224)";
    return "";
}
