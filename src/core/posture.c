#include "core/posture.h"

#include <ctype.h>
#include <stddef.h>

static const char *const keys[SL_POSTURES] = {"", "supine", "semirecumbent", "sitting", "prone", "left-side", "right-side"};

const char sl_posture_keys[] = "supine, semirecumbent, sitting, prone, left-side, right-side";

const char *sl_posture_key(sl_posture posture)
{
    return (unsigned)posture < SL_POSTURES ? keys[posture] : "";
}

static int same(const char *text, const char *key)
{
    for (; *text && *key; text++, key++) {
        int c = tolower((unsigned char)*text);
        if ((c == ' ' || c == '_' ? '-' : c) != *key)
            return 0;
    }
    return !*text && !*key;
}

sl_posture sl_posture_by_key(const char *key)
{
    for (int i = 1; key && i < SL_POSTURES; i++)
        if (same(key, keys[i]))
            return (sl_posture)i;
    return SL_POSTURE_UNKNOWN;
}

static const char *const breathing_keys[SL_BREATHINGS] = {"", "spontaneous", "ventilated"};

const char *sl_breathing_key(sl_breathing breathing)
{
    return (unsigned)breathing < SL_BREATHINGS ? breathing_keys[breathing] : "";
}

sl_breathing sl_breathing_by_key(const char *key)
{
    for (int i = 1; key && i < SL_BREATHINGS; i++)
        if (same(key, breathing_keys[i]))
            return (sl_breathing)i;
    return SL_BREATHING_UNKNOWN;
}
