#include "node/shelf.h"

#include <stdio.h>
#include <unistd.h>

sl_status sl_shelf_put(sl_store *store, const char *part, const char *from, sl_dicom_words *words, sl_store_fate *fate, sl_error *error)
{
    sl_dicom_words own, *w = words ? words : &own;
    sl_status status = sl_dicom_describe(part, w, error);
    if (status != SL_OK) {
        unlink(part);
        return status;
    }
    const sl_store_object object = {.uid = w->uid, .class_uid = w->class_uid, .syntax = w->syntax, .series_uid = w->series_uid,
                                    .study_uid = w->study_uid, .from = from, .modality = w->modality, .patient_id = w->patient_id,
                                    .patient_name = w->patient_name, .birth_date = w->birth_date, .sex = w->sex, .study_date = w->study_date,
                                    .study_time = w->study_time, .study_id = w->study_id, .study_description = w->study_description,
                                    .accession = w->accession, .referring = w->referring, .series_number = w->series_number,
                                    .series_description = w->series_description, .body_part = w->body_part,
                                    .instance_number = w->instance_number, .frames = w->frames, .rows = w->rows, .columns = w->columns};
    return sl_store_object_put(store, part, w->data_at, &object, fate, error);
}

static sl_status open_store(sl_shelf *shelf, sl_error *error)
{
    return sl_store_open(&(sl_store_options){.folder = shelf->folder, .who = "receiver", .make = true}, &shelf->store, error);
}

static sl_status prepare(void *context, sl_error *error)
{
    sl_shelf *shelf = context;
    sl_status status = open_store(shelf, error);
    if (status == SL_OK) {
        sl_store_object_tidy(shelf->store);
        snprintf(shelf->place, sizeof shelf->place, "%s", sl_store_folder(shelf->store));
    }
    sl_shelf_leave(shelf); /* a process that forks keeps no database open */
    return status;
}

void sl_shelf_enter(sl_shelf *shelf)
{
    open_store(shelf, &shelf->why);
}

void sl_shelf_leave(sl_shelf *shelf)
{
    sl_store_close(shelf->store);
    shelf->store = NULL;
}

static void enter(void *context)
{
    sl_shelf_enter(context);
}

static unsigned begin(void *context, char *part, size_t room)
{
    sl_shelf *shelf = context;
    return shelf->store && sl_keeper_has_room(sl_store_folder(shelf->store), shelf->keep_free) &&
                   sl_store_object_part(shelf->store, part, room, &shelf->why) == SL_OK
               ? SL_STORE_DONE
               : SL_STORE_NO_ROOM;
}

static unsigned finish(void *context, const sl_dicom_arrived *arrived)
{
    sl_shelf *shelf = context;
    sl_store_fate fate;
    sl_status status = sl_shelf_put(shelf->store, arrived->part, arrived->from, NULL, &fate, &shelf->why);
    if (status == SL_FORMAT)
        return SL_STORE_NOT_UNDERSTOOD;
    if (status != SL_OK)
        return SL_STORE_NO_ROOM;
    if (shelf->told)
        shelf->told(shelf->context, arrived, sl_store_fate_name(fate));
    return SL_STORE_DONE;
}

sl_keeper sl_shelf_keeper(sl_shelf *shelf)
{
    return (sl_keeper){prepare, enter, begin, finish, shelf};
}

sl_status sl_shelf_known(void *context, const char *study_uid, sl_arena *arena, const char ***uid, int *count, sl_error *error)
{
    sl_shelf *shelf = context;
    const sl_store_object *object;
    *count = 0;
    sl_status status = open_store(shelf, error);
    if (status == SL_OK)
        status = sl_store_objects(shelf->store, &(sl_store_object_query){.study_uid = study_uid}, arena, &object, count, error);
    sl_shelf_leave(shelf);
    if (status == SL_OK && !(*uid = SL_NEW(arena, *count + 1, const char *)))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while looking into the store.");
    for (int i = 0; i < *count && status == SL_OK; i++)
        (*uid)[i] = object[i].uid;
    return status;
}
