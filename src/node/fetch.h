/* Fetching an examination from another node: what it has of a patient, which was the last one, and its objects, by C-GET or, where
 * that is refused, by C-MOVE to a receiver of our own. Each object is on the disk and recorded before the other side is told;
 * what is there already is not asked for again, so that what broke off goes on at what is missing. */
#ifndef SL_NODE_FETCH_H
#define SL_NODE_FETCH_H

#include "core/arena.h"
#include "dicom/ask.h"
#include "node/keeper.h"

#include <stdbool.h>

typedef struct sl_fetch {
    sl_dicom_peer peer;
    sl_keeper keeper;
    /* UIDs of the objects of a study that are there; memory from `arena`. */
    sl_status (*known)(void *context, const char *study_uid, sl_arena *arena, const char ***uid, int *count, sl_error *error);
    void (*leave)(void *context); /* after the objects of this process; may be NULL */
    unsigned long long most_bytes; /* of one object */
    int most_objects;              /* of a study; more is refused */
    int port;                      /* of our own receiver for C-MOVE; 0: C-MOVE is not tried */
    const char *address;           /* that it listens on */
    bool only_move;                /* C-GET is not tried */
    void (*progress)(void *context, int there, int of); /* may be NULL */
    void *context;
} sl_fetch;

/* ---- what there is ---- */
typedef struct sl_matches {
    sl_dicom_match *match; /* newest first */
    int count;
    bool cut;              /* there are more than were asked for */
} sl_matches;

/* Studies at the study level; `modality` "" = any. At most `most`. Answers that do not fit the question are dropped: who answers
 * may not know all of its words. */
sl_status sl_fetch_list(const sl_fetch *fetch, const sl_dicom_question *question, const char *modality, int most, sl_arena *arena,
                        sl_matches *list, sl_error *error);

/* ---- the last examination before another one ---- */
typedef struct sl_last {
    sl_dicom_match study;
    bool sure;             /* the node says that it is of the chest, or it has findings of ours */
    char surer_uid[65];    /* an older one of which it says so; "" = none */
    char surer_date[27];
    int passed_over;       /* newer ones with ultrasound of another part of the body */
    int same_day;          /* of the day of `before` and not told to be earlier: left aside */
} sl_last;

/* The newest study with ultrasound of this patient that began before `before` (YYYYMMDD or YYYYMMDDHHMM) and of which the node does
 * not say that it shows another part of the body. SL_UNREADABLE: there is none. */
sl_status sl_fetch_last(const sl_fetch *fetch, const char *patient_id, const char *before, const char *present_uid, sl_arena *arena,
                        sl_last *last, sl_error *error);

/* ---- its objects ---- */
typedef struct sl_fetched {
    int listed;    /* objects that the node has and that can be kept; -1: it does not say */
    int known;     /* there before */
    int there;     /* now, of the listed ones; all of the study where it does not say */
    int left_out;  /* of kinds that are not kept here */
    int foreign;   /* sent without having been asked for, and refused */
    bool by_move;
} sl_fetched;

/* SL_OK: everything listed is there. What came before a failure stays, and is not fetched again the next time. */
sl_status sl_fetch_study(const sl_fetch *fetch, const char *study_uid, sl_fetched *fetched, sl_error *error);

/* A UID as PS3.5 9.1 has it. */
bool sl_fetch_is_uid(const char *uid);

#endif
