/* Whose examination it is and what was ordered, as a worklist says; in exam-info.json "patient" and "order". It names the patient: the
 * report and the DICOM objects carry it, the tables, exam.json and every message leave it out. */
#ifndef SL_EXAM_ORDER_H
#define SL_EXAM_ORDER_H

#include "core/arena.h"
#include "core/error.h"

#include <jansson.h>
#include <stdbool.h>

typedef struct sl_protocol sl_protocol;

/* UTF-8, "" where not said. Names as DICOM writes them (PS3.5 6.2.1): "Family^Given". */
typedef struct sl_exam_order {
    const char *name, *id, *birth_date, *sex; /* YYYYMMDD; M, F, O */
    const char *study_uid, *accession, *study_id, *referring, *procedure;
} sl_exam_order;

/* From the root of an exam-info.json; NULL when it names no patient and no order. What cannot be (a UID with letters, a date that is
 * none) is left out. */
const sl_exam_order *sl_exam_order_of(const json_t *root, sl_arena *arena);

/* For the head of a page: "Family, Given, born 1950-01-31, ID 4711, order A1". "" for NULL. `born` and
 * `ordered` are the words for that. */
void sl_exam_order_text(const sl_exam_order *order, const char *born, const char *ordered, char *text, size_t room);

/* A pseudonym that is the same whenever the identifier is: "P-" and ten digits. Whoever has the identifier can tell it. */
void sl_exam_order_person(const sl_exam_order *order, char person[16]);

/* Makes `folder` for a new examination, for this user alone: exam-info.json with all this and exam.csv with the zones of `protocol`, whose
 * clips are still to come. SL_USAGE when an examination lies there already, whoever's it is; nothing is overwritten. */
sl_status sl_exam_prepare(const char *folder, const sl_exam_order *order, const char *person, const char *date, const sl_protocol *protocol,
                          sl_error *error);

#endif
