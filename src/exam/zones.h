/* Zones in anatomical terms, the schemes that use them, and finding a zone in words.
 *
 * Sources: eight zones (upper and lower anterior, upper and basal lateral, each side) Volpicelli et al., Am J Emerg Med
 * 2006;24:689-696; twelve zones (with upper and lower posterior) as drawn in The Ultrasound Journal 2018,
 * 10.1186/s13089-018-0096-1; fourteen zones Soldati et al., J Ultrasound Med 2020;39:1413-1419; three points a side
 * (upper, lower, posterolateral) Lichtenstein and Meziere, Chest 2008;134:117-125. */
#ifndef SL_EXAM_ZONES_H
#define SL_EXAM_ZONES_H

#include "core/arena.h"
#include "core/error.h"
#include "core/posture.h"

#include <stdbool.h>

typedef enum sl_side { SL_SIDE_NONE, SL_SIDE_RIGHT, SL_SIDE_LEFT } sl_side;

typedef struct sl_zone {
    const char *key;    /* in files: "R-upper-anterior" */
    const char *name;   /* for people: "right upper anterior" */
    const char *place;  /* without the side: "upper anterior" */
    sl_side side;
    double from, to;    /* place on the unrolled half chest: 0 = sternum, 1 = spine */
    double top, bottom; /* 0 = head, 1 = foot */
} sl_zone;

enum { SL_ZONES_MOST = 24 };

/* A scheme: which zones are looked at. `number` maps the customary numbers of a side (1 ..) to zones. */
typedef struct sl_protocol {
    const char *key;  /* "8-zones" */
    const char *name; /* "eight zones" */
    int zones;
    const sl_zone *zone[SL_ZONES_MOST]; /* right side first, from the sternum to the spine, head first */
    int numbers;                        /* how many of `place` are numbered a side */
    const char *place[8];               /* place of number 1 .. numbers, the same on both sides */
    sl_posture posture;                 /* that it asks for; SL_POSTURE_UNKNOWN: it asks for none */
} sl_protocol;

/* All zones known; `*count` of them. */
const sl_zone *sl_zones(int *count);
const sl_zone *sl_zone_by_key(const char *key);
const sl_zone *sl_zone_of(sl_side side, const char *place);

/* Schemes in the order in which they are tried; ends with NULL. The first is the base one. */
const sl_protocol *const *sl_protocols(void);
const sl_protocol *sl_protocol_by_key(const char *key);
/* The user's own, from a file (docs/protocol.schema.json); memory from `arena`. SL_IO, SL_FORMAT with a sentence that names
 * the file, what is wrong in it and what is allowed. */
sl_status sl_protocol_load(const char *path, sl_arena *arena, const sl_protocol **protocol, sl_error *error);

/* The zone that the words of `text` name ("R1", "patient_7_L3", "right upper anterior", "Anterior-Lower_LEFT", "RUA"),
 * or NULL when none or more than one is named. Side and number are read by `scheme`'s numbers (NULL: twelve zones,
 * whose first four are those of eight). */
const sl_zone *sl_zone_in_words(const char *text, const sl_protocol *scheme);
/* Of `text`, only the words that sl_zone_in_words understands, blanks between. */
void sl_zone_words(const char *text, char *words, size_t room);

#endif
