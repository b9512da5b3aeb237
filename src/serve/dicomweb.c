#include "serve/dicomweb.h"

#include "dicomweb/media.h"
#include "dicomweb/retrieve.h"
#include "dicomweb/search.h"
#include "dicomweb/stow.h"
#include "serve/api.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sl_dicomweb {
    sl_store *store;
    sl_stow *stow;
    bool xml; /* the answer */
};

static const char dicom_json[] = "application/dicom+json";

/* ---- what is said of it all ---- */

static void address_of(const sl_request *request, char *text, size_t room)
{
    const sl_server *server = request->server;
    if (server->door)
        snprintf(text, room, "https://%s/dicom", server->host[1]);
    else
        snprintf(text, room, "http://%s/%s/dicom", server->host[0], server->token);
}

static const char *accepted(const sl_request *request)
{
    const char *argument = sl_request_argument(request, "accept");
    return argument ? argument : MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, "Accept");
}

/* Answers of metadata: 0 none that is understood, 1 JSON, 2 XML where `xml` allows it. */
static int metadata_type(const sl_request *request, bool xml)
{
    sl_media media[SL_MEDIA_MOST];
    int count = sl_media_accepts(accepted(request), media);
    for (int i = 0; i < count; i++) {
        if (!media[i].multipart && (sl_media_is(&media[i], dicom_json) || sl_media_is(&media[i], "application/json")))
            return 1;
        if (xml && !media[i].multipart && sl_media_is(&media[i], "application/dicom+xml"))
            return 2;
    }
    return 0;
}

static bool is_uid(const char *text)
{
    size_t length = strspn(text, "0123456789.");
    return length > 0 && length <= 64 && !text[length] && text[0] != '.';
}

static sl_status open_store(const sl_request *request, sl_store **store, sl_error *error)
{
    const char *who = sl_request_who(request);
    return sl_place_open_store(request->server->place, who ? who : "dicomweb", true, store, error);
}

/* A Warning (RFC 7234 5.5, as PS3.18 8.3.4 and 10.6.3 want it) with a sentence of ours. */
static void warn(struct MHD_Response *response, const char *sentence)
{
    char value[700];
    size_t used = (size_t)snprintf(value, sizeof value, "299 strandline \"");
    for (const char *at = sentence; *at && used + 3 < sizeof value; at++)
        value[used++] = *at == '"' || *at == '\\' || (unsigned char)*at < ' ' ? '\'' : *at;
    value[used++] = '"';
    value[used] = 0;
    if (response)
        MHD_add_response_header(response, "Warning", value);
}

/* ---- objects in ---- */

unsigned sl_dicomweb_begin(sl_request *request, sl_error *why)
{
    if (!sl_request_is(request, 1, "studies") || request->parts > 3 || (request->parts == 3 && !is_uid(request->part[2]))) {
        sl_fail(why, SL_USAGE, "Objects are brought in at dicom/studies or dicom/studies/UID.");
        return 404;
    }
    int type = metadata_type(request, true);
    if (!type) {
        sl_fail(why, SL_USAGE, "The answer can be application/dicom+json or application/dicom+xml.");
        return 406;
    }
    sl_dicomweb *self = request->dicomweb = calloc(1, sizeof *self);
    if (!self) {
        sl_fail(why, SL_MEMORY, "Memory ran out.");
        return 507;
    }
    self->xml = type == 2;
    sl_status status = open_store(request, &self->store, why);
    char from[100];
    snprintf(from, sizeof from, "%s", request->entered ? request->user.name : "dicomweb");
    if (status == SL_OK)
        status = sl_stow_open(self->store, MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, "Content-Type"),
                              request->parts == 3 ? request->part[2] : NULL, from, &self->stow, why);
    return status == SL_OK ? 0 : status == SL_UNSUPPORTED ? 415 : status == SL_USAGE ? 400 : 507;
}

unsigned sl_dicomweb_take(sl_request *request, const void *bytes, size_t length, sl_error *why)
{
    if (request->received > sl_stow_most_body) {
        sl_fail(why, SL_LIMIT, "That is too much for one request. Send the objects in several.");
        return 413;
    }
    sl_status status = sl_stow_add(request->dicomweb->stow, bytes, length, why);
    return status == SL_OK ? 0 : status == SL_LIMIT ? 413 : status == SL_MEMORY ? 507 : 400;
}

