/* DICOM objects that came from machines (C-STORE, STOW-RS), as they came: kept by content like every file of the store and known
 * by their UIDs. The same data set under the same UID is there once, whoever sent it; another data set under a known UID is
 * kept beside it. They name the patient, as the sender did, and belong to no examination until one takes them over; forgetting
 * a person removes the studies that the person's clips came with. */
#ifndef SL_STORE_OBJECTS_H
#define SL_STORE_OBJECTS_H

#include "store/store.h"

typedef struct sl_store_object {
    const char *uid, *class_uid, *syntax, *series_uid, *study_uid;
    const char *hash;       /* SHA-256 of the file as it is kept (PS3.10) */
    const char *from, *came; /* title or user that sent it; when, UTC */
    /* of the data set, "" where it has none, in UTF-8 */
    const char *modality, *patient_id, *patient_name, *birth_date, *sex, *study_date, *study_time, *study_id, *study_description,
        *accession, *referring, *series_number, *series_description, *body_part, *instance_number;
    int64_t bytes, frames, rows, columns;
} sl_store_object;

typedef enum sl_store_fate { SL_FATE_KEPT, SL_FATE_KNOWN, SL_FATE_BESIDE } sl_store_fate;
const char *sl_store_fate_name(sl_store_fate fate); /* "kept", "known already", "kept beside another of its UID" */

/* A fresh name on the store's file system to write the next object to. What a process that is gone left half done is removed by
 * sl_store_object_tidy. */
sl_status sl_store_object_part(sl_store *store, char *path, size_t room, sl_error *error);
void sl_store_object_tidy(sl_store *store);

/* Takes the file `part` (consumed, whatever happens) and records it: on SL_OK both are on the disk. `data_at`: bytes before the
 * data set, which differ from sender to sender. `object` needs no hash, bytes and time. Any number of processes may do this
 * at once. */
sl_status sl_store_object_put(sl_store *store, const char *part, int64_t data_at, const sl_store_object *object, sl_store_fate *fate,
                              sl_error *error);

/* What matches: a NULL or "" field asks nothing; `*` and `?` stand for letters, in names without regard to capitals; a date may be
 * "A-B", "A-" or "-B"; a UID field may list several, separated by `\` (PS3.4 C.2.2.2). Newest study first, then by
 * study, series, instance number and UID, so that rows of a study and of a series come together. */
typedef struct sl_store_object_query {
    const char *study_uid, *series_uid, *uid, *patient_id, *patient_name, *study_date, *accession, *modality, *study_id;
} sl_store_object_query;

sl_status sl_store_objects(sl_store *store, const sl_store_object_query *query, sl_arena *arena, const sl_store_object **object, int *count,
                           sl_error *error);

/* The same, a row a study; the study that something came to last stands first. */
typedef struct sl_store_study {
    const sl_store_object *object; /* its first; they lie beside each other */
    int objects, pictures;         /* pictures: those with frames */
    int64_t bytes;
    const char *came;              /* the last of them */
} sl_store_study;

sl_status sl_store_studies(sl_store *store, const sl_store_object_query *query, sl_arena *arena, const sl_store_study **study, int *count,
                           sl_error *error);

/* Whether an object is kept, each file of its UID read and compared with its hash. */
typedef enum sl_store_holding { SL_HELD, SL_NOT_HELD, SL_HELD_IN_OTHER_CLASS, SL_HELD_DAMAGED } sl_store_holding;
sl_status sl_store_object_holds(sl_store *store, const char *class_uid, const char *uid, sl_store_holding *holding, sl_error *error);

/* Copies the pictures and clips of a study (objects with frames) to `folder` as UID.dcm, those of one UID numbered; what is there
 * under that name stays. `*taken`: how many were copied. SL_USAGE when nothing of that study is there. */
sl_status sl_store_object_take(sl_store *store, const char *study_uid, const char *folder, int *taken, sl_error *error);

/* Removes the objects of a study from among what came; examinations that took them over keep their copies. `*objects`: how many. */
sl_status sl_store_object_drop(sl_store *store, const char *study_uid, int *objects, sl_error *error);

#endif
