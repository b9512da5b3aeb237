/* What two sides say of the same clips. The labels (any published CSV, or another reading) are held in memory in a
 * compact form; the readings, which may be many thousands of rows, stream past them. */
#ifndef SL_AGREE_STATEMENTS_H
#define SL_AGREE_STATEMENTS_H

#include "agree/names.h"
#include "agree/notes.h"
#include "agree/words.h"
#include "core/error.h"
#include "reading/reading.h"

typedef enum sl_scale {
    SL_SCALE_OPEN,    /* not settled: decided by what the column holds */
    SL_SCALE_YES_NO,
    SL_SCALE_ORDERED, /* whole numbers in the finding's range */
    SL_SCALE_NUMBER
} sl_scale;

/* How a label column becomes the reference. */
typedef enum sl_test { SL_TEST_NONE, SL_TEST_AT_LEAST, SL_TEST_EQUALS } sl_test;

/* One comparison: a column of the labels with a finding (or a numeric column) of the readings. */
typedef struct sl_use {
    const char *title;           /* the column of the labels */
    const char *target;          /* key of a finding, or title of a column of the readings */
    const sl_finding_info *info; /* of the finding, or NULL */
    sl_test test;
    double threshold;            /* SL_TEST_AT_LEAST: the value and above are "yes" */
    const char *word;            /* SL_TEST_EQUALS: this word is "yes", any other "no" */
    bool noted;                  /* "no" in this column need not mean absent */
    sl_scale scale;              /* of the labels; never open once loaded */
    int column;                  /* in the labels' table; -1 when they are readings */
    int unsure;                  /* labels that say "uncertain": left out */
    bool in_readings;            /* the readings have something to compare with */
} sl_use;

typedef struct sl_statement {
    double number;  /* score, count, length; for a yes/no reading its index; NAN: none */
    unsigned char word; /* sl_word */
} sl_statement;

typedef struct sl_label_row {
    const char *clip;   /* as written in the labels */
    int number;         /* its row in the file */
    int person;         /* -1: not known */
    bool contradicted;  /* stated twice, differently: left out */
    int read;           /* rows of the readings that speak of it */
    bool read_twice_differently;
    const char *unread; /* why the clip could not be read, or NULL */
} sl_label_row;

typedef struct sl_label_options {
    const char *by;           /* NULL or "person": as found; "clip": none; a column's title; a pattern with <n> */
    const char *const *map;   /* "COLUMN=TARGET", "COLUMN>=2=TARGET", "COLUMN:WORD=TARGET" */
    int maps;
} sl_label_options;

typedef struct sl_statements {
    const char *labels_path, *readings_path;
    sl_arena *arena;
    sl_notes *notes;
    const char *by;           /* how persons are told apart, in words; "" when they are not */
    int uses;
    sl_use *use;
    int rows;
    sl_label_row *row;
    sl_statement *label;      /* [row * uses + use] */
    sl_statement *reading;
    int persons;
    sl_names person_number, by_name, by_stem;
    const char *pattern;      /* for persons in file names */
    bool by_name_allowed;
    int readings, readings_unlabelled, readings_failed;
    int room;                 /* of row and label */
} sl_statements;

/* Reads the labels and settles what each column is compared with. Notes tell what was not understood. SL_USAGE for a
 * map that names no column, SL_FORMAT when no clip or nothing to compare is found. */
sl_status sl_labels_load(const char *path, const sl_label_options *options, sl_arena *arena, sl_notes *notes,
                         sl_statements *statements, sl_error *error);

/* Lets the readings (readings.csv, exam.json, a file of reads) stream past. May be called once more with a fresh
 * `reading` matrix for a second program. Notes tell which clips are absent, doubled or unreadable. */
sl_status sl_readings_match(sl_statements *statements, const char *path, sl_error *error);

/* ---- shared by the two files that load ---- */

/* Row of the labels that speaks of this clip, or -1. */
int sl_label_row_of(const sl_statements *statements, const char *clip);
sl_statement sl_statement_of(const sl_finding *finding);

/* ---- readings_json.c: exam.json and files of reads ---- */
typedef sl_status (*sl_reading_visit)(void *context, const sl_reading *reading, const char *clip, const char *unread,
                                      sl_error *error);

/* `reading` is NULL and `unread` says why when the clip has none. A reading lives in `keep`, or with NULL for the call
 * only. */
sl_status sl_readings_visit(const char *path, sl_arena *keep, sl_reading_visit visit, void *context, sl_error *error);
bool sl_is_json(const char *path);

#endif
