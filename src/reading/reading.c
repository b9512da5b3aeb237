#include "reading/reading.h"

#include "core/units.h"

#include <string.h>

const char *sl_answer_name(sl_answer answer)
{
    static const char *const names[] = {"uncertain", "absent", "present"};
    return (unsigned)answer < 3 ? names[answer] : names[0];
}

sl_reading *sl_reading_new(sl_arena *arena, sl_author_kind by, const char *author, const char *clip)
{
    sl_reading *reading = SL_NEW(arena, 1, sl_reading);
    if (!reading)
        return NULL;
    reading->by = by;
    reading->author = sl_arena_text(arena, author ? author : "");
    reading->clip = sl_arena_text(arena, clip ? clip : "");
    reading->method = "";
    reading->finding = SL_NEW(arena, SL_CODES, sl_finding);
    return reading->author && reading->clip && reading->finding ? reading : NULL;
}

const sl_finding *sl_reading_get(const sl_reading *reading, sl_code code)
{
    for (int i = 0; reading && i < reading->findings; i++)
        if (reading->finding[i].code == code)
            return &reading->finding[i];
    return NULL;
}

sl_finding *sl_reading_put(sl_reading *reading, sl_code code)
{
    sl_finding *finding = NULL;
    for (int i = 0; i < reading->findings; i++)
        if (reading->finding[i].code == code)
            finding = &reading->finding[i];
    if (!finding)
        finding = &reading->finding[reading->findings++]; /* room for every code, one each: never past the end */
    memset(finding, 0, sizeof *finding);
    finding->code = code;
    finding->value = finding->low = finding->high = finding->confidence = SL_UNKNOWN;
    finding->reason = "";
    return finding;
}
