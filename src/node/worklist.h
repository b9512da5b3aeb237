/* The examinations that are planned, from a modality worklist (PS3.4 K). */
#ifndef SL_NODE_WORKLIST_H
#define SL_NODE_WORKLIST_H

#include "core/arena.h"
#include "dicom/ask.h"

typedef struct sl_worklist {
    sl_dicom_step *step; /* by date, time, name, accession number, step */
    int count;
    bool cut;            /* there are more than `most` */
} sl_worklist;

/* Answers that do not fit the question are dropped: who answers may not know all of its words. All memory is from `arena`. */
sl_status sl_worklist_ask(const sl_dicom_peer *peer, const sl_dicom_step_question *question, int most, sl_arena *arena, sl_worklist *list,
                          sl_error *error);

#endif
