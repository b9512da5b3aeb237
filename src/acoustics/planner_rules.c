#include "acoustics/planner_rules.h"

#include "core/units.h"

#include <stddef.h>
#include <string.h>

#define ANT (1u << SL_PLAN_PLACE_ANTERIOR)
#define LAT (1u << SL_PLAN_PLACE_LATERAL)
#define POST (1u << SL_PLAN_PLACE_POSTEROLATERAL)
#define SUB (1u << SL_PLAN_PLACE_SUBCOSTAL)
#define CHEST (ANT | LAT | POST)

#define CONSENSUS_PROBE                                                                                      \
    "Volpicelli et al. 2012, 10.1007/s00134-012-2513-4: any probe; linear for the pleura, convex or "        \
    "microconvex "                                                                                           \
    "for B-lines, fluid and consolidation (from memory)"
#define SLIDING "sliding of 10 mm in a breath of 3 s moves at most pi * 10 / 3 mm/s (our assumption)"

static const sl_target_rule targets[SL_TARGETS] = {
    [SL_TARGET_PLEURA] = {"pleura",
                          "pleural line and sliding",
                          SL_PLAN_PLACE_ANTERIOR,
                          CHEST,
                          {SL_TRANSDUCER_LINEAR, SL_TRANSDUCER_MICROCONVEX, SL_TRANSDUCER_CONVEX,
                           SL_TRANSDUCER_PHASED},
                          4,
                          CONSENSUS_PROBE,
                          0,
                          20,
                          "2 cm below the line show whether grain follows it (our assumption)",
                          1,
                          -1,
                          0,
                          "air behind the pleura is a mirror: |R| = 0.9995",
                          true,
                          SL_PI * 10 / 3,
                          SLIDING},
    [SL_TARGET_A_LINES] =
        {"a-lines",
         "A-lines",
         SL_PLAN_PLACE_ANTERIOR,
         CHEST,
         {SL_TRANSDUCER_CONVEX, SL_TRANSDUCER_LINEAR, SL_TRANSDUCER_MICROCONVEX, SL_TRANSDUCER_PHASED},
         4,
         CONSENSUS_PROBE,
         0,
         0,
         "the picture must hold the pleura and two repeats of it, for equal spacing to be seen",
         3,
         -1,
         -28,
         "two reflections at the probe's face, 20 log10(0.9995 * 0.2) = -14 dB each",
         true,
         SL_PI * 10 / 3,
         SLIDING},
    [SL_TARGET_B_LINES] = {"b-lines",
                           "B-lines",
                           SL_PLAN_PLACE_ANTERIOR,
                           CHEST,
                           {SL_TRANSDUCER_CONVEX, SL_TRANSDUCER_MICROCONVEX, SL_TRANSDUCER_PHASED,
                            SL_TRANSDUCER_LINEAR},
                           4,
                           CONSENSUS_PROBE,
                           0,
                           SL_PLAN_Z_LINE_MM,
                           "lines that fade within 2 to 4 cm of the pleura are not B-lines (Lichtenstein, "
                           "10.1186/2110-5820-4-1, from "
                           "memory), so 4 cm below it must be seen",
                           2,
                           -1,
                           SL_PLAN_SCATTER_DB,
                           SL_PLAN_SCATTER_SOURCE,
                           true,
                           SL_PI * 10 / 3,
                           SLIDING},
    [SL_TARGET_CONSOLIDATION] = {"consolidation",
                                 "consolidation",
                                 SL_PLAN_PLACE_POSTEROLATERAL,
                                 CHEST,
                                 {SL_TRANSDUCER_CONVEX, SL_TRANSDUCER_MICROCONVEX, SL_TRANSDUCER_PHASED,
                                  SL_TRANSDUCER_LINEAR},
                                 4,
                                 CONSENSUS_PROBE,
                                 0,
                                 60,
                                 "6 cm behind the pleura (our assumption; set the extent)",
                                 1,
                                 SL_LUNG_CONSOLIDATED,
                                 SL_PLAN_SCATTER_DB,
                                 SL_PLAN_SCATTER_SOURCE,
                                 false,
                                 5,
                                 "air in a bronchus that moves (our assumption)"},
    [SL_TARGET_EFFUSION] = {"effusion",
                            "effusion",
                            SL_PLAN_PLACE_POSTEROLATERAL,
                            LAT | POST,
                            {SL_TRANSDUCER_CONVEX, SL_TRANSDUCER_PHASED, SL_TRANSDUCER_MICROCONVEX,
                             SL_TRANSDUCER_LINEAR},
                            4,
                            CONSENSUS_PROBE,
                            0,
                            80,
                            "fluid to 5 cm (over 800 ml: Vignon et al. 2005, "
                            "10.1097/01.CCM.0000171532.02639.08) and the lung behind it",
                            1,
                            SL_FLUID_PLEURAL,
                            SL_PLAN_SCATTER_DB,
                            SL_PLAN_SCATTER_SOURCE,
                            false,
                            5,
                            "the lung's edge with breathing (our assumption)"},
    [SL_TARGET_EXCURSION] =
        {"excursion",
         "excursion of the diaphragm",
         SL_PLAN_PLACE_SUBCOSTAL,
         SUB | LAT | POST,
         {SL_TRANSDUCER_CONVEX, SL_TRANSDUCER_PHASED, SL_TRANSDUCER_MICROCONVEX},
         3,
         "Boussuges et al. 2009, 10.1378/chest.08-1541: subcostal view of the posterior dome; the probe: "
         "common "
         "practice, no source",
         0,
         130,
         "the posterior dome behind the liver and 5 cm of its path (our assumption; set the extent)",
         1,
         SL_LIVER,
         -20,
         "a smooth dome, 20 dB below a mirror (our assumption)",
         false,
         47 / 0.7,
         "4.7 cm, the lower limit of a deep breath in men (Boussuges 2009), drawn in 0.7 s (our assumption)"},
    [SL_TARGET_THICKNESS] = {"thickness",
                             "thickness of the diaphragm",
                             SL_PLAN_PLACE_LATERAL,
                             LAT,
                             {SL_TRANSDUCER_LINEAR},
                             1,
                             "zone of apposition, linear probe of at least 10 MHz (from memory)",
                             10,
                             10,
                             "two bright lines 2 to 5 mm apart just behind the wall (Boon et al. 2013, "
                             "10.1002/mus.23671, from memory)",
                             1,
                             SL_MUSCLE,
                             -20,
                             "smooth membranes, 20 dB below a mirror (our assumption)",
                             false,
                             5,
                             "thickening of a few mm a breath (our assumption)"},
    [SL_TARGET_SPINE] = {"spine",
                         "spine above the diaphragm",
                         SL_PLAN_PLACE_POSTEROLATERAL,
                         LAT | POST,
                         {SL_TRANSDUCER_CONVEX, SL_TRANSDUCER_PHASED, SL_TRANSDUCER_MICROCONVEX},
                         3,
                         "convex or phased: common practice, no source",
                         0,
                         110,
                         "vertebrae about 11 cm behind the lateral pleura (our assumption; set the extent)",
                         1,
                         SL_FLUID_PLEURAL,
                         SL_PLAN_SCATTER_DB,
                         SL_PLAN_SCATTER_SOURCE,
                         false,
                         5,
                         "breathing (our assumption)"},
};

