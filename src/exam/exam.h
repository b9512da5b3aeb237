/* An examination: zones, each with its clips and readings; a first score per zone and the total. */
#ifndef SL_EXAM_EXAM_H
#define SL_EXAM_EXAM_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/read_clip.h"

#include <stdbool.h>

typedef enum sl_side { SL_SIDE_NONE, SL_SIDE_RIGHT, SL_SIDE_LEFT } sl_side;

/* Zones in anatomical terms, one table (zones.c). */
typedef struct sl_zone {
    const char *key;    /* in files: "R-upper-anterior" */
    const char *name;   /* for people: "right upper anterior" */
    sl_side side;
    double from, to;    /* place on the unrolled half chest: 0 = sternum, 1 = spine */
    double top, bottom; /* 0 = head, 1 = foot */
} sl_zone;

typedef struct sl_exam_clip {
    const char *path;
    const sl_zone *zone;       /* NULL: not assigned */
    const char *zone_from;     /* "exam.csv", "file name" or "" */
    double stated_depth_cm;    /* 0 = not stated */
    const char *notes;
    sl_clip_result result;
} sl_exam_clip;

typedef struct sl_zone_score {
    const sl_zone *zone;
    int score;          /* -1: none */
    double low, high;   /* what the uncertain ones leave open */
    int clips;
    int decisive;       /* index of the clip that gave it, -1 */
} sl_zone_score;

typedef struct sl_exam {
    const char *title, *date, *person, *question; /* from exam.csv's neighbours exam-info.json or "" */
    bool invented;      /* demo data, marked as such everywhere */
    int clips;
    sl_exam_clip *clip;
    int zones;
    sl_zone_score *zone;
    int total, total_of, zones_scored; /* total of the scored zones, 3 x that number */
    double total_low, total_high;
} sl_exam;

/* Collects the clips of folders and files, in a fixed order. Fills zones and depths from exam.csv or file names.
 * SL_IO / SL_USAGE when nothing is there at all. */
sl_status sl_exam_collect(const char *const *paths, int count, sl_arena *arena, sl_exam *exam, sl_error *error);

/* Scores after the clips were read. */
void sl_exam_score(sl_exam *exam, sl_arena *arena);

#endif
