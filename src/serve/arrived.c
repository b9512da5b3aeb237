#include "serve/arrived.h"

#include "core/json.h"
#include "serve/api.h"
#include "store/objects.h"

#include <stdio.h>
#include <string.h>

enum MHD_Result sl_arrived_list(sl_request *request)
{
    sl_store *store = NULL;
    const sl_store_study *study;
    int count = 0;
    sl_error error;
    char id[17];
    json_t *studies = json_array();
    if (sl_place_open_store(request->server->place, sl_request_who(request), false, &store, &error) == SL_OK &&
        sl_store_studies(store, &(sl_store_object_query){0}, &request->arena, &study, &count, &error) != SL_OK)
        count = 0;
    sl_store_close(store); /* no store yet: nothing has arrived */
    for (int i = 0; i < count; i++) {
        if (!study[i].pictures)
            continue;
        sl_desk_name(study[i].object->study_uid, id); /* nothing that names the patient */
        json_array_append_new(studies, json_pack("{s:s,s:i,s:I,s:s}", "id", id, "clips", study[i].pictures, "bytes", (json_int_t)study[i].bytes,
                                                 "newest", study[i].came));
    }
    return sl_reply_json(request, 200, json_pack("{s:o}", "studies", studies));
}

enum MHD_Result sl_arrived_take(sl_request *request, sl_desk *desk)
{
    json_t *asked = sl_request_json(request);
    const char *id = sl_arena_text(&request->arena, sl_json_text(asked, "study")), *uid = NULL;
    sl_store *store = NULL;
    const sl_store_study *study;
    int count = 0, taken = 0;
    char name[17];
    sl_error error;
    json_decref(asked);
    sl_status status = sl_place_open_store(request->server->place, sl_request_who(request), false, &store, &error);
    if (status == SL_OK)
        status = sl_store_studies(store, &(sl_store_object_query){0}, &request->arena, &study, &count, &error);
    for (int i = 0; i < count && status == SL_OK && id; i++) {
        sl_desk_name(study[i].object->study_uid, name);
        if (!strcmp(name, id))
            uid = study[i].object->study_uid;
    }
    if (uid)
        status = sl_store_object_take(store, uid, sl_desk_folder(desk), &taken, &error);
    sl_store_close(store);
    if (!uid)
        return sl_reply_error(request, 404, "That study is no longer among what arrived.");
    if (taken)
        sl_place_read(request->server->place, desk);
    if (status != SL_OK)
        return sl_reply_error(request, 507, "%s", error.text);
    return sl_reply_json(request, 200, json_pack("{s:i}", "clips", taken));
}
