#include "serve/api.h"

#include "core/file.h"
#include "exam/exam.h"
#include "report/record.h"
#include "report/report.h"
#include "serve/arrived.h"
#include "serve/assets.h"
#include "serve/bench.h"
#include "serve/borders.h"
#include "serve/by_hand.h"
#include "serve/door.h"
#include "serve/frames.h"
#include "serve/incoming.h"
#include "serve/kept.h"
#include "serve/learners.h"
#include "serve/motion.h"
#include "serve/planned.h"
#include "serve/readers.h"
#include "serve/seal.h"
#include "serve/sending.h"

#include <libdeflate.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static enum MHD_Result not_there(sl_request *request)
{
    return sl_reply_error(request, 404, "There is nothing under this address. Go back to the list of examinations.");
}

/* ---- the page's files ---- */

enum MHD_Result sl_api_asset(sl_request *request, const char *name)
{
    const sl_asset *asset = sl_assets;
    while (asset->name && strcmp(asset->name, *name ? name : "index.html"))
        asset++;
    if (!asset->name || !request->get)
        return not_there(request);
    const char *accepts = MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, "Accept-Encoding");
    struct MHD_Response *response;
    if (asset->plain || (accepts && strstr(accepts, "gzip"))) {
        response = MHD_create_response_from_buffer(asset->length, (void *)(uintptr_t)asset->bytes, MHD_RESPMEM_PERSISTENT);
        if (response && !asset->plain)
            MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_ENCODING, "gzip");
    } else {
        void *bytes = malloc(asset->unpacked + 1);
        struct libdeflate_decompressor *unpacker = libdeflate_alloc_decompressor();
        size_t got = 0;
        if (bytes && unpacker)
            libdeflate_gzip_decompress(unpacker, asset->bytes, asset->length, bytes, asset->unpacked, &got);
        libdeflate_free_decompressor(unpacker);
        response = bytes ? MHD_create_response_from_buffer(got, bytes, MHD_RESPMEM_MUST_FREE) : NULL;
    }
    return sl_reply(request, 200, asset->type, response);
}

/* ---- clips ---- */

static enum MHD_Result clip_picture(sl_request *request, const sl_desk_clip *clip, bool straightened)
{
    sl_record record;
    if (sl_record_load(clip->record, &request->arena, &record, NULL) != SL_OK)
        return sl_reply_error(request, 404, "There is no picture of this clip yet.");
    const sl_jpeg *jpeg = straightened ? &record.cell : &record.picture;
    if (!jpeg->length)
        return sl_reply_error(request, 404, "There is no picture of this clip yet.");
    return sl_reply_bytes(request, "image/jpeg", jpeg->bytes, jpeg->length);
}

static enum MHD_Result clip_part(sl_request *request, sl_desk *desk)
{
    sl_desk_clip clip;
    if (request->parts != 6 || !request->get || !sl_desk_find(desk, request->part[4], &request->arena, &clip))
        return not_there(request);
    if (sl_request_is(request, 5, "frames"))
        return sl_reply_frames(request, &clip);
    if (sl_request_is(request, 5, "trace"))
        return sl_reply_motion(request, &clip);
    if (sl_request_is(request, 5, "borders"))
        return sl_reply_borders(request, &clip);
    if (sl_request_is(request, 5, "measure"))
        return sl_reply_by_hand(request, &clip);
    if (sl_request_is(request, 5, "straightened.jpg"))
        return clip_picture(request, &clip, true);
    if (sl_request_is(request, 5, "picture.jpg"))
        return clip_picture(request, &clip, false);
    return not_there(request);
}

bool sl_api_is_upload(const sl_request *request)
{
    return !request->get && request->parts == 4 && sl_request_is(request, 0, "api") && sl_request_is(request, 1, "exams") &&
           sl_request_is(request, 3, "clips");
}

sl_desk *sl_api_upload_desk(sl_request *request)
{
    return sl_place_desk(request->server->place, request->part[2]);
}

static enum MHD_Result finish_upload(sl_request *request, sl_desk *desk)
{
    char name[200];
    sl_error error;
    if (!request->incoming)
        return sl_reply_error(request, 400, "The clip came without any bytes. Bring it in again.");
    sl_status status = sl_incoming_finish(request->incoming, name, sizeof name, &error);
    sl_incoming_drop(&request->incoming);
    if (status != SL_OK)
        return sl_reply_error(request, 507, "%s", error.text);
    sl_place_read(request->server->place, desk);
    json_t *json = json_pack("{s:s}", "clip", name);
    return sl_reply_json(request, 201, json ? json : json_object());
}

