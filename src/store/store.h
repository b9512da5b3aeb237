/* Examinations kept: one SQLite file, store.db, in the user's data folder, and beside it, by content, the files it
 * speaks of: files/ab/ab12... (SHA-256 in hexadecimal). A file is written beside, synced and renamed before the record
 * that names it is committed, and never changed. What is signed cannot change; a correction is an addendum. Every change
 * is a line in an append-only log whose lines are chained by SHA-256. docs/store.md tells the whole.
 *
 * A handle belongs to one thread at a time; any number of handles and programs may have a store open. Strings in results
 * belong to the arena that was handed in. Times are UTC, "2031-02-28T09:30:00.125Z". Identifiers ("uid") are random
 * UUIDs; where one is asked for, its beginning will do when only one has it. */
#ifndef SL_STORE_STORE_H
#define SL_STORE_STORE_H

#include "core/arena.h"
#include "core/error.h"

#include <stdbool.h>
#include <stdint.h>

enum { SL_STORE_UID = 37, SL_STORE_HASH = 65 }; /* bytes with the closing zero */

typedef struct sl_store sl_store;

typedef struct sl_store_options {
    const char *folder; /* NULL: the user's data folder ($XDG_DATA_HOME/strandline, else ~/.local/share/strandline) */
    const char *who;    /* whose changes these are, in the log; NULL: the name the machine knows the user by */
    bool make;          /* an absent store is made; otherwise its absence is an error */
    const char *vfs;    /* SQLite's file layer by name, for tests; NULL: the usual one */
} sl_store_options;

/* SL_IO: not there, not permitted, no room, in use. SL_FORMAT: damaged or no store. SL_UNSUPPORTED: made by a newer
 * version. `*store` is NULL on failure; sl_store_close(NULL) is fine. */
sl_status sl_store_open(const sl_store_options *options, sl_store **store, sl_error *error);
void sl_store_close(sl_store *store);
const char *sl_store_folder(const sl_store *store);

/* The user's data folder for a store, owned by the arena; NULL when neither variable is set. */
char *sl_store_default_folder(sl_arena *arena);

/* ---- putting in ---- */

typedef struct sl_store_clip_in {
    const char *path, *name; /* where the file lies; its name for people */
    const char *zone;        /* key or "" */
    double depth_cm;         /* stated; 0 none */
    const char *notes;
    const char *by, *author, *result; /* a reading of it: "program", "strandline 0.1.0", its JSON; NULL: none yet */
} sl_store_clip_in;

typedef struct sl_store_file_in {
    const char *name, *path; /* name in the report's folder, e.g. "report.pdf" */
} sl_store_file_in;

typedef struct sl_store_exam_in {
    const char *person;   /* pseudonym; "" makes one up */
    const char *local_id; /* by which the house knows the person, kept apart; NULL or "" none */
    const char *title, *date, *question, *protocol;
    bool invented;
    int clips;
    const sl_store_clip_in *clip;
    int files;
    const sl_store_file_in *file; /* what was made of it: report, records ... */
} sl_store_exam_in;

/* Keeps an examination: all of it or nothing. The same clips of the same person and date again are the same examination:
 * readings and files are added to it (not to its signed reports). Fills `uid`; `*known` tells which it was. */
sl_status sl_store_add(sl_store *store, const sl_store_exam_in *in, char uid[SL_STORE_UID], bool *known, sl_error *error);

/* Adds a reading of clip `position` (0 ..) by a person or program. Nothing that was there changes. */
sl_status sl_store_put_reading(sl_store *store, const char *uid, int position, const char *by, const char *author,
                               const char *result, sl_error *error);

/* The question of an examination that is not signed yet. */
sl_status sl_store_set_question(sl_store *store, const char *uid, const char *question, sl_error *error);

/* ---- signing ---- */

typedef struct sl_store_signing {
    const char *uid;    /* of the examination */
    const char *signer; /* the name as it is to stand there */
    const char *text;   /* the conclusion, or the addendum; required */
    const char *time;   /* as returned by sl_store_now, printed in the files; NULL: now */
    int files;
    const sl_store_file_in *file; /* the report as signed */
} sl_store_signing;

