#include "acoustics/media.h"

#include "core/units.h"

#include <stddef.h>
#include <string.h>

/* Sources used several times. IT'IS: tissue database, speed, density and the attenuation at 500 kHz; the
 * number is that value in Np/m, the exponent is from memory. */
#define ITIS(np_per_m) "IT'IS tissue database (" np_per_m " Np/m at 0.5 MHz)"
#define ITIS_EXPONENT(np_per_m) ITIS(np_per_m) "; exponent from memory"
#define MAST "Mast, ARLO 2000;1:37-42, 10.1121/1.1336896 (from memory)"
#define FROM_MEMORY "from memory"
#define NO_ECHO "no scatterers"

#define NONE (-HUGE_VAL)

static const sl_medium media[SL_MEDIA] = {
    [SL_AIR_BODY] = {"air-37",
                     353.1,
                     1.138,
                     {1.6, 2.0},
                     1.6,
                     12.0,
                     NONE,
                     "ideal gas; attenuation from memory (textbooks print 1.6 to 12)",
                     NO_ECHO},
    [SL_AIR_ROOM] = {"air-20",
                     343.2,
                     1.204,
                     {1.6, 2.0},
                     1.6,
                     12.0,
                     NONE,
                     "ideal gas; attenuation from memory (textbooks print 1.6 to 12)",
                     NO_ECHO},
    [SL_WATER_ROOM] = {"water-20",
                       1482.38,
                       998.2,
                       {0.0022, 2.0},
                       0.0020,
                       0.0024,
                       NONE,
                       "Marczak 1997; IT'IS (0.0253 Np/m at 1 MHz)",
                       NO_ECHO},
    [SL_WATER_BODY] = {"water-37",
                       1523.65,
                       993.3,
                       {0.0015, 2.0},
                       0.0014,
                       0.0016,
                       NONE,
                       "Marczak 1997; attenuation Pinkerton 1949 (from memory)",
                       NO_ECHO},
    [SL_SOFT_TISSUE] = {"soft-tissue",
                        1540.0,
                        1060.0,
                        {0.5, 1.0},
                        0.5,
                        0.7,
                        0.0,
                        "scanner calibration, AIUM convention (from memory)",
                        "taken as liver"},
    [SL_SKIN] = {"skin",
                 1624.0,
                 1109.0,
                 {1.84, 1.0},
                 1.0,
                 3.5,
                 6.0,
                 ITIS("10.579"),
                 "echogenic beside muscle; common practice, no source"},
    [SL_FAT] = {"fat", 1440.2, 911.0, {0.379, 1.086}, 0.36, 0.63, -3.0, ITIS_EXPONENT("2.0527"), FROM_MEMORY},
    [SL_FAT_SUBCUTANEOUS] = {"fat-subcutaneous",
                             1477.0,
                             911.0,
                             {0.61, 1.0},
                             0.48,
                             0.8,
                             -8.0,
                             ITIS("3.5"),
                             "darker than liver; common practice, no source"},
    [SL_MUSCLE] =
        {"muscle", 1588.4, 1090.0, {0.618, 1.083}, 0.5, 1.3, -6.0, ITIS_EXPONENT("3.3564"), FROM_MEMORY},
    [SL_FASCIA] = {"fascia",
                   1613.0,
                   1120.0,
                   {1.57, 1.0},
                   1.0,
                   2.0,
                   8.0,
                   MAST " (connective tissue)",
                   "bright sheets; common practice, no source"},
    [SL_CARTILAGE] = {"cartilage",
                      1639.6,
                      1100.0,
                      {5.0, 1.0},
                      2.0,
                      7.0,
                      -12.0,
                      "IT'IS speed and density; attenuation from memory",
                      "common practice, no source"},
    [SL_BONE] =
        {"bone", 3514.9, 1908.0, {4.74, 1.0}, 4.74, 22.0, 0.0, ITIS("27.2765"), "hidden by its own shadow"},
    [SL_BLOOD] =
        {"blood", 1578.2, 1050.0, {0.206, 1.05}, 0.15, 0.21, -25.0, ITIS_EXPONENT("1.1436"), FROM_MEMORY},
    [SL_LIVER] = {"liver",
                  1585.7,
                  1079.0,
                  {0.60, 1.0},
                  0.5,
                  0.7,
                  0.0,
                  ITIS("3.4575"),
                  "Lu et al., Ultrasound Med Biol 1999;25:1047, 10.1016/s0301-5629(99)00055-1"},
    [SL_SPLEEN] =
        {"spleen",
         1567.0,
         1089.0,
         {0.5, 1.0},
         0.4,
         0.6,
         -4.0,
         FROM_MEMORY,
         "below liver: Fei & Shung, J Acoust Soc Am 1985;78:871 (abstract); the amount from memory"},
    [SL_LUNG_AERATED] = {"lung-aerated",
                         949.3,
                         394.0,
                         {20.1, 1.0},
                         20.1,
                         41.0,
                         10.0,
                         ITIS("115.47"),
                         "air spaces; common practice, no source"},
    [SL_LUNG_COLLAPSED] = {"lung-collapsed",
                           1500.0,
                           1050.0,
                           {14.1, 1.0},
                           2.0,
                           14.1,
                           0.0,
                           ITIS("80.94"),
                           "liver-like; common practice, no source"},
    [SL_LUNG_CONSOLIDATED] = {"lung-consolidated",
                              1570.0,
                              1050.0,
                              {1.0, 1.0},
                              0.6,
                              2.0,
                              -1.0,
                              FROM_MEMORY,
                              "liver-like; common practice, no source"},
    [SL_FLUID_PLEURAL] =
        {"fluid-pleural", 1530.0, 1012.0, {0.01, 1.5}, 0.005, 0.02, NONE, FROM_MEMORY, NO_ECHO},
    [SL_FLUID_ECHOGENIC] = {"fluid-echogenic",
                            1545.0,
                            1030.0,
                            {0.1, 1.1},
                            0.02,
                            0.2,
                            -20.0,
                            FROM_MEMORY,
                            "between water and blood; common practice, no source"},
};

const sl_medium *sl_medium_get(sl_medium_id id)
{
    return (int)id >= 0 && id < SL_MEDIA ? &media[id] : NULL;
}

int sl_medium_find(const char *name)
{
    for (int i = 0; name && i < SL_MEDIA; i++)
        if (!strcmp(media[i].name, name))
            return i;
    return -1;
}

double sl_impedance_mrayl(double density_kg_m3, double speed_m_s)
{
    return density_kg_m3 * speed_m_s * 1e-6;
}

double sl_medium_impedance_mrayl(sl_medium_id id)
{
    const sl_medium *medium = sl_medium_get(id);
    return medium ? sl_impedance_mrayl(medium->density_kg_m3, medium->speed_m_s) : SL_UNKNOWN;
}

double sl_water_speed_m_s(double celsius)
{
    static const double c[] = {1402.385, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9};
    if (!(celsius >= 0 && celsius <= 95))
        return SL_UNKNOWN;
    double sum = 0;
    for (int i = 5; i >= 0; i--)
        sum = sum * celsius + c[i];
    return sum;
}

double sl_air_speed_m_s(double celsius)
{
    return celsius > -273.15 ? sqrt(1.4 * 287.05 * (celsius + 273.15)) : SL_UNKNOWN;
}
