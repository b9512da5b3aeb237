#include "serve/borders.h"

#include "core/json.h"
#include "core/units.h"
#include "reading/borders.h"
#include "serve/api.h"
#include "serve/records.h"

#include <string.h>

enum { HAND_MOST_BYTES = 16384 };

/* What the reading itself states of this kind. */
static json_t *stated(const sl_reading *reading, sl_border_kind kind)
{
    int count;
    const sl_code *code = sl_border_codes(kind, &count);
    json_t *all = reading ? sl_reading_to_json(reading) : NULL, *kept = json_array(), *one;
    size_t at;
    json_array_foreach(json_object_get(all, "findings"), at, one)
        for (int i = 0; i < count; i++)
            if (!strcmp(sl_json_text(one, "finding"), sl_finding_info_of(code[i])->key))
                json_array_append(kept, one);
    json_decref(all);
    return kept;
}

/* Figures of the record's borders and, with `hand`, of the hand's. */
static enum MHD_Result reply(sl_request *request, sl_border_kind kind, const sl_border_hand *hand, const sl_clip_result *result)
{
    sl_border_figures f;
    sl_error error;
    if (!result->reading)
        return sl_reply_error(request, 409, "The clip was not read yet, so it has no borders.");
    if (result->view.shape == SL_SHAPE_UNKNOWN)
        return sl_reply_error(request, 409, "The clip's geometry is not known, so nothing can be measured in it.");
    const sl_border_path *found = &result->border[kind];
    if (found->frames < 1)
        return sl_reply_error(request, 409, "The clip's reading holds no frames to set borders in: a single picture, or read by an older program.");
    json_t *json = json_pack("{s:s,s:b}", "which", sl_border_key(kind), "scaled", sl_known(sl_view_depth_mm(&result->view)));
    sl_status status = json ? sl_borders_measure(kind, found, NULL, &result->view, &request->arena, &f, &error)
                            : sl_fail(&error, SL_MEMORY, "Memory ran out. Close other programs and try again.");
    if (status == SL_OK) {
        json_t *automatic = sl_border_figures_to_json(kind, &f);
        json_object_set_new(automatic, "findings", stated(result->reading, kind));
        json_object_set_new(json, "automatic", automatic);
        json_object_set_new(json, "hand", json_null());
        if (hand)
            status = sl_borders_measure(kind, found, hand, &result->view, &request->arena, &f, &error);
    }
    if (status == SL_OK && hand)
        json_object_set_new(json, "hand", sl_border_figures_to_json(kind, &f));
    if (status != SL_OK) {
        json_decref(json);
        return sl_reply_error(request, status == SL_MEMORY ? 507 : 400, "%s", error.text);
    }
    return sl_reply_json(request, 200, json);
}

enum MHD_Result sl_reply_borders(sl_request *request, const sl_desk_clip *clip)
{
    sl_border_kind kind;
    sl_border_hand hand;
    const sl_record *record;
    sl_error error;
    if (!sl_border_by_key(sl_request_argument(request, "which"), &kind))
        return sl_reply_error(request, 400, "Borders are those of the dome or of the muscle: name one of these.");
    const char *text = sl_request_argument(request, "hand");
    if (text) {
        json_t *asked = strlen(text) <= HAND_MOST_BYTES ? json_loads(text, JSON_REJECT_DUPLICATES, NULL) : NULL;
        sl_status status = sl_border_hand_from_json(asked, kind, &hand, &error);
        json_decref(asked);
        if (status != SL_OK)
            return sl_reply_error(request, 400, "%s", error.text);
    }
    if (sl_records_take(request->server->records, clip->record, &record, NULL) != SL_OK)
        return sl_reply_error(request, 409, "The clip was not read yet, so it has no borders.");
    enum MHD_Result answer = reply(request, kind, text ? &hand : NULL, &record->result);
    sl_records_give(request->server->records, record);
    return answer;
}
