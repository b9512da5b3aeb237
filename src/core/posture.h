/* How the person lay or sat while a clip was taken, and who moved the air. Fluid and gravity depend on it; unknown is said
 * as unknown. */
#ifndef SL_CORE_POSTURE_H
#define SL_CORE_POSTURE_H

typedef enum sl_posture {
    SL_POSTURE_UNKNOWN,
    SL_POSTURE_SUPINE,
    SL_POSTURE_SEMIRECUMBENT,
    SL_POSTURE_SITTING,
    SL_POSTURE_PRONE,
    SL_POSTURE_LEFT_SIDE,  /* lying on the left side */
    SL_POSTURE_RIGHT_SIDE,
    SL_POSTURES
} sl_posture;

/* In files: "supine", "left-side"; "" for unknown. */
const char *sl_posture_key(sl_posture posture);
/* Of a key, whatever its capitals, with blanks or underscores for the hyphen; SL_POSTURE_UNKNOWN for anything else. */
sl_posture sl_posture_by_key(const char *key);
/* "supine, semirecumbent, ..." for sentences. */
extern const char sl_posture_keys[];

typedef enum sl_breathing { SL_BREATHING_UNKNOWN, SL_BREATHING_OWN, SL_BREATHING_VENTILATED, SL_BREATHINGS } sl_breathing;

/* In files: "spontaneous", "ventilated"; "" for unknown. And back, SL_BREATHING_UNKNOWN for anything else. */
const char *sl_breathing_key(sl_breathing breathing);
sl_breathing sl_breathing_by_key(const char *key);

#endif
