#include "chest/private.h"

/* Attenuation and impedance: physics sheet A1 (its sources: IT'IS tissue database, Duck 1990, Szabo 2014); bone within
 * the literature's 5 to 22. Backscatter: amplitude of the speckle in one resolution cell against a perfect mirror, set
 * so that the order and the distances are those of clinical pictures; common practice, no source. */
const sl_medium_row sl_tissue_table[SL_TISSUES] = {
    [SL_SKIN] = {"skin", 1.84, 1, 1.801, -24},
    [SL_FAT] = {"fat", 0.61, 1, 1.346, -34},
    [SL_MUSCLE] = {"muscle", 0.618, 1.083, 1.731, -32},
    [SL_BONE] = {"cortical bone", 10, 1, 6.706, -40},
    [SL_CARTILAGE] = {"cartilage", 2.5, 1, 1.804, -50},
    [SL_LIVER] = {"liver", 0.60, 1, 1.711, -32},
    [SL_SPLEEN] = {"spleen", 0.55, 1, 1.72, -31},
    [SL_BLOOD] = {"blood", 0.206, 1.05, 1.657, -60},
    [SL_FLUID] = {"pleural fluid", 0.015, 1, 1.55, -75},
    [SL_SOLID_LUNG] = {"solid lung", 0.8, 1, 1.65, -31},
    [SL_AIR] = {"air", 0, 1, 0.000402, -80}, /* nothing comes back through it; what is heard behind it is older */
    [SL_GEL] = {"gel", 0.0022, 2, 1.5, -80},
};
