#include "report/volumes_words.h"

#include "core/units.h"
#include "report/words.h"

#include <stdio.h>

void sl_volumes_head(const sl_language *say, const sl_exam_clip *clip, const sl_exam_fluid *fluid, char *text, size_t room)
{
    char zone[120], number[32];
    sl_words_zone_full(say, clip->zone, zone, sizeof zone);
    if (sl_known(fluid->separation_mm))
        sl_say_in(say, SL_P_FLUID_CLIP, text, room, (const char *const[]){zone, sl_say_number(say, fluid->separation_mm, 0, number), NULL});
    else
        sl_say_in(say, SL_P_FLUID_CLIP_UNSCALED, text, room, (const char *const[]){zone, NULL});
}

static void formula_line(const sl_language *say, const sl_volume *v, char *text, size_t room)
{
    char formula[160], why[160], ml[32], low[32], high[32];
    sl_say_stated(say, v->formula, formula, sizeof formula);
    if (!v->applies)
        sl_say_in(say, SL_P_FLUID_NOT, text, room,
                  (const char *const[]){v->name, formula, sl_say_stated(say, v->why_not, why, sizeof why), NULL});
    else if (sl_known(v->low_ml))
        sl_say_in(say, SL_P_FLUID_APPLIES, text, room,
                  (const char *const[]){v->name, formula, sl_say_number(say, v->ml, 0, ml), sl_say_number(say, v->low_ml, 0, low),
                                        sl_say_number(say, v->high_ml, 0, high), v->error, NULL});
    else
        sl_say_in(say, SL_P_FLUID_APPLIES_OPEN, text, room,
                  (const char *const[]){v->name, formula, sl_say_number(say, v->ml, 0, ml), v->error, NULL});
}

bool sl_volumes_line(const sl_language *say, const sl_exam_fluid *fluid, int line, char *text, size_t room, bool *quiet)
{
    char least[32], most[32];
    int place = 0;
    for (int used = 1; used >= 0; used--) {
        *quiet = !used;
        for (int i = 0; i < SL_VOLUMES; i++)
            if (fluid->volume[i].applies == (bool)used && place++ == line) {
                formula_line(say, &fluid->volume[i], text, room);
                return true;
            }
        if (used && place++ == line) {
            if (fluid->applying > 1)
                sl_say_in(say, SL_P_FLUID_SPAN, text, room,
                          (const char *const[]){sl_say_number(say, fluid->least_ml, 0, least),
                                                sl_say_number(say, fluid->most_ml, 0, most), NULL});
            else
                snprintf(text, room, "%s", sl_say(say, fluid->applying ? SL_P_FLUID_ALONE : SL_P_FLUID_NONE));
            return true;
        }
    }
    return false;
}
