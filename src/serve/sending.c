#include "serve/sending.h"

#include "core/json.h"
#include "core/text.h"
#include "dicom/describe.h"
#include "node/destinations.h"
#include "node/queue_json.h"
#include "node/send.h"
#include "objects/exam.h"
#include "report/report.h"
#include "report/words.h"
#include "serve/api.h"
#include "serve/door.h"
#include "store/store.h"

#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { LOOK_S = 5 /* for what another program queued */, FAREWELL_S = 2 };

struct sl_sending {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    bool woken; /* with `lock` */
    volatile sig_atomic_t stop;
    char folder[3000]; /* of the store */
};

/* ---- the thread ---- */

static int64_t send_due(sl_sending *self)
{
    char path[3100];
    sl_queue *queue = NULL;
    sl_error error;
    sl_send_count count;
    const sl_send_run run = {.stop = &self->stop};
    int64_t next = 0;
    snprintf(path, sizeof path, "%s/sending/queue.db", self->folder);
    if (access(path, F_OK) || sl_queue_open(self->folder, &queue, &error) != SL_OK)
        return 0;
    sl_queue_run_once(queue, &run, &count, &error); /* why something waits is written with it */
    next = sl_queue_next(queue);
    sl_queue_close(queue);
    return next;
}

static void *work(void *context)
{
    sl_sending *self = context;
    while (!self->stop) {
        const int64_t next = send_due(self), now = (int64_t)time(NULL);
        struct timespec until;
        clock_gettime(CLOCK_REALTIME, &until);
        until.tv_sec += next > now && next < now + LOOK_S ? next - now : LOOK_S;
        pthread_mutex_lock(&self->lock);
        while (!self->woken && !pthread_cond_timedwait(&self->wake, &self->lock, &until))
            ;
        self->woken = false;
        pthread_mutex_unlock(&self->lock);
    }
    return NULL;
}

static void wake(sl_sending *self)
{
    pthread_mutex_lock(&self->lock);
    self->woken = true;
    pthread_cond_signal(&self->wake);
    pthread_mutex_unlock(&self->lock);
}

sl_status sl_sending_start(const char *store, sl_sending **sending, sl_error *error)
{
    sl_arena arena = {0};
    const char *folder = store ? store : sl_store_default_folder(&arena);
    *sending = NULL;
    sl_sending *self = folder ? calloc(1, sizeof *self) : NULL;
    if (self && snprintf(self->folder, sizeof self->folder, "%s", folder) >= (int)sizeof self->folder) {
        free(self);
        self = NULL;
    }
    sl_arena_free(&arena);
    if (!self)
        return SL_OK;
    pthread_mutex_init(&self->lock, NULL);
    pthread_cond_init(&self->wake, NULL);
    if (pthread_create(&self->thread, NULL, work, self)) {
        free(self);
        return sl_fail(error, SL_MEMORY, "Memory ran out while the server was started.");
    }
    *sending = self;
    return SL_OK;
}

void sl_sending_end(sl_sending **sending)
{
    sl_sending *self = *sending;
    *sending = NULL;
    if (!self)
        return;
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += FAREWELL_S;
    self->stop = 1;
    wake(self);
    if (pthread_timedjoin_np(self->thread, NULL, &until)) {
        pthread_detach(self->thread); /* it waits for the other side; it keeps `self` */
        return;
    }
    pthread_cond_destroy(&self->wake);
    pthread_mutex_destroy(&self->lock);
    free(self);
}

/* ---- what the page asks ---- */

static bool may_send(const sl_request *request)
{
    return request->server->sending && (!request->server->door || (request->entered && request->user.role != SL_ROLE_LEARNER));
}

/* The study that the examination's objects are of; false before any were made. */
static bool study_of(sl_request *request, sl_desk *desk, sl_dicom_words *words)
{
    sl_error ignored;
    const char *path = sl_desk_file(desk, "dicom/findings.dcm", &request->arena);
    return path && !access(path, R_OK) && sl_dicom_describe(path, words, &ignored) == SL_OK;
}

