/* A study: a folder with the reads of several people of the same clips, kept apart, and what was settled where they
 * differ, kept beside them. Files are only added to; nobody's read is ever overwritten.
 *
 *   STUDY/reads/NAME-1.json     first sitting of reader NAME (a second sitting is -2, for repeatability)
 *   STUDY/keys, STUDY/clips     what the codes of blind lists stand for, and the clips under them (blind.h)
 *   STUDY/settled.jsonl         one line a decision; a later line on the same point counts, the earlier ones stay */
#ifndef SL_AGREE_STUDY_H
#define SL_AGREE_STUDY_H

#include "agree/reads.h"

typedef struct sl_sitting {
    const char *reader;
    int number;
    sl_reads reads;
} sl_sitting;

typedef struct sl_settled {
    const char *clip, *by, *why, *when;
    sl_code code;
    const sl_finding *finding; /* the decision */
} sl_settled;

typedef struct sl_study {
    sl_arena *arena;
    const char *folder;
    int sittings;            /* sorted by reader, then number */
    sl_sitting *sitting;
    int clips;
    const char **clip;       /* sorted */
    int decisions;
    sl_settled *decision;
} sl_study;

/* Stores the reads as sitting `number` of `reader`. SL_USAGE when it is there already, or the name cannot be a file's. */
sl_status sl_study_enter(const char *folder, const char *reader, int number, const sl_reads *reads, const char *when,
                         sl_error *error);

/* Loads everything. A damaged file becomes a note and is left out. */
sl_status sl_study_load(const char *folder, sl_arena *arena, sl_notes *notes, sl_study *study, sl_error *error);

/* SL_USAGE with a sentence when reader and number cannot name a sitting's file. */
sl_status sl_sitting_name_fits(const char *reader, int number, sl_error *error);

/* What sitting `s` says of this clip and code, or NULL. */
const sl_finding *sl_study_says(const sl_study *study, int sitting, const char *clip, sl_code code);
/* The decision that counts, or NULL. */
const sl_settled *sl_study_settled(const sl_study *study, const char *clip, sl_code code);

/* Adds a decision; SL_USAGE when no reader read that point or the word does not fit. */
sl_status sl_study_settle(const sl_study *study, const char *clip, const char *finding, const char *word, const char *by,
                          const char *why, const char *when, sl_error *error);

/* Two certain statements that differ by more than the tolerance of their kind (tolerance.h). */
bool sl_findings_differ(const sl_finding *a, const sl_finding *b);

typedef struct sl_disagreement {
    const char *clip;
    sl_code code;
    const sl_settled *settled; /* NULL: open */
} sl_disagreement;

/* Points on which first sittings differ, sorted by clip and code; the count is returned, -1 when memory is out. */
int sl_study_disagreements(const sl_study *study, sl_disagreement **list);

/* The readings on which all who read agree, or that were settled: labels for `evaluate`. */
sl_status sl_study_agreed(const sl_study *study, sl_reads *agreed, sl_error *error);

/* Adds `line` and a line break to the end of a file that may not exist yet, on disk before it returns. */
sl_status sl_append_line(const char *path, const char *line, sl_error *error);

#endif