static enum MHD_Result bring_in(sl_request *request)
{
    sl_dicomweb *self = request->dicomweb;
    sl_stow_answer answer;
    sl_error error;
    char root[400], sentence[400];
    address_of(request, root, sizeof root);
    sl_status status = sl_stow_finish(self->stow, root, self->xml, &answer, &error);
    if (status != SL_OK)
        return sl_reply_error(request, status == SL_MEMORY ? 507 : 400, "%s", error.text);
    struct MHD_Response *response = MHD_create_response_from_buffer(answer.length, answer.text, MHD_RESPMEM_MUST_FREE);
    if (!response) {
        free(answer.text);
        return MHD_NO;
    }
    if (*answer.first_refusal)
        warn(response, answer.first_refusal);
    if (answer.beside) {
        snprintf(sentence, sizeof sentence, "%d of the objects had a known UID and other content: kept beside it; what is retrieved is the first.", answer.beside);
        warn(response, sentence);
    }
    return sl_reply(request, answer.status, self->xml ? "application/dicom+xml" : dicom_json, response);
}

void sl_dicomweb_end(sl_request *request)
{
    sl_dicomweb *self = request->dicomweb;
    if (!self)
        return;
    sl_stow_free(&self->stow);
    sl_store_close(self->store);
    free(self);
    request->dicomweb = NULL;
}

void sl_dicomweb_tidy(const char *folder)
{
    const sl_store_options options = {.folder = folder, .who = "dicomweb"};
    sl_store *store;
    if (sl_store_open(&options, &store, NULL) == SL_OK)
        sl_store_object_tidy(store);
    sl_store_close(store);
}

/* ---- searching ---- */

typedef struct asking {
    sl_search search;
    sl_status status;
    sl_error *why;
} asking;

static enum MHD_Result add_argument(void *context, enum MHD_ValueKind kind, const char *name, const char *value)
{
    asking *self = context;
    (void)kind;
    if (strcmp(name, "accept") != 0)
        self->status = sl_search_add(&self->search, name, value ? value : "", self->why);
    return self->status == SL_OK ? MHD_YES : MHD_NO;
}

static enum MHD_Result reply_search(sl_request *request, const sl_search *search, const sl_search_outcome *outcome, sl_text *json)
{
    char sentence[600];
    struct MHD_Response *response = outcome->returned ? MHD_create_response_from_buffer(json->length, json->bytes, MHD_RESPMEM_MUST_COPY)
                                                      : MHD_create_response_from_buffer(0, NULL, MHD_RESPMEM_PERSISTENT);
    long left = outcome->matches - outcome->returned - search->offset;
    if (*search->unsupported) {
        snprintf(sentence, sizeof sentence, "The following search parameters are not supported and had no effect: %s", search->unsupported);
        warn(response, sentence);
    }
    if (outcome->returned && left > 0) {
        snprintf(sentence, sizeof sentence, "There are %ld additional results that can be requested", left);
        warn(response, sentence);
    }
    return sl_reply(request, outcome->returned ? 200 : 204, dicom_json, response);
}

static enum MHD_Result search_for(sl_request *request, sl_search_level level, const char *study, const char *series)
{
    sl_error error;
    char root[400];
    asking *self = SL_NEW(&request->arena, 1, asking);
    sl_store *store = NULL;
    sl_text json = {0};
    sl_search_outcome outcome;
    if (!self)
        return sl_reply_error(request, 507, "Memory ran out.");
    if (metadata_type(request, false) != 1)
        return sl_reply_error(request, 406, "The answer can be application/dicom+json.");
    address_of(request, root, sizeof root);
    self->search = (sl_search){.level = level, .study = study, .series = series, .root = root};
    self->why = &error;
    MHD_get_connection_values(request->connection, MHD_GET_ARGUMENT_KIND, add_argument, self);
    if (self->status != SL_OK)
        return sl_reply_error(request, 400, "%s", error.text);
    sl_status status = open_store(request, &store, &error);
    if (status == SL_OK)
        status = sl_search_run(&self->search, store, &json, &outcome, &error);
    sl_store_close(store);
    enum MHD_Result queued = status == SL_OK ? reply_search(request, &self->search, &outcome, &json)
                                             : sl_reply_error(request, 507, "%s", error.text);
    sl_text_free(&json);
    return queued;
}

/* ---- objects out ---- */

static ssize_t pull(void *context, uint64_t position, char *buffer, size_t most)
{
    (void)position;
    ssize_t got = sl_retrieval_pull(context, buffer, most);
    return got > 0 ? got : got == 0 ? MHD_CONTENT_READER_END_OF_STREAM : MHD_CONTENT_READER_END_WITH_ERROR;
}

static void drop(void *context)
{
    sl_retrieval *retrieval = context;
    sl_retrieval_free(&retrieval);
}

