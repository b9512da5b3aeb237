/* Storage commitment, push model (PS3.4 J): a sender asks whether objects are kept, so that it may delete its own. What keeps them and
 * how that is verified is the caller's; the messages are here. */
#ifndef SL_DICOM_COMMIT_H
#define SL_DICOM_COMMIT_H

#include <stdbool.h>

#include "dicom/tls.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Why an object is not committed (Failure Reason, PS3.3 C.14.1.1). */
enum { SL_COMMITTED = 0, SL_COMMIT_PROCESSING = 0x0110, SL_COMMIT_NO_SUCH_OBJECT = 0x0112, SL_COMMIT_OTHER_CLASS = 0x0119 };
/* Statuses of the N-ACTION (PS3.7 annex C). */
enum { SL_ASK_TAKEN = 0, SL_ASK_NO_SUCH_INSTANCE = 0x0112, SL_ASK_INVALID = 0x0115, SL_ASK_NO_SUCH_ACTION = 0x0123, SL_ASK_NO_ROOM = 0x0213 };

enum { SL_COMMIT_MOST = 100000 /* objects in one request */ };

typedef struct sl_dicom_claim {
    char class_uid[65], uid[65];
    unsigned failure; /* SL_COMMITTED, or why not */
} sl_dicom_claim;

typedef struct sl_dicom_commit {
    char transaction[65]; /* digits and dots */
    char from[17];        /* who asked: AE title */
    int count;
    sl_dicom_claim *claim;
} sl_dicom_commit;

/* What an association does with requests. */
typedef struct sl_dicom_committer {
    /* Keeps the request so that it outlives the process: SL_ASK_TAKEN, or the status that refuses it. */
    unsigned (*promise)(void *context, const sl_dicom_commit *asked);
    /* Whether the answer is brought by a call of our own; else it is given on the association of the request. */
    bool (*calls)(void *context, const char *title);
    void (*verify)(void *context, sl_dicom_commit *asked); /* fills each `failure` */
    void (*heard)(void *context, const sl_dicom_commit *asked); /* the sender has the answer */
    void *context;
} sl_dicom_committer;

/* Where a sender is called with the answer. */
typedef struct sl_dicom_callee {
    const char *title, *host;
    int port;
    const char *own;         /* our title */
    const sl_dicom_tls *tls; /* NULL: nothing is encrypted */
    int wait_s;              /* for a connection and for each answer */
} sl_dicom_callee;

/* Calls and reports `verified` (N-EVENT-REPORT, we as the provider by role negotiation, PS3.4 J.3.3). SL_IO with a sentence when the
 * callee did not take it. */
sl_status sl_dicom_commit_report(const sl_dicom_callee *callee, const sl_dicom_commit *verified, sl_error *error);

#ifdef __cplusplus
}

#include <vector>

class DcmDataset;

/* Reads what is asked; `claims` keeps the rows of `asked`. A status of the N-ACTION. */
unsigned sl_dicom_commit_asked(DcmDataset *data, std::vector<sl_dicom_claim> *claims, sl_dicom_commit *asked);
/* The event information of the answer (PS3.4 table J.3-2); `*event` 1: all are committed, 2: some are not. False when memory ran out. */
bool sl_dicom_commit_answer(const sl_dicom_commit *verified, DcmDataset *data, unsigned short *event);
#endif

#endif
