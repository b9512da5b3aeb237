#define _GNU_SOURCE /* prctl */
#include "node/fetch.h"

#include "dicom/syntaxes.h"
#include "node/receive.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { MOST_IN_A_REQUEST = 64, MOST_IN_VAIN = 3, MOST_SENDERS = 8, READY_S = 30 };

typedef struct job {
    const sl_fetch *fetch;
    const char *study_uid;
    sl_arena arena;
    sl_dicom_match *object; /* the listed ones, sorted by UID; of each series_uid, uid, class_uid are told */
    int objects;
    bool is_listed;
    int taken;              /* without a list: how many came */
    bool no_room;           /* an object was refused for want of it */
    int refused;            /* in the last round, of those that were asked for */
    sl_fetched *fetched;
} job;

static int by_uid(const void *a, const void *b)
{
    return strcmp(((const sl_dicom_match *)a)->uid, ((const sl_dicom_match *)b)->uid);
}

static int by_series(const void *a, const void *b)
{
    int order = strcmp(((const sl_dicom_match *)a)->series_uid, ((const sl_dicom_match *)b)->series_uid);
    return order ? order : by_uid(a, b);
}

static int text_order(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static bool is_kept_here(const char *class_uid)
{
    if (!*class_uid)
        return true; /* not told: tried */
    for (const char *const *at = sl_dicom_classes; *at; at++)
        if (!strcmp(*at, class_uid))
            return true;
    return false;
}

static sl_status no_memory(sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while fetching. Close other programs and try again.");
}

/* ---- what there is to be fetched ---- */

static sl_status add_series(job *own, const char *series_uid, sl_error *error)
{
    sl_matches images;
    const int left = own->fetch->most_objects - own->objects;
    sl_status status = sl_fetch_list(own->fetch, &(sl_dicom_question){.level = SL_LEVEL_IMAGE, .study_uid = own->study_uid, .series_uid = series_uid},
                                     "", left, &own->arena, &images, error);
    if (status)
        return status;
    if (images.cut)
        return sl_fail(error, SL_LIMIT, "The examination has more than %d objects; allow more with --most-objects.", own->fetch->most_objects);
    for (int i = 0; i < images.count; i++) {
        sl_dicom_match *one = &images.match[i];
        if (!sl_fetch_is_uid(one->uid) || (*one->series_uid && strcmp(one->series_uid, series_uid) != 0))
            continue;
        memcpy(one->series_uid, series_uid, strlen(series_uid) + 1);
        if (is_kept_here(one->class_uid))
            own->object[own->objects++] = *one;
        else
            own->fetched->left_out++;
    }
    return SL_OK;
}

/* A node that cannot be asked for its objects is fetched from all the same, only that nobody can tell whether all came. */
static sl_status list_objects(job *own, sl_error *error)
{
    sl_matches series;
    sl_status status = sl_fetch_list(own->fetch, &(sl_dicom_question){.level = SL_LEVEL_SERIES, .study_uid = own->study_uid}, "", SL_ASK_MOST,
                                     &own->arena, &series, error);
    own->object = SL_NEW(&own->arena, own->fetch->most_objects + 1, sl_dicom_match);
    if (!own->object)
        return no_memory(error);
    for (int i = 0; i < series.count && !status; i++)
        if (sl_fetch_is_uid(series.match[i].series_uid))
            status = add_series(own, series.match[i].series_uid, error);
    if (status && status != SL_UNSUPPORTED)
        return status;
    own->is_listed = !status && own->objects + own->fetched->left_out > 0;
    if (!own->is_listed)
        own->objects = 0;
    int kept = 0;
    if (own->objects)
        qsort(own->object, (size_t)own->objects, sizeof *own->object, by_uid);
    for (int i = 0; i < own->objects; i++) /* each once, whatever was said */
        if (!kept || strcmp(own->object[kept - 1].uid, own->object[i].uid) != 0)
            own->object[kept++] = own->object[i];
    own->objects = kept;
    own->fetched->listed = own->is_listed ? kept : -1;
    return SL_OK;
}

/* What of the listed is not there yet, a series after the other. */
static sl_status find_missing(job *own, sl_dicom_match *missing, int *count, sl_error *error)
{
    const char **uid;
    int known;
    *count = 0;
    sl_status status = own->fetch->known(own->fetch->keeper.context, own->study_uid, &own->arena, &uid, &known, error);
    if (status)
        return status;
    if (known)
        qsort(uid, (size_t)known, sizeof *uid, text_order);
    for (int i = 0; i < own->objects; i++) {
        const char *one = own->object[i].uid;
        if (!known || !bsearch(&one, uid, (size_t)known, sizeof *uid, text_order))
            missing[(*count)++] = own->object[i];
    }
    if (*count)
        qsort(missing, (size_t)*count, sizeof *missing, by_series);
    own->fetched->there = own->is_listed ? own->objects - *count : known;
    if (own->fetch->progress && own->is_listed)
        own->fetch->progress(own->fetch->context, own->fetched->there, own->objects);
    return SL_OK;
}

/* ---- taking ---- */

static unsigned begin(void *context, char *part, size_t room)
{
    job *own = context;
    const unsigned status = own->fetch->keeper.begin(own->fetch->keeper.context, part, room);
    own->no_room |= status != SL_STORE_DONE;
    return status;
}

/* Only what was asked for is kept. */
static unsigned finish(void *context, const sl_dicom_arrived *arrived)
{
    job *own = context;
    sl_dicom_match wanted = {.uid = ""};
    memcpy(wanted.uid, arrived->uid, sizeof wanted.uid);
    const bool ours = !strcmp(arrived->study_uid, own->study_uid) &&
                      (own->is_listed ? own->objects && bsearch(&wanted, own->object, (size_t)own->objects, sizeof wanted, by_uid)
                                      : own->taken < own->fetch->most_objects);
    if (!ours) {
        own->fetched->foreign++;
        unlink(arrived->part);
        return SL_STORE_MISMATCH;
    }
    own->taken++;
    return own->fetch->keeper.finish(own->fetch->keeper.context, arrived);
}

static void enter(void *context)
{
    const sl_fetch *fetch = ((job *)context)->fetch;
    if (fetch->keeper.enter)
        fetch->keeper.enter(fetch->keeper.context);
}

static sl_status prepared(void *context, sl_error *error)
{
    (void)context, (void)error;
    return SL_OK;
}

/* ---- our own receiver, in a process of its own ---- */

typedef struct helper {
    pid_t process;
    int ready; /* pipe that it tells its port through */
} helper;

static volatile sig_atomic_t helper_stop;

static void stop_helper(int signal_number)
{
    (void)signal_number;
    helper_stop = 1;
}

static void say_ready(void *context, int port)
{
    const int *to = context;
    if (write(*to, &port, sizeof port) < 0)
        helper_stop = 1;
}

static sl_status run_receiver(job *own, int to, sl_error *error)
{
    const sl_fetch *fetch = own->fetch;
    helper_stop = 0;
    signal(SIGTERM, stop_helper);
    signal(SIGINT, SIG_IGN);
    prctl(PR_SET_PDEATHSIG, SIGTERM);
    sl_receiver receiver = {.address = fetch->address, .port = fetch->port, .most_associations = MOST_SENDERS,
                            .host = {.title = fetch->peer.own, .most_bytes = fetch->most_bytes, .idle_s = fetch->peer.answer_s,
                                     .tls = fetch->peer.tls},
                            .keeper = {prepared, enter, begin, finish, own}, .ready = say_ready, .context = &to, .stop = &helper_stop};
    return sl_receive(&receiver, error);
}

static sl_status start_receiver(job *own, helper *receiver, sl_error *error)
{
    int ends[2], port = 0;
    if (pipe(ends))
        return sl_fail(error, SL_IO, "The receiver for C-MOVE could not be started.");
    fflush(NULL);
    receiver->process = fork();
    if (!receiver->process) {
        sl_error why = {.status = SL_OK};
        close(ends[0]);
        if (run_receiver(own, ends[1], &why) != SL_OK) {
            port = -1;
            if (write(ends[1], &port, sizeof port) < 0 || write(ends[1], &why, sizeof why) < 0)
                _exit(2);
        }
        _exit(0);
    }
    close(ends[1]);
    const bool told = receiver->process > 0 && read(ends[0], &port, sizeof port) == (ssize_t)sizeof port && port > 0;
    sl_error why = {.status = SL_IO, .text = "The receiver for C-MOVE could not be started."};
    if (!told && port < 0 && read(ends[0], &why, sizeof why) != (ssize_t)sizeof why)
        why = (sl_error){.status = SL_IO, .text = "The receiver for C-MOVE could not be started."};
    close(ends[0]);
    if (told)
        return SL_OK;
    if (receiver->process > 0)
        waitpid(receiver->process, NULL, 0);
    receiver->process = 0;
    why.text[sizeof why.text - 1] = 0;
    return sl_fail(error, SL_IO, "%s", why.text);
}

static void end_receiver(helper *receiver)
{
    if (receiver->process <= 0)
        return;
    kill(receiver->process, SIGTERM);
    waitpid(receiver->process, NULL, 0);
    receiver->process = 0;
}

/* ---- one round ---- */

static sl_status ask_for(job *own, const sl_dicom_wanted *wanted, sl_error *error)
{
    const sl_fetch *fetch = own->fetch;
    sl_dicom_taken taken;
    if (own->fetched->by_move)
        return sl_dicom_move(&fetch->peer, wanted, fetch->peer.own, &taken, error);
    const sl_dicom_host host = {.begin = begin, .finish = finish, .context = own, .most_bytes = fetch->most_bytes};
    const int foreign = own->fetched->foreign;
    sl_status status = sl_dicom_get(&fetch->peer, wanted, &host, &taken, error);
    own->refused += taken.refused - (own->fetched->foreign - foreign);
    return status;
}

/* Asks for the first of `missing` that go into one request; returns how many these were. */
static int ask_some(job *own, const sl_dicom_match *missing, int count, sl_status *status, sl_error *error)
{
    const char *uid[MOST_IN_A_REQUEST], *class_uid[MOST_IN_A_REQUEST];
    int uids = 0, classes = 0;
    bool told = true;
    for (; uids < count && uids < MOST_IN_A_REQUEST && !strcmp(missing[uids].series_uid, missing[0].series_uid); uids++) {
        int k = 0;
        uid[uids] = missing[uids].uid;
        told = told && *missing[uids].class_uid;
        while (k < classes && strcmp(class_uid[k], missing[uids].class_uid) != 0)
            k++;
        if (k == classes)
            class_uid[classes++] = missing[uids].class_uid;
    }
    *status = ask_for(own, &(sl_dicom_wanted){.level = SL_LEVEL_IMAGE, .study_uid = own->study_uid, .series_uid = missing[0].series_uid, .uid = uid,
                                              .uids = uids, .class_uid = told ? class_uid : NULL, .classes = told ? classes : 0}, error);
    return uids;
}

static sl_status ask_all(job *own, const sl_dicom_match *missing, int count, sl_error *error)
{
    sl_status status = SL_OK;
    if (!own->is_listed)
        return ask_for(own, &(sl_dicom_wanted){.level = SL_LEVEL_STUDY, .study_uid = own->study_uid}, error);
    for (int at = 0; at < count && !status;)
        at += ask_some(own, missing + at, count - at, &status, error);
    return status;
}

static void wait_before(int trial)
{
    struct timespec pause = {1L << (trial < 4 ? trial : 4), 0};
    nanosleep(&pause, NULL);
}

/* Round after round, until everything is there or rounds bring nothing. */
static sl_status fetch_all(job *own, helper *receiver, sl_error *error)
{
    const sl_fetch *fetch = own->fetch;
    sl_dicom_match *missing = SL_NEW(&own->arena, own->objects + 1, sl_dicom_match);
    int count, before;
    if (!missing)
        return no_memory(error);
    sl_status status = find_missing(own, missing, &count, error), asked = SL_OK;
    own->fetched->known = own->fetched->there;
    own->fetched->by_move = fetch->only_move;
    for (int in_vain = 0; !status && (count || !own->is_listed) && in_vain < MOST_IN_VAIN;) {
        if (own->fetched->by_move && !receiver->process)
            status = start_receiver(own, receiver, error);
        if (status)
            return status;
        if (!own->fetched->by_move)
            enter(own);
        own->refused = 0;
        asked = ask_all(own, missing, count, error);
        if (!own->fetched->by_move && fetch->leave)
            fetch->leave(fetch->keeper.context);
        if (asked == SL_UNSUPPORTED && !own->fetched->by_move && fetch->port) {
            own->fetched->by_move = true;
            continue;
        }
        before = own->fetched->there;
        sl_status looked = find_missing(own, missing, &count, asked ? NULL : error);
        if (looked)
            return looked;
        if (own->no_room)
            return sl_fail(error, SL_IO, "There is no room here for what comes: the disk must keep free what --keep-free-mb says. %d of %d objects are there.",
                           own->fetched->there, own->objects);
        if (asked == SL_UNSUPPORTED || asked == SL_USAGE || asked == SL_MEMORY)
            return asked;
        if (!asked && !own->is_listed)
            return own->fetched->there ? SL_OK
                                       : sl_fail(error, SL_UNREADABLE, "The other side has nothing of that examination that can be fetched.");
        in_vain = own->fetched->there > before ? 0 : in_vain + 1;
        if (in_vain && !own->fetched->by_move && fetch->port) /* it does as if, but cannot send on our connection */
            own->fetched->by_move = true;
        if (asked && in_vain < MOST_IN_VAIN)
            wait_before(in_vain);
    }
    if (status || !count)
        return status;
    if (own->refused)
        return sl_fail(error, SL_IO, "%d of %d objects came and were refused here: larger than --most-mb allows, or not what the other side said they were.",
                       own->refused, own->objects);
    if (asked)
        return asked; /* its sentence says why */
    return sl_fail(error, SL_IO, "%d of %d objects did not come although the other side says that it is done; they may be of a kind that is not kept here. Ask who runs it.", count, own->objects);
}

sl_status sl_fetch_study(const sl_fetch *fetch, const char *study_uid, sl_fetched *fetched, sl_error *error)
{
    helper receiver = {0};
    *fetched = (sl_fetched){.listed = -1};
    job own = {.fetch = fetch, .study_uid = study_uid, .fetched = fetched};
    if (!sl_fetch_is_uid(study_uid))
        return sl_fail(error, SL_USAGE, "%.80s is no identifier of an examination (digits and dots).", study_uid);
    sl_status status = fetch->keeper.prepare(fetch->keeper.context, error);
    if (!status)
        status = list_objects(&own, error);
    if (!status)
        status = fetch_all(&own, &receiver, error);
    end_receiver(&receiver);
    sl_arena_free(&own.arena);
    return status;
}
