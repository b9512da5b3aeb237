/* From a collected examination to its output folder: reads what is not read yet, draws, writes.
 *
 * Clips are read side by side; each ends as a record (record.h) and an evidence picture before the next one begins, so
 * memory holds at most one clip a worker and a few kB for each clip done. Results do not depend on the number of
 * workers. Interrupted and started again, it reads only what is missing. */
#ifndef SL_REPORT_PRODUCE_H
#define SL_REPORT_PRODUCE_H

#include "core/error.h"
#include "exam/exam.h"

#include <stdbool.h>

typedef struct sl_produce_options {
    const char *out;      /* output folder, made when absent */
    double depth_cm;      /* stated for all clips that exam.csv says nothing of; 0 = not stated */
    const char *before;   /* exam.json of an earlier examination to compare with, or NULL */
    sl_rules rules;       /* whose advice on depth and focus the audit applies */
    bool annotated;       /* also a clip with its evidence drawn in */
    int workers;          /* < 1: one a core */
    /* Called after each clip, one call at a time, from any thread. May be NULL. */
    void (*progress)(void *context, int done, int of, const char *name);
    /* Called with the index of each clip once its record (if it has one) is on the disk, from any thread, several at a
     * time; a clip that borrows a view later comes twice. May be NULL. */
    void (*clip_done)(void *context, int item);
    void *context;
} sl_produce_options;

typedef struct sl_produced {
    int read, unreadable, failed; /* clips */
    int kept;                     /* of these, how many were read by an earlier run */
} sl_produced;

/* Fills each clip's result (without pictures and evidence: those are in the records), scores, and writes readings.csv,
 * exam.json, report.txt, fhir.json, report.pdf, evidence/, annotated/. A bad clip is no error. Errors are those of the output folder. */
sl_status sl_produce(sl_exam *exam, const sl_produce_options *options, sl_arena *arena, sl_produced *produced,
                     sl_error *error);

/* The files alone, from the records that lie in `out` and an examination that is scored: readings.csv, exam.json,
 * report.txt, fhir.json, report.pdf. */
sl_status sl_produce_files(const sl_exam *exam, const char *out, sl_arena *arena, sl_error *error);

#endif