/* ---- examinations ---- */

static enum MHD_Result reply_desk(sl_request *request, sl_desk *desk, long after, double seconds)
{
    char *text = sl_desk_text(desk, after, seconds);
    if (!text)
        return sl_reply_error(request, 500, "Memory ran out while answering. Close other programs and try again.");
    return sl_reply(request, 200, "application/json", MHD_create_response_from_buffer(strlen(text), text, MHD_RESPMEM_MUST_FREE));
}

static enum MHD_Result say(sl_request *request, sl_desk *desk)
{
    json_t *entries = sl_request_json(request);
    sl_error error;
    bool again;
    if (!entries)
        return sl_reply_error(request, 400, "The entries could not be read as JSON.");
    size_t at;
    json_t *entry;
    json_array_foreach(entries, at, entry)
    { /* who says it is known from the session, never from the entry */
        if (!json_is_object(entry))
            continue;
        json_object_del(entry, "by");
        if (request->entered)
            json_object_set_new(entry, "by", json_string(request->user.name));
    }
    sl_status status = sl_desk_say(desk, entries, &again, &error);
    json_decref(entries);
    if (status != SL_OK)
        return sl_reply_failed(request, status, &error);
    if (again)
        sl_place_read(request->server->place, desk);
    return reply_desk(request, desk, -1, 0);
}

static enum MHD_Result report_page(sl_request *request, sl_desk *desk)
{
    char path[] = "/tmp/strandline-page-XXXXXX";
    sl_error error;
    int pages = 0, file = mkstemp(path);
    if (file < 0)
        return sl_reply_error(request, 507, "There is no room for temporary files in /tmp. Make room and try again.");
    close(file);
    long page = sl_request_number(request, "page", 1, 10000, 1);
    double dots = (double)sl_request_number(request, "dots", 50, 400, 200) / 100;
    sl_status status = sl_desk_page(desk, sl_request_argument(request, "language"), (int)page, dots, path, &pages, &error);
    char *bytes;
    size_t length;
    if (status == SL_OK)
        status = sl_file_read(path, (size_t)64 << 20, &request->arena, &bytes, &length, &error);
    unlink(path);
    if (status != SL_OK)
        return sl_reply_error(request, 404, "%s", error.text);
    struct MHD_Response *response = MHD_create_response_from_buffer(length, bytes, MHD_RESPMEM_MUST_COPY);
    char count[16];
    snprintf(count, sizeof count, "%d", pages);
    if (response)
        MHD_add_response_header(response, "X-Pages", count);
    return sl_reply(request, 200, "image/png", response);
}

static bool is_learner(const sl_request *request)
{
    return request->entered && request->user.role == SL_ROLE_LEARNER;
}

/* The report of an examination that a worklist ordered names the patient; learners look at clips and findings. */
static bool is_hidden(sl_request *request, sl_desk *desk)
{
    static const char *const named[] = {"page.png", "report.pdf", "signed.pdf"};
    sl_exam exam = {.title = "", .date = "", .person = "", .question = "", .stated_protocol = ""};
    bool asked = false;
    for (size_t i = 0; i < sizeof named / sizeof *named && request->parts == 4; i++)
        asked = asked || sl_request_is(request, 3, named[i]);
    if (!asked || !is_learner(request))
        return false;
    sl_exam_apply_info(sl_path_join(&request->arena, sl_desk_folder(desk), "exam-info.json"), &request->arena, &exam);
    return exam.order != NULL;
}

/* With what the clinician says now. */
static sl_status write_tables(void *context, sl_exam *exam, const char *out, sl_arena *arena, sl_error *error)
{
    (void)context;
    const char *csv = sl_path_join(arena, out, "readings.csv"), *json = sl_path_join(arena, out, "exam.json");
    sl_status status = csv && json ? sl_report_csv(exam, csv, error) : sl_fail(error, SL_MEMORY, "Memory ran out while the tables were written.");
    return status == SL_OK ? sl_report_json(exam, out, json, error) : status;
}

