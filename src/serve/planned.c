#include "serve/planned.h"

#include "core/json.h"
#include "exam/order.h"
#include "node/destinations.h"
#include "node/worklist.h"
#include "serve/api.h"
#include "store/store.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

enum { WAIT_S = 10, MOST = 200 };

static bool may_ask(const sl_request *request)
{
    return request->server->worklist && (!request->server->door || (request->entered && request->user.role != SL_ROLE_LEARNER));
}

/* A destination of that name, else the address itself. */
static sl_status find_peer(sl_request *request, sl_destination_room *room, sl_dicom_peer *peer, sl_error *error)
{
    const char *where = request->server->worklist, *store = sl_place_store(request->server->place);
    const sl_destination *list = NULL, *found;
    int count = 0;
    if (!store)
        store = sl_store_default_folder(&request->arena);
    sl_status status = store ? sl_destinations(store, &request->arena, &list, &count, error) : SL_OK;
    if (status)
        return status;
    found = sl_destination_of(list, count, where);
    const sl_destination plain = {.name = "", .address = where, .title = "", .certificate = "", .key = "", .trust = "", .user_file = "", .token_file = ""};
    status = sl_destination_peer(found ? found : &plain, WAIT_S, room, peer, error);
    if (request->server->title)
        peer->own = request->server->title;
    return status;
}

static sl_status ask(sl_request *request, sl_worklist *list, sl_error *error)
{
    sl_destination_room room;
    sl_dicom_peer peer;
    char today[16] = "";
    const time_t now = time(NULL);
    struct tm local;
    if (localtime_r(&now, &local))
        strftime(today, sizeof today, "%Y%m%d", &local);
    sl_status status = find_peer(request, &room, &peer, error);
    return status ? status : sl_worklist_ask(&peer, &(sl_dicom_step_question){.date = today, .modality = "US"}, MOST, &request->arena, list, error);
}

/* A name for a planned one that stays when the list changes and says nothing of the patient. */
static const char *key_of(const sl_dicom_step *step, sl_arena *arena, char key[17])
{
    const char *all = sl_arena_printf(arena, "%s\n%s\n%s\n%s\n%s", step->patient_id, step->patient_name, step->accession, step->study_uid, step->step_id);
    sl_desk_name(all ? all : "", key);
    return key;
}

static const char *procedure_of(const sl_dicom_step *step)
{
    return *step->requested ? step->requested : step->step;
}

static enum MHD_Result list_planned(sl_request *request)
{
    sl_worklist list;
    sl_error error;
    char key[17];
    if (!may_ask(request))
        return sl_reply_json(request, 200, json_pack("{s:b, s:[], s:b}", "may", 0, "planned", "more", 0));
    if (ask(request, &list, &error) != SL_OK)
        return sl_reply_error(request, 502, "%s", error.text);
    json_t *planned = json_array();
    for (int i = 0; i < list.count; i++) {
        const sl_dicom_step *step = &list.step[i];
        json_array_append_new(planned, json_pack("{s:s,s:s,s:s,s:s,s:s,s:s,s:s,s:s,s:s}", "key", key_of(step, &request->arena, key), "name",
                                                 step->patient_name, "patient", step->patient_id, "born", step->birth_date, "procedure",
                                                 procedure_of(step), "accession", step->accession, "date", step->date, "time", step->time, "station",
                                                 step->station));
    }
    return sl_reply_json(request, 200, json_pack("{s:b, s:o, s:b}", "may", 1, "planned", planned, "more", list.cut));
}

static sl_status begin(sl_request *request, const sl_dicom_step *step, const sl_protocol *protocol, char id[17], sl_error *error)
{
    char path[PATH_MAX], person[16], date[16] = "";
    const time_t now = time(NULL);
    struct tm local;
    if (localtime_r(&now, &local))
        strftime(date, sizeof date, "%Y-%m-%d", &local); /* it is begun now, whenever it was planned for */
    const sl_exam_order order = {.name = step->patient_name, .id = step->patient_id, .birth_date = step->birth_date, .sex = step->sex,
                                 .study_uid = step->study_uid, .accession = step->accession, .study_id = step->requested_id,
                                 .referring = step->referring, .procedure = procedure_of(step)};
    sl_exam_order_person(&order, person);
    sl_status status = sl_place_room(request->server->place, date, path, error);
    if (status == SL_OK)
        status = sl_exam_prepare(path, &order, person, date, protocol, error);
    if (status == SL_OK)
        sl_desk_name(path, id);
    return status;
}

static enum MHD_Result begin_planned(sl_request *request)
{
    json_t *asked = sl_request_json(request);
    const char *wanted = sl_arena_text(&request->arena, sl_json_text(asked, "key"));
    const sl_protocol *protocol = sl_protocol_by_key(sl_json_text(asked, "protocol"));
    const sl_dicom_step *found = NULL;
    sl_worklist list;
    sl_error error;
    char key[17], id[17];
    json_decref(asked);
    if (!may_ask(request) || !wanted || !*wanted || !protocol)
        return sl_reply_error(request, 400, "Say which planned examination is meant, and by which scheme of zones.");
    if (ask(request, &list, &error) != SL_OK)
        return sl_reply_error(request, 502, "%s", error.text);
    for (int i = 0; i < list.count && !found; i++)
        if (!strcmp(key_of(&list.step[i], &request->arena, key), wanted))
            found = &list.step[i];
    if (!found)
        return sl_reply_error(request, 404, "That examination is no longer planned. Look at the list again.");
    sl_status status = begin(request, found, protocol, id, &error);
    return status == SL_OK ? sl_reply_json(request, 201, json_pack("{s:s}", "id", id)) : sl_reply_failed(request, status, &error);
}

enum MHD_Result sl_planned_answer(sl_request *request)
{
    return request->get ? list_planned(request) : begin_planned(request);
}
