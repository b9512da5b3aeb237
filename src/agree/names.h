/* Names of clips and persons: finding the same clip in two files, and the person in a file name. */
#ifndef SL_AGREE_NAMES_H
#define SL_AGREE_NAMES_H

#include "core/arena.h"

#include <stdbool.h>
#include <stddef.h>

/* Text to number, growing; keys are copied into the arena. Zeroed but for `arena` is empty. */
typedef struct sl_names {
    sl_arena *arena;
    int count, room;
    struct sl_name_slot {
        const char *key; /* NULL: empty */
        int value;
    } *slot;
} sl_names;

/* The number of `key`, or -1. */
int sl_names_get(const sl_names *names, const char *key);
/* Sets it if absent and returns the number kept; -1 when memory is out. */
int sl_names_add(sl_names *names, const char *key, int value);

/* The last part of a path (either slash), blanks cut, lower case. */
void sl_clip_key(const char *path, char *key, size_t room);
/* Cuts a picture's or video's extension off a key; false when there is none. */
bool sl_clip_stem(char *key);

/* The person in a clip's name: the part of it that `pattern` matches, e.g. "patient_<n>_" gives "patient_13" of
 * "patient_13_R1.mp4" (<n> is a run of letters and digits). With `pattern` NULL the usual words are looked for
 * (patient, person, subject, participant, volunteer, case ... and a number). False when there is no match. */
bool sl_person_in_name(const char *name, const char *pattern, char *person, size_t room);

/* "b lines (noted)" -> "blinesnoted": letters and digits, lower case. */
void sl_plain_word(const char *text, char *plain, size_t room);

#endif
