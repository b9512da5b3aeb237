#include "agree/notes.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { NAMED = 8 };

void sl_note(sl_notes *notes, const char *format, ...)
{
    char sentence[1024];
    va_list args;
    va_start(args, format);
    vsnprintf(sentence, sizeof sentence, format, args);
    va_end(args);
    if (notes->count == notes->room) {
        int room = notes->room ? 2 * notes->room : 16;
        const char **more = SL_NEW(notes->arena, room, const char *);
        if (!more)
            return;
        if (notes->count)
            memcpy(more, notes->text, sizeof *more * (size_t)notes->count);
        notes->text = more;
        notes->room = room;
    }
    const char *kept = sl_arena_text(notes->arena, sentence);
    if (kept)
        notes->text[notes->count++] = kept;
}

void sl_some_name(sl_some_names *some, const char *name)
{
    size_t used = strlen(some->text);
    if (some->count++ < NAMED)
        snprintf(some->text + used, sizeof some->text - used - 40, "%s%.40s", used ? ", " : "", name);
}

const char *sl_some_names_text(sl_some_names *some)
{
    size_t used = strlen(some->text);
    if (some->count > NAMED)
        snprintf(some->text + used, sizeof some->text - used, " and %d more", some->count - NAMED);
    some->count = 0;
    return some->text;
}
