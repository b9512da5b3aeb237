/* Asking other nodes, by the toolkit's network code: verification (C-ECHO), queries at the study root (C-FIND), retrieval (C-GET,
 * C-MOVE; PS3.4 C) and the modality worklist (PS3.4 K). One association a call. Whatever the other side does, a call ends: each
 * silence, the answers' number and size, and the time of a whole question have limits. Texts are UTF-8 in both directions. */
#ifndef SL_DICOM_ASK_H
#define SL_DICOM_ASK_H

#include <stdbool.h>

#include "dicom/association.h"
#include "dicom/call.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A peer's answer_s is the longest silence; a question of many answers may take ten times that.
 * SL_IO: nobody answers, or the connection broke; SL_UNSUPPORTED: the other side refuses or does not know this service; SL_LIMIT: it
 * said too much or took too long; SL_FORMAT: it said what no standard allows. */
sl_status sl_dicom_echo(const sl_dicom_peer *peer, sl_error *error);

/* ---- queries ---- */
typedef enum sl_dicom_level { SL_LEVEL_STUDY, SL_LEVEL_SERIES, SL_LEVEL_IMAGE } sl_dicom_level;

/* As a question "" or NULL asks nothing but that it be told. As an answer "" is not told. */
typedef struct sl_dicom_question {
    sl_dicom_level level;
    const char *study_uid, *series_uid;                      /* of the levels above: needed there */
    const char *patient_id, *patient_name, *dates, *accession; /* study level; dates as A-B */
} sl_dicom_question;

typedef struct sl_dicom_match {
    char study_uid[65], series_uid[65], uid[65], class_uid[65];
    char patient_id[260], patient_name[780], birth_date[27], sex[17], study_date[27], study_time[40], accession[68], description[260];
    char modalities[200]; /* study: those in it, separated by `\`; series: its own */
    char body_part[68];   /* series */
    int objects;          /* of a study or series; -1 not told */
} sl_dicom_match;

enum { SL_ASK_MOST = 5000 /* answers taken, whatever is asked for */ };

/* Called for each answer; false: enough, the question is cancelled. */
typedef bool (*sl_dicom_matched)(void *context, const sl_dicom_match *match);
sl_status sl_dicom_find(const sl_dicom_peer *peer, const sl_dicom_question *question, sl_dicom_matched matched, void *context, sl_error *error);

/* ---- worklist ---- */
typedef struct sl_dicom_step_question {
    const char *date, *modality, *station, *patient_id, *accession; /* date: YYYYMMDD or A-B; "" asks nothing */
} sl_dicom_step_question;

typedef struct sl_dicom_step {
    char patient_name[780], patient_id[260], birth_date[27], sex[17], accession[68], referring[780];
    char study_uid[65], requested_id[68], requested[260]; /* requested procedure */
    char date[27], time[40], modality[17], station[68], step_id[68], step[260]; /* as scheduled */
} sl_dicom_step;

typedef bool (*sl_dicom_stepped)(void *context, const sl_dicom_step *step);
sl_status sl_dicom_worklist(const sl_dicom_peer *peer, const sl_dicom_step_question *question, sl_dicom_stepped stepped, void *context,
                            sl_error *error);

/* ---- retrieval ---- */
typedef struct sl_dicom_wanted {
    sl_dicom_level level;
    const char *study_uid, *series_uid; /* series_uid at series and image level */
    const char *const *uid;             /* image level */
    int uids;
    const char *const *class_uid;       /* C-GET: what may come; NULL: every class that can be kept */
    int classes;
} sl_dicom_wanted;

typedef struct sl_dicom_taken {
    int kept, refused;   /* objects; C-GET: by us, C-MOVE: as the other side counts */
    int failed;          /* as the other side counts those that it could not send */
} sl_dicom_taken;

/* Objects go to `host` (begin, finish, context, most_bytes are used), whose answer the sender is told. What came before a
 * failure is kept and counted. SL_UNSUPPORTED: C-GET is refused here; C-MOVE may serve. */
sl_status sl_dicom_get(const sl_dicom_peer *peer, const sl_dicom_wanted *wanted, const sl_dicom_host *host, sl_dicom_taken *taken,
                       sl_error *error);

/* Has the objects sent to the node that the other side knows as `destination`. */
sl_status sl_dicom_move(const sl_dicom_peer *peer, const sl_dicom_wanted *wanted, const char *destination, sl_dicom_taken *taken,
                        sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
