/* Findings in words for a person: value in words and units, interval, where it comes from. Never a bare dash, and no
 * millimetres without a scale. */
#ifndef SL_REPORT_WORDS_H
#define SL_REPORT_WORDS_H

#include "exam/exam.h"

typedef struct sl_words {
    char label[64];     /* "B-line coverage" */
    char value[96];     /* "62 % of the space", "none seen", "could not tell" */
    char interval[64];  /* "55 to 70 %" or "" */
    char evidence[96];  /* "frames 12 to 40, 0.5 to 1.6 s" or "" */
    char reason[256];   /* why it could not be told, or a remark; "" */
} sl_words;

/* `view` of the clip the finding is from. */
void sl_words_finding(const sl_finding *finding, const sl_view *view, sl_words *words);

/* Short forms for the table: "present", "none seen", "6", "62 %", "31 mm", "not told", "". */
void sl_words_short(const sl_reading *reading, sl_code code, char *text, size_t room);

/* "convex, 92 frames in 4.0 s, 11.2 cm deep (by the ruler in the picture)". */
void sl_words_clip(const sl_exam_clip *clip, char *text, size_t room);

/* Zone in a few words: "R upper lateral"; "no zone" when not assigned. */
void sl_words_zone(const sl_zone *zone, char *text, size_t room);

/* "status" of readings.csv: read, unreadable, failed. */
const char *sl_words_state(sl_clip_state state);

/* The caution, the limits (two sentences) and what was done (one), for every page. */
extern const char sl_words_caution[];
extern const char sl_words_limits[];
extern const char sl_words_method[];

#endif
