/* Sentences for the person who asked: what was left out and why. They belong to the arena. */
#ifndef SL_AGREE_NOTES_H
#define SL_AGREE_NOTES_H

#include "core/arena.h"

typedef struct sl_notes {
    sl_arena *arena;
    int count, room;
    const char **text;
} sl_notes;

void sl_note(sl_notes *notes, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A list of names for a sentence that does not grow without bound: the first eight and how many more. */
typedef struct sl_some_names {
    int count;
    char text[400];
} sl_some_names;

void sl_some_name(sl_some_names *some, const char *name);
/* "a, b, c" or "a, b, ... and 12 more". */
const char *sl_some_names_text(sl_some_names *some);

#endif