static json_t *destinations_json(sl_request *request)
{
    const sl_destination *list;
    int count = 0;
    sl_error ignored;
    json_t *all = json_array();
    if (sl_destinations(request->server->sending->folder, &request->arena, &list, &count, &ignored) != SL_OK)
        count = 0;
    for (int i = 0; i < count; i++) {
        const bool web = sl_destination_is_web(list[i].address);
        const bool safe = web ? !strncasecmp(list[i].address, "https", 5) : list[i].secure || *list[i].certificate || *list[i].trust;
        json_array_append_new(all, json_pack("{s:s, s:s, s:b}", "name", list[i].name, "kind", web ? "STOW-RS" : "C-STORE", "safe", safe));
    }
    return all;
}

static json_t *items_json(sl_request *request, sl_desk *desk)
{
    sl_queue *queue = NULL;
    const sl_queue_item *item;
    int count = 0;
    sl_error ignored;
    json_t *all = json_array();
    sl_dicom_words *words = SL_NEW(&request->arena, 1, sl_dicom_words);
    if (!words || !study_of(request, desk, words) || sl_queue_open(request->server->sending->folder, &queue, &ignored) != SL_OK)
        return all;
    const sl_queue_query query = {.study_uid = words->study_uid, .state = -1};
    if (sl_queue_list(queue, &query, &request->arena, &item, &count, &ignored) != SL_OK)
        count = 0;
    for (int i = count - 1; i >= 0; i--) /* the last first */
        json_array_append_new(all, sl_queue_item_json(&item[i]));
    sl_queue_close(queue);
    return all;
}

static enum MHD_Result reply_state(sl_request *request, sl_desk *desk)
{
    if (!may_send(request))
        return sl_reply_json(request, 200, json_pack("{s:b, s:[], s:[]}", "may", 0, "destinations", "items"));
    return sl_reply_json(request, 200, json_pack("{s:b, s:o, s:o}", "may", 1, "destinations", destinations_json(request), "items", items_json(request, desk)));
}

typedef struct chosen {
    bool findings, report, clips;
    const char *to;
    sl_queue *queue;
    int fate[3];
} chosen;

static sl_status put(chosen *own, const char *path, sl_error *error)
{
    sl_queue_fate fate;
    sl_status status = path ? sl_queue_put(own->queue, path, own->to, false, &fate, NULL, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK)
        own->fate[fate]++;
    return status;
}

/* Makes the objects of what stands now and queues what was chosen. */
static sl_status queue_exam(void *context, sl_exam *exam, const char *out, sl_arena *arena, sl_error *error)
{
    chosen *own = context;
    const char *pdf = sl_path_join(arena, out, "report.pdf");
    sl_status status = pdf ? sl_report_pdf(exam, out, pdf, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK)
        status = sl_exam_objects(exam, out, sl_words_caution, false, error);
    if (status == SL_OK && own->findings)
        status = put(own, sl_path_join(arena, out, "dicom/findings.dcm"), error);
    if (status == SL_OK && own->report)
        status = put(own, sl_path_join(arena, out, "dicom/report.dcm"), error);
    for (int i = 0; i < exam->clips && own->clips && status == SL_OK; i++) {
        const char *path = sl_exam_object_of(&exam->clip[i], out, arena);
        if (path)
            status = put(own, path, error);
    }
    return status;
}

static bool names(const json_t *list, const char *word)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *one = json_string_value(json_array_get(list, i));
        if (one && !strcmp(one, word))
            return true;
    }
    return false;
}

