/* The media that sound meets in a chest: speed, density, attenuation and backscatter, with the source of each
 * value.
 *
 * Attenuation carries its units in its type: `sl_attenuation` is always dB/cm at 1 MHz with its power law,
 * and is made from nepers per metre only through sl_attenuation_from_np_per_m(), so that the two units cannot
 * be mixed. (The IT'IS tissue database prints Np/m with f in Hz: the classic mistake.) Each medium keeps its
 * own power; water and air (2) never share a constant with tissue (about 1). */
#ifndef SL_ACOUSTICS_MEDIA_H
#define SL_ACOUSTICS_MEDIA_H

/* alpha(f) = db_per_cm * (f / 1 MHz)^power, one way. */
typedef struct sl_attenuation {
    double db_per_cm; /* at 1 MHz */
    double power;
} sl_attenuation;

typedef enum sl_medium_id {
    SL_AIR_BODY,    /* 37 degrees C, 1 atm */
    SL_AIR_ROOM,    /* 20 degrees C */
    SL_WATER_ROOM,  /* 20 degrees C */
    SL_WATER_BODY,  /* 37 degrees C */
    SL_SOFT_TISSUE, /* what scanners are calibrated to: 1540 m/s */
    SL_SKIN,
    SL_FAT, /* inside the body */
    SL_FAT_SUBCUTANEOUS,
    SL_MUSCLE,
    SL_FASCIA, /* connective tissue; also pleural membrane and diaphragm's central tendon */
    SL_CARTILAGE,
    SL_BONE, /* cortical */
    SL_BLOOD,
    SL_LIVER,
    SL_SPLEEN,
    SL_LUNG_AERATED, /* as an effective fluid */
    SL_LUNG_COLLAPSED,
    SL_LUNG_CONSOLIDATED,
    SL_FLUID_PLEURAL,   /* simple effusion */
    SL_FLUID_ECHOGENIC, /* with particles: pus, blood */
    SL_MEDIA
} sl_medium_id;

typedef struct sl_medium {
    const char *name; /* for a scenario file: "muscle" */
    double speed_m_s;
    double density_kg_m3;
    sl_attenuation attenuation;
    double attenuation_low, attenuation_high; /* dB/cm at 1 MHz: the range that the literature spans */
    double backscatter_db; /* at 3 MHz, relative to healthy liver (SL_LIVER_BACKSCATTER); -HUGE_VAL = none */
    const char *source;    /* of speed, density and attenuation */
    const char *backscatter_source;
} sl_medium;

/* Backscatter coefficient of healthy liver at 3 MHz, 1/(cm sr): Lu et al., Ultrasound Med Biol
 * 1999;25:1047-1054, 10.1016/s0301-5629(99)00055-1 (35 volunteers; attenuation there 1.66 dB/cm at 3 MHz =
 * 0.55 dB/cm/MHz). */
#define SL_LIVER_BACKSCATTER 0.5e-3

/* The row of a medium; NULL when `id` is out of range. Static. */
const sl_medium *sl_medium_get(sl_medium_id id);

/* Its id by name, or -1. */
int sl_medium_find(const char *name);

/* Z = rho c in MRayl (1e6 kg m^-2 s^-1). */
double sl_impedance_mrayl(double density_kg_m3, double speed_m_s);
double sl_medium_impedance_mrayl(sl_medium_id id);

/* Speed of sound in pure water at normal pressure, 0 to 95 degrees C: Marczak, J Acoust Soc Am 1997;102:2776,
 * 10.1121/1.420332. NAN outside. */
double sl_water_speed_m_s(double celsius);

/* Speed of sound in dry air as an ideal gas: sqrt(1.4 * 287.05 * T). */
double sl_air_speed_m_s(double celsius);

#endif