static enum MHD_Result one_exam(sl_request *request)
{
    sl_desk *desk = sl_place_desk(request->server->place, request->part[2]);
    static const char *const files[][3] = {{"report.pdf", "application/pdf", "strandline-report.pdf"},
                                           {"readings.csv", "text/csv; charset=utf-8", "strandline-readings.csv"},
                                           {"exam.json", "application/json", "strandline-exam.json"},
                                           {"says.jsonl", "application/x-ndjson", "strandline-says.jsonl"}};
    if (!desk)
        return not_there(request);
    if (is_hidden(request, desk))
        return sl_reply_error(request, 403, "A learner does not see this report: it names the patient.");
    if (request->parts == 3 && request->get)
        return reply_desk(request, desk, sl_request_number(request, "after", 0, 1000000000, -1), 20);
    if (request->parts >= 4 && sl_request_is(request, 3, "clips"))
        return request->parts == 4 && !request->get ? finish_upload(request, desk) : clip_part(request, desk);
    if (request->parts != 4)
        return not_there(request);
    if (sl_request_is(request, 3, "says") && !request->get)
        return say(request, desk);
    if (sl_request_is(request, 3, "sign") && !request->get)
        return sl_seal_answer(request, desk);
    if (sl_request_is(request, 3, "sending"))
        return sl_sending_answer(request, desk);
    if (sl_request_is(request, 3, "arrived") && !request->get)
        return sl_arrived_take(request, desk);
    if (sl_request_is(request, 3, "signed.pdf") && request->get)
        return sl_seal_pdf(request, desk);
    if (sl_request_is(request, 3, "read") && !request->get) {
        sl_place_read(request->server->place, desk);
        return sl_reply_json(request, 202, json_object());
    }
    if (sl_request_is(request, 3, "page.png") && request->get)
        return report_page(request, desk);
    sl_error error;
    if (sl_request_is(request, 3, "report.pdf") && request->get && sl_desk_pdf(desk, sl_request_argument(request, "language"), &error) != SL_OK)
        return sl_reply_error(request, 404, "%s", error.text);
    bool table = sl_request_is(request, 3, "readings.csv") || sl_request_is(request, 3, "exam.json");
    if (table && request->get && sl_desk_with(desk, NULL, write_tables, NULL, &error) != SL_OK)
        return sl_reply_error(request, 404, "%s", error.text);
    for (size_t i = 0; i < sizeof files / sizeof *files && request->get; i++)
        if (sl_request_is(request, 3, files[i][0]))
            return sl_reply_file(request, sl_desk_file(desk, files[i][0], &request->arena), files[i][1],
                                 sl_request_argument(request, "show") ? NULL : files[i][2]);
    return not_there(request);
}

static enum MHD_Result add_exam(sl_request *request)
{
    json_t *facts = sl_request_json(request);
    char id[17];
    sl_error error;
    sl_status status = json_is_object(facts) ? sl_place_add(request->server->place, facts, id, &error)
                                             : sl_fail(&error, SL_USAGE, "The facts of the examination could not be read as JSON.");
    json_decref(facts);
    if (status != SL_OK)
        return sl_reply_error(request, status == SL_IO ? 507 : 400, "%s", error.text);
    return sl_reply_json(request, 201, json_pack("{s:s}", "id", id));
}

enum MHD_Result sl_api_answer(sl_request *request)
{
    if (!sl_request_is(request, 0, "api"))
        return request->parts <= 1 ? sl_api_asset(request, request->parts ? request->part[0] : "") : not_there(request);
    if (request->parts >= 3 && sl_request_is(request, 1, "exams"))
        return one_exam(request);
    if (sl_door_is(request))
        return sl_door_answer(request);
    if (sl_request_is(request, 1, "readers"))
        return sl_readers_answer(request);
    if (sl_request_is(request, 1, "learners"))
        return sl_learners_answer(request);
    if (request->parts != 2)
        return not_there(request);
    if (sl_request_is(request, 1, "exams"))
        return request->get ? sl_reply_json(request, 200, sl_place_json(request->server->place, !is_learner(request))) : add_exam(request);
    if (sl_request_is(request, 1, "arrived") && request->get)
        return sl_arrived_list(request);
    if (sl_request_is(request, 1, "planned"))
        return sl_planned_answer(request);
    if (sl_request_is(request, 1, "kept"))
        return sl_kept_answer(request);
    if (sl_request_is(request, 1, "tables") && request->get)
        return sl_reply_json(request, 200, sl_api_tables());
    if (sl_request_is(request, 1, "plan") && request->get)
        return sl_api_plan(request);
    if (sl_request_is(request, 1, "bench"))
        return sl_live_answer(request);
    return not_there(request);
}