const sl_target_rule *sl_target_rule_get(sl_target target)
{
    return (int)target >= 0 && target < SL_TARGETS ? &targets[target] : NULL;
}

const char *const sl_rules_names[SL_RULES] = {"consensus", "practice", "least"};
const char *const sl_rules_titles[SL_RULES] = {
    "consensus: shallow, focus on the pleura",
    "practice: structure of interest mid-screen",
    "least: no deeper than the target needs",
};
const char *const sl_rules_focus_sources[SL_RULES] = {
    "consensus texts put it on the pleural line: Demi et al. 2023, 10.1002/jum.16088 (from memory); Rocca et "
    "al., Adv "
    "Respir Med 2023;91:203-223 (second-hand)",
    "lateral resolution is best in the focal zone, usually mid-screen, so the structure of interest belongs "
    "there: "
    "common practice, no source",
    "the beam is narrowest in its focus (diffraction); our rule",
};
const char *const sl_plan_place_names[SL_PLAN_PLACES] = {"anterior", "lateral", "posterolateral",
                                                         "subcostal"};

sl_depth_rule sl_rules_depth(sl_rules rules, const sl_transducer *probe, sl_target target,
                             sl_plan_place place)
{
    static const sl_depth_rule silent = {0, 0, "no value printed for this; the target decides"};
    if (rules == SL_RULES_LEAST || target == SL_TARGET_THICKNESS || target == SL_TARGET_EXCURSION ||
        place == SL_PLAN_PLACE_SUBCOSTAL)
        return silent;
    if (probe->kind == SL_TRANSDUCER_LINEAR) {
        if (target == SL_TARGET_PLEURA)
            return (sl_depth_rule){40, 60,
                                   "4 to 6 cm with a linear probe are enough for the pleura (from memory)"};
        return silent;
    }
    bool deep = place == SL_PLAN_PLACE_POSTEROLATERAL;
    if (rules == SL_RULES_CONSENSUS)
        return deep ? (sl_depth_rule){80, 300,
                                      "deeper than 6 to 8 cm for posterior regions: Rocca et al., Adv Respir "
                                      "Med "
                                      "2023;91:203-223 (second-hand)"}
                    : (sl_depth_rule){
                          60, 80,
                          "6 to 8 cm for anterior and lateral regions: Rocca et al., Adv Respir Med "
                          "2023;91:203-223 (second-hand)"};
    return deep
               ? (sl_depth_rule){160, 190,
                                 "16 to 19 cm for costophrenic and posterolateral points: common practice, "
                                 "no source"}
               : (sl_depth_rule){
                     110, 130, "11 to 13 cm for upper and lower anterior points: common practice, no source"};
}

