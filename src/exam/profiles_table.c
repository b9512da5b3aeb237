/* The decision tree of Lichtenstein and Meziere, Chest 2008;134:117-125, 10.1378/chest.07-2800: acute respiratory failure in
 * intensive care, 260 analysed; uncertain and rare diagnoses excluded (13.6 %). Counts behind the printed shares: from memory
 * but where the abstract confirms them (97/95, 89/97, 81/99, 89/94); an erratum, Chest 2013;144:721, was not read. */
#include "exam/profiles_table.h"

#define TREE "Lichtenstein and Meziere, Chest 2008;134:117-125, 10.1378/chest.07-2800 (n = 260, intensive care)"

const sl_profile sl_profiles[SL_PROFILE_ROWS] = {
    [SL_PROFILE_PNEUMOTHORAX] = {"pneumothorax", "A'+lung point", "absent anterior sliding, A-lines, and a lung point", "pneumothorax", 8, 9, 251, 251, "", TREE},
    [SL_PROFILE_A_PRIME] = {"a-prime", "A'", "absent anterior sliding and A-lines, no lung point recorded", "several conditions: further tests", 0, 0, 0, 0,
                            "a search for the lung point", TREE},
    [SL_PROFILE_B_PRIME] = {"b-prime", "B'", "absent anterior sliding and B-lines", "pneumonia", 9, 83, 177, 177, "", TREE},
    [SL_PROFILE_B] = {"b", "B", "sliding, anterior B-lines on both sides", "pulmonary oedema", 62, 64, 187, 196,
                      "signs that speak for lung injury instead: uneven pleura, spared areas, consolidation (Copetti et al. 2008)", TREE},
    [SL_PROFILE_AB] = {"ab", "A/B", "anterior B-lines on one side, A-lines on the other", "pneumonia", 12, 83, 177, 177, "", TREE},
    [SL_PROFILE_C] = {"c", "C", "anterior consolidation", "pneumonia", 18, 83, 175, 177, "", TREE},
    [SL_PROFILE_A_POSTERIOR] = {"a-posterior", "A, posterolateral", "sliding, anterior A-lines on both sides, posterolateral consolidation or effusion",
                                "pneumonia", 35, 83, 170, 177, "free leg veins", TREE},
    [SL_PROFILE_A_NUDE] = {"a-nude", "A, nothing posterolateral", "sliding, anterior A-lines on both sides, nothing posterolateral", "COPD or asthma", 74, 83,
                           172, 177, "free leg veins (with a thrombosed one: pulmonary embolism, 17 of 21, 238 of 239)", TREE},
};
