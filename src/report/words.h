/* Findings in words for a person: value in words and units, interval, where it comes from. Never a bare dash, and no
 * millimetres without a scale. The words are those of a language file (language.h). */
#ifndef SL_REPORT_WORDS_H
#define SL_REPORT_WORDS_H

#include "exam/change.h"
#include "exam/exam.h"
#include "report/language.h"

typedef struct sl_words {
    char label[80];     /* "B-line coverage" */
    char value[120];    /* "62 % of the space", "none seen", "could not tell" */
    char interval[80];  /* "55 to 70 %" or "" */
    char evidence[120]; /* "frames 12 to 40, 0.5 to 1.6 s" or "" */
    char reason[320];   /* why it could not be told, or a remark; "" */
} sl_words;

/* `view` of the clip the finding is from. */
void sl_words_finding(const sl_language *say, const sl_finding *finding, const sl_view *view, sl_words *words);

/* Short forms for the table: "seen", "none seen", "6", "62 %", "31 mm", "not told", "". */
void sl_words_short(const sl_language *say, const sl_reading *reading, sl_code code, char *text, size_t room);

/* "convex, 92 frames in 4.0 s, 11.2 cm deep (by the ruler in the picture)". */
void sl_words_clip(const sl_language *say, const sl_exam_clip *clip, char *text, size_t room);

/* Zone in a few words: "R upper lateral"; "no zone" when not assigned. */
void sl_words_zone(const sl_language *say, const sl_zone *zone, char *text, size_t room);
/* "right upper lateral", "upper lateral"; for no zone "no zone assigned". */
void sl_words_zone_full(const sl_language *say, const sl_zone *zone, char *text, size_t room);
/* "supine"; "" when it is not known. */
const char *sl_words_posture(const sl_language *say, sl_posture posture);
const char *sl_words_place(const sl_language *say, const sl_zone *zone);

/* What the finding is and by which source, from the language file. */
const char *sl_words_name(const sl_language *say, const sl_finding_info *info);
const char *sl_words_source(const sl_language *say, const sl_finding_info *info);

/* "more air" ...; "+2", "0", "\u22121" of a change. */
const char *sl_words_change(const sl_language *say, sl_change_word word);
const char *sl_words_signed(int value, char text[32]);

/* "status" of readings.csv: read, unreadable, failed. */
const char *sl_words_state(sl_clip_state state);

/* The caution and the limits in English, for files that have one language. */
extern const char sl_words_caution[];
extern const char sl_words_limits[];

#endif