/* The first signature of an examination signs its report; each later one adds an addendum. On SL_OK it is on the disk.
 * `addendum` says which is meant, so that nobody signs twice by mistake. */
sl_status sl_store_sign(sl_store *store, const sl_store_signing *signing, bool addendum, char report_uid[SL_STORE_UID],
                        sl_error *error);

/* ---- looking ---- */

typedef struct sl_store_person {
    const char *pseudonym, *local_id; /* local_id "" when none */
    int exams;
} sl_store_person;

typedef struct sl_store_exam {
    const char *uid, *person, *title, *date, *question, *protocol, *added;
    bool invented;
    int clips, reports; /* how many; reports > 0: signed */
} sl_store_exam;

typedef struct sl_store_clip {
    const char *hash, *name, *zone, *notes;
    double depth_cm;
    int64_t bytes;
} sl_store_clip;

typedef struct sl_store_reading {
    int position;                     /* of the clip */
    const char *by, *author, *made, *result;
} sl_store_reading;

typedef struct sl_store_file {
    const char *name, *hash, *made;
} sl_store_file;

typedef struct sl_store_report {
    const char *uid, *text, *signer, *signed_at, *hash; /* hash of the signed statement */
    bool addendum;
    int files;
    const sl_store_file *file;
} sl_store_report;

typedef struct sl_store_exam_all {
    sl_store_exam exam;
    int clips, readings, files, reports;
    const sl_store_clip *clip;
    const sl_store_reading *reading; /* oldest first */
    const sl_store_file *file;       /* the newest of each name */
    const sl_store_report *report;   /* in the order of signing */
} sl_store_exam_all;

sl_status sl_store_people(sl_store *store, sl_arena *arena, const sl_store_person **person, int *count, sl_error *error);
/* Newest first; `person` is a pseudonym or NULL for all. */
sl_status sl_store_exams(sl_store *store, const char *person, sl_arena *arena, const sl_store_exam **exam, int *count,
                         sl_error *error);
sl_status sl_store_exam_of(sl_store *store, const char *uid, sl_arena *arena, sl_store_exam_all *all, sl_error *error);

/* Where a kept file lies; SL_IO with a sentence when it vanished. For reading only. */
sl_status sl_store_path(sl_store *store, const char *hash, sl_arena *arena, char **path, sl_error *error);

/* The time now as it is written in the store. */
void sl_store_now(char text[32]);

/* ---- keeping it whole ---- */

typedef void (*sl_store_say)(void *context, const char *sentence);

typedef struct sl_store_state {
    int people, exams, clips, objects, files, reports, log_lines;
    int problems; /* each was said */
    int tidied;   /* files without a record, left by an interrupted run, removed */
    char log_head[SL_STORE_HASH];
} sl_store_state;

/* Looks at everything: the database, the log's chain, each signature, each file's content. Says a sentence for each thing
 * that is wrong and SL_FORMAT at the end if any was. Removes what an interrupted run left. */
sl_status sl_store_check(sl_store *store, sl_store_say say, void *context, sl_store_state *state, sl_error *error);

/* A complete copy in a new folder, while the store may be in use. */
sl_status sl_store_backup(sl_store *store, const char *folder, sl_error *error);

/* Puts a backup in the place of the store in `folder`, after it has been checked. A store that is there is moved aside,
 * never overwritten: `aside` (room for a path) says where, "" when there was none. */
sl_status sl_store_restore(const char *backup, const char *folder, char *aside, size_t room, sl_error *error);

/* Clips, tables, readings and files of an examination as plain files in a new folder, as `strandline read` takes them. */
sl_status sl_store_export(sl_store *store, const char *uid, const char *folder, sl_error *error);

/* What clip `which` is called there: its name, with its number before it where an earlier one has the same. The arena's. */
const char *sl_store_clip_name(sl_arena *arena, const sl_store_exam_all *all, int which);

/* Removes a folder that this program made, with all in it; an absent one is fine. */
void sl_store_remove_folder(const char *path);

/* Removes a person and all that is theirs, without a trace but lines in the log that name no one. Signed reports go only
 * when `even_signed`; else SL_USAGE with a sentence. `*exams` tells how many examinations went. */
sl_status sl_store_forget(sl_store *store, const char *pseudonym, bool even_signed, int *exams, sl_error *error);

#endif
