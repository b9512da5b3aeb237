/* Change between two examinations of one person: zone by zone and in total, aeration gained or lost by the published table,
 * each against the smallest change that the program's own repeatability can show. */
#ifndef SL_EXAM_CHANGE_H
#define SL_EXAM_CHANGE_H

#include "exam/schemes.h"

/* An earlier examination as its exam.json says. */
typedef struct sl_old_exam {
    const char *date, *person, *protocol, *title;
    int zones;
    const sl_zone **zone;
    sl_level *level[SL_SCHEMES]; /* one a zone; level -1: not told or not stated by that version */
    bool has[SL_SCHEMES];
} sl_old_exam;

/* SL_IO, SL_FORMAT: with a sentence that names the file. All memory is from `arena`. */
sl_status sl_old_exam_load(const char *path, sl_arena *arena, sl_old_exam *old, sl_error *error);

typedef enum sl_change_word { SL_CHANGE_OPEN, SL_CHANGE_NONE, SL_CHANGE_MORE_AIR, SL_CHANGE_LESS_AIR } sl_change_word;
const char *sl_change_name(sl_change_word word); /* "not told", "no change that can be shown", "more air", "less air" */

typedef struct sl_zone_change {
    const sl_zone *zone;
    int before, after;     /* levels, -1 not told */
    double low, high;      /* of after - before */
    int points;            /* reaeration */
    sl_change_word word;
} sl_zone_change;

typedef struct sl_exam_change {
    const sl_old_exam *old;
    sl_scheme scheme;       /* the levels compared */
    int zones;
    sl_zone_change *zone;   /* those of the examination's scheme of zones */
    int compared;           /* with a level on both dates */
    int total;              /* after - before over these, negative: more air */
    double least_total;     /* smallest change of the total that can be shown (95 %) */
    double least_zone;      /* and of one zone */
    int points;             /* reaeration, sum */
    sl_change_word word;
    bool same_protocol;
    int remarks;
    const char *remark[6];  /* whole sentences: another person, another scheme of zones, zones seen once only ... */
} sl_exam_change;

sl_status sl_exam_compare(const sl_exam *exam, const sl_old_exam *old, sl_arena *arena, sl_exam_change *change, sl_error *error);

#endif