sl_focus_rule sl_rules_focus(sl_rules rules, sl_target target)
{
    if (rules == SL_RULES_PRACTICE)
        return SL_FOCUS_MIDDLE;
    return targets[target].artifact ? SL_FOCUS_PLEURA : SL_FOCUS_TARGET;
}

int sl_wall_layers(double wall_mm, sl_layer layer[3])
{
    const double skin_mm = 2;
    if (wall_mm <= skin_mm) {
        layer[0] = (sl_layer){SL_SKIN, wall_mm};
        return 1;
    }
    double rest = wall_mm - skin_mm;
    layer[0] = (sl_layer){SL_SKIN, skin_mm};
    layer[1] = (sl_layer){SL_FAT_SUBCUTANEOUS, rest / 2};
    layer[2] = (sl_layer){SL_MUSCLE, rest / 2};
    return 3;
}

static int find(const char *const *names, int count, const char *name)
{
    for (int i = 0; name && i < count; i++)
        if (!strcmp(names[i], name))
            return i;
    return -1;
}

const char *sl_target_name(sl_target target)
{
    const sl_target_rule *rule = sl_target_rule_get(target);
    return rule ? rule->name : "";
}

int sl_target_find(const char *name)
{
    for (int i = 0; name && i < SL_TARGETS; i++)
        if (!strcmp(targets[i].name, name))
            return i;
    return -1;
}

const char *sl_plan_place_name(sl_plan_place place)
{
    return (int)place >= 0 && place < SL_PLAN_PLACES ? sl_plan_place_names[place] : "";
}

int sl_plan_place_find(const char *name)
{
    return find(sl_plan_place_names, SL_PLAN_PLACES, name);
}

const char *sl_rules_name(sl_rules rules)
{
    return (int)rules >= 0 && rules < SL_RULES ? sl_rules_names[rules] : "";
}

int sl_rules_find(const char *name)
{
    return find(sl_rules_names, SL_RULES, name);
}