/* Beyond this machine the access log says what left, for where and by whom. */
static void note(const sl_request *request, const char *id, const chosen *own)
{
    char what[160];
    sl_error ignored;
    if (!request->server->door)
        return;
    snprintf(what, sizeof what, "queued for %.80s:%s%s%s", own->to, own->findings ? " findings" : "", own->report ? " report" : "", own->clips ? " clips" : "");
    sl_access_log_add(request->server->door->log, request->user.name, request->from, what, id, &ignored);
}

static sl_status do_queue(sl_request *request, sl_desk *desk, const json_t *asked, chosen *own, sl_error *error)
{
    const sl_destination *list;
    int count = 0;
    const json_t *what = json_object_get(asked, "what");
    *own = (chosen){.findings = names(what, "findings"), .report = names(what, "report"), .clips = names(what, "clips"), .to = sl_json_text(asked, "to")};
    if (!own->findings && !own->report && !own->clips)
        return sl_fail(error, SL_USAGE, "Choose what is to be sent.");
    sl_status status = sl_destinations(request->server->sending->folder, &request->arena, &list, &count, error);
    if (status == SL_OK && !sl_destination_of(list, count, own->to))
        status = sl_fail(error, SL_USAGE, "There is no destination of that name.");
    if (status == SL_OK)
        status = sl_queue_open(request->server->sending->folder, &own->queue, error);
    if (status == SL_OK)
        status = sl_desk_with(desk, json_string_value(json_object_get(asked, "language")), queue_exam, own, error);
    if (status == SL_OK)
        note(request, sl_desk_id(desk), own);
    sl_queue_close(own->queue);
    return status;
}

/* Tries an item of this examination again, or takes it out. */
static sl_status change_item(sl_request *request, sl_desk *desk, int64_t id, bool forget, sl_error *error)
{
    sl_queue *queue = NULL;
    const sl_queue_item *item;
    int count = 0, changed = 0;
    sl_dicom_words *words = SL_NEW(&request->arena, 1, sl_dicom_words);
    if (!words || !study_of(request, desk, words))
        return sl_fail(error, SL_USAGE, "Nothing of this examination was sent.");
    sl_status status = sl_queue_open(request->server->sending->folder, &queue, error);
    if (status == SL_OK)
        status = sl_queue_list(queue, &(sl_queue_query){.study_uid = words->study_uid, .state = -1}, &request->arena, &item, &count, error);
    bool own = false, sent = false;
    for (int i = 0; i < count; i++) {
        own |= item[i].id == id;
        sent |= item[i].id == id && item[i].state == SL_QUEUE_SENT;
    }
    if (status == SL_OK && (!own || (sent && forget)))
        status = sl_fail(error, SL_USAGE, sent ? "That was delivered already." : "That does not wait any more.");
    if (status == SL_OK && !sent) /* what was delivered meanwhile needs no other try */
        status = forget ? sl_queue_forget(queue, id, error) : sl_queue_retry(queue, id, &changed, error);
    sl_queue_close(queue);
    return status;
}

enum MHD_Result sl_sending_answer(sl_request *request, sl_desk *desk)
{
    sl_error error;
    if (request->get)
        return reply_state(request, desk);
    if (!may_send(request))
        return sl_reply_error(request, 403, "Nothing can be sent from here.");
    json_t *asked = sl_request_json(request);
    const json_t *retry = json_object_get(asked, "retry"), *forget = json_object_get(asked, "forget");
    chosen own = {0};
    sl_status status;
    if (json_is_integer(retry) || json_is_integer(forget))
        status = change_item(request, desk, json_integer_value(retry ? retry : forget), !retry, &error);
    else
        status = do_queue(request, desk, asked, &own, &error);
    json_decref(asked);
    wake(request->server->sending); /* some may be queued even where not all could be */
    if (status != SL_OK)
        return sl_reply_failed(request, status, &error);
    return sl_reply_json(request, 202, json_pack("{s:i, s:i, s:i}", "queued", own.fate[SL_QUEUED], "waited", own.fate[SL_QUEUE_WAITED], "done", own.fate[SL_QUEUE_DONE]));
}