static enum MHD_Result give_out(sl_request *request, sl_retrieve *ask)
{
    enum { PIECE = 128 * 1024 };
    char root[400];
    sl_store *store = NULL;
    sl_retrieval *retrieval = NULL;
    sl_error error;
    unsigned http = 507;
    address_of(request, root, sizeof root);
    ask->root = root;
    ask->accept = accepted(request);
    ask->quality = sl_request_argument(request, "quality");
    ask->viewport = sl_request_argument(request, "viewport");
    ask->window = sl_request_argument(request, "window");
    sl_status status = open_store(request, &store, &error);
    if (status == SL_OK)
        status = sl_retrieve_open(ask, store, &retrieval, &http, &error);
    sl_store_close(store);
    if (status != SL_OK)
        return sl_reply_error(request, http, "%s", error.text);
    struct MHD_Response *response = MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, PIECE, pull, retrieval, drop);
    if (!response) {
        drop(retrieval);
        return MHD_NO;
    }
    if (sl_request_argument(request, "annotation"))
        warn(response, "The following search parameters are not supported and had no effect: annotation");
    return sl_reply(request, 200, sl_retrieval_type(retrieval), response);
}

/* What is asked for of a study, a series or an object; `at`: the part of the address behind its UID. */
static enum MHD_Result retrieve(sl_request *request, sl_retrieve *ask, int at)
{
    const bool one = ask->uid != NULL;
    const int rest = request->parts - at;
    if (rest == 0) {
        ask->what = SL_RETRIEVE_OBJECTS;
        return give_out(request, ask);
    }
    if (rest == 1 && sl_request_is(request, at, "metadata")) {
        ask->what = SL_RETRIEVE_METADATA;
        return give_out(request, ask);
    }
    ask->list = rest >= 2 ? request->part[at + 1] : NULL;
    const bool frames = rest >= 2 && sl_request_is(request, at, "frames");
    const int last = frames ? at + 2 : at;
    if (one && frames && rest == 2)
        ask->what = SL_RETRIEVE_FRAMES;
    else if (one && rest == 2 && sl_request_is(request, at, "bulkdata"))
        ask->what = SL_RETRIEVE_BULK;
    else if (one && request->parts == last + 1 && sl_request_is(request, last, "rendered"))
        ask->what = SL_RETRIEVE_PICTURE;
    else if (one && request->parts == last + 1 && sl_request_is(request, last, "thumbnail"))
        ask->what = SL_RETRIEVE_THUMBNAIL;
    else
        return sl_reply_error(request, 404, "There is nothing under this address.");
    return give_out(request, ask);
}

/* ---- which of them ---- */

enum MHD_Result sl_dicomweb_answer(sl_request *request)
{
    if (!request->get)
        return bring_in(request);
    const bool studies = sl_request_is(request, 1, "studies");
    for (int i = 2; i < request->parts && i <= 6 && studies; i += 2) /* studies/UID/series/UID/instances/UID */
        if ((i == 2 || sl_request_is(request, i - 1, i == 4 ? "series" : "instances")) && !is_uid(request->part[i]))
            return sl_reply_error(request, 400, "%.80s is no UID.", request->part[i]);
    const char *study = studies && request->parts > 2 ? request->part[2] : NULL;
    if (request->parts == 2 && studies)
        return search_for(request, SL_SEARCH_STUDIES, NULL, NULL);
    if (request->parts == 2 && sl_request_is(request, 1, "series"))
        return search_for(request, SL_SEARCH_SERIES, NULL, NULL);
    if (request->parts == 2 && sl_request_is(request, 1, "instances"))
        return search_for(request, SL_SEARCH_INSTANCES, NULL, NULL);
    if (request->parts == 4 && study && sl_request_is(request, 3, "series"))
        return search_for(request, SL_SEARCH_SERIES, study, NULL);
    if (request->parts == 4 && study && sl_request_is(request, 3, "instances"))
        return search_for(request, SL_SEARCH_INSTANCES, study, NULL);
    if (request->parts == 6 && study && sl_request_is(request, 3, "series") && sl_request_is(request, 5, "instances"))
        return search_for(request, SL_SEARCH_INSTANCES, study, request->part[4]);
    const bool series = request->parts > 4 && sl_request_is(request, 3, "series");
    const bool instance = series && request->parts > 6 && sl_request_is(request, 5, "instances");
    sl_retrieve ask = {.study = study, .series = series ? request->part[4] : NULL, .uid = instance ? request->part[6] : NULL};
    if (study)
        return retrieve(request, &ask, instance ? 7 : series ? 5 : 3);
    return sl_reply_error(request, 404, "There is nothing under this address. DICOM's web services are below dicom/studies, dicom/series and dicom/instances.");
}
