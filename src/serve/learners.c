#include "serve/learners.h"

#include "agree/learning.h"
#include "agree/study.h"
#include "core/file.h"
#include "core/json.h"
#include "serve/api.h"
#include "serve/frames.h"
#include "serve/invented.h"
#include "serve/readers.h"

#include <dirent.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

enum { POOL_STEP = 24, MOST_CLIPS = 50 }; /* chests by which a pool grows; clips of a session */

static pthread_mutex_t writing = PTHREAD_MUTEX_INITIALIZER;

static char *folder_of(sl_request *request, const char *name)
{
    return sl_arena_printf(&request->arena, "%s/report/learners/%s", sl_place_folder(request->server->place), name);
}

/* ---- who learns here ---- */

static enum MHD_Result overview(sl_request *request)
{
    json_t *list = json_array();
    char *folder = folder_of(request, "");
    DIR *open = folder ? opendir(folder) : NULL;
    for (struct dirent *entry; open && (entry = readdir(open));) {
        struct stat facts;
        sl_notes notes = {.arena = &request->arena};
        sl_learner learner;
        char *path = folder_of(request, entry->d_name);
        if (sl_reader_name_fits(entry->d_name, NULL) != SL_OK || !sl_reader_may(request, entry->d_name) || !path || stat(path, &facts) || !S_ISDIR(facts.st_mode) ||
            sl_learner_load(path, &request->arena, &notes, &learner, NULL) != SL_OK)
            continue;
        json_array_append_new(list, json_pack("{s:s,s:i,s:i}", "name", entry->d_name, "sessions", learner.sessions, "answers", learner.attempts));
    }
    if (open)
        closedir(open);
    struct stat facts;
    return sl_reply_json(request, 200, json_pack("{s:o,s:s,s:b}", "learners", list, "me", sl_reader_own_code(request), "agreed",
                                                 !stat(sl_path_join(&request->arena, sl_readers_folder(request), "reads"), &facts)));
}

/* ---- a session is drawn ---- */

/* The pool that was asked for, made or made larger where it needs to be. */
static sl_status pool_for(sl_request *request, const sl_learner *learner, const char *kind, int clips, char **path, sl_error *error)
{
    int level;
    sl_status status = sl_folder_make(folder_of(request, ""), error);
    if (status != SL_OK)
        return status;
    *path = sl_arena_printf(&request->arena, "%s%s.json", folder_of(request, ""), kind);
    if (!strcmp(kind, "agreed")) {
        sl_notes notes = {.arena = &request->arena};
        sl_study study;
        sl_reads agreed;
        json_t *list = json_array();
        status = sl_study_load(sl_readers_folder(request), &request->arena, &notes, &study, error);
        if (status == SL_OK)
            status = sl_study_agreed(&study, &agreed, error);
        for (int i = 0; status == SL_OK && i < agreed.count; i++)
            json_array_append_new(list, sl_reading_to_json(agreed.reading[i]));
        json_t *root = json_pack("{s:o}", "readings", list);
        if (status == SL_OK)
            status = sl_json_save(root, *path, error);
        json_decref(root);
        return status;
    }
    if (sscanf(kind, "invented-%1d", &level) != 1 || level < 1 || level > 3 || strlen(kind) != 10)
        return sl_fail(error, SL_USAGE, "There is no pool of that name.");
    int met = 0;
    for (int s = 0; s < learner->sessions; s++)
        met += strcmp(learner->session[s].pool, *path) ? 0 : learner->session[s].clips;
    int wanted = met + clips + POOL_STEP / 2;
    return sl_invented_pool(*path, level, (wanted + POOL_STEP - 1) / POOL_STEP * POOL_STEP, &request->arena, error);
}

static sl_status draw(sl_request *request, const json_t *asked, sl_learner *learner, int *number, sl_error *error)
{
    sl_notes notes = {.arena = &request->arena};
    sl_reads pool;
    sl_code code[SL_CODES];
    sl_session *session;
    int codes;
    json_int_t clips = json_integer_value(json_object_get(asked, "clips"));
    const json_t *seed = json_object_get(asked, "seed");
    char *path, when[40];
    sl_now(when, sizeof when);
    if (clips < 1 || clips > MOST_CLIPS)
        return sl_fail(error, SL_USAGE, "A session has 1 to %d clips.", MOST_CLIPS);
    sl_status status = sl_codes_of_json(json_object_get(asked, "findings"), code, &codes, error);
    if (status == SL_OK)
        status = pool_for(request, learner, sl_json_text(asked, "pool"), (int)clips, &path, error);
    if (status == SL_OK)
        status = sl_pool_load(path, &request->arena, &notes, &pool, error);
    if (status == SL_OK)
        status = sl_learner_draw(learner, &pool, path, (int)clips, code, codes,
                                 json_is_integer(seed) ? (uint64_t)json_integer_value(seed) % 2000000000 : (uint64_t)time(NULL), when,
                                 &session, error);
    *number = status == SL_OK ? session->number : 0;
    return status;
}

/* ---- a session ---- */

static const sl_session *session_of(const sl_learner *learner, const char *number)
{
    char text[16];
    for (int i = 0; i < learner->sessions; i++) {
        snprintf(text, sizeof text, "%d", learner->session[i].number);
        if (!strcmp(text, number))
            return &learner->session[i];
    }
    return NULL;
}

static const sl_attempt *attempt_on(const sl_learner *learner, const sl_session *session, const char *clip, sl_code code)
{
    for (int i = 0; i < learner->attempts; i++) {
        const sl_attempt *a = &learner->attempt[i];
        if (a->session == session->number && a->code == code && !strcmp(a->clip, clip))
            return a;
    }
    return NULL;
}

/* What was said and what is true of one clip; empty before it is answered. */
static json_t *marked(const sl_learner *learner, const sl_session *session, const char *clip)
{
    json_t *answers = json_array();
    for (int i = 0; i < session->codes; i++) {
        const sl_attempt *a = attempt_on(learner, session, clip, session->code[i]);
        if (!a)
            continue;
        json_t *one = json_pack("{s:s,s:s,s:s,s:b,s:b}", "finding", sl_finding_info_of(a->code)->key, "said", a->said, "truth",
                                a->truth, "right", a->right, "first", a->first);
        if (one)
            json_array_append_new(answers, one);
    }
    return answers;
}

static json_t *clip_json(sl_request *request, const sl_learner *learner, const sl_session *session, const sl_reads *pool, const json_t *studied,
                         int index)
{
    const char *clip = session->clip[index];
    const sl_reading *truth = sl_reads_find(pool, clip);
    json_t *asked = json_array(), *answers = marked(learner, session, clip), *json;
    for (int i = 0; i < session->codes && truth; i++)
        if (sl_truth_certain(sl_reading_get(truth, session->code[i])))
            json_array_append_new(asked, json_string(sl_finding_info_of(session->code[i])->key));
    bool done = json_array_size(answers) >= json_array_size(asked);
    json_t *lies = json_object_get(studied, clip);
    json = lies ? sl_blind_clip_json(request, sl_json_text(lies, "exam"), sl_json_text(lies, "where")) : json_object();
    json_object_set_new(json, "asked", asked);
    json_object_set_new(json, "answers", answers);
    json_object_set_new(json, "done", json_boolean(done));
    json_object_set_new(json, "invented", json_boolean(sl_invented_is(clip)));
    if (done && truth) /* what is true, and where it is seen, only now */
        json_object_set_new(json, "truth", sl_reading_to_json(truth));
    return json;
}

static enum MHD_Result show_session(sl_request *request, const sl_learner *learner, const sl_session *session)
{
    sl_notes notes = {.arena = &request->arena};
    sl_reads pool;
    sl_error error;
    sl_status status = sl_pool_load(session->pool, &request->arena, &notes, &pool, &error);
    if (status != SL_OK)
        return sl_reply_failed(request, status, &error);
    json_t *clips = json_array(), *findings = json_array(), *studied = sl_readers_clips(sl_readers_folder(request), &request->arena);
    for (int i = 0; i < session->codes; i++)
        json_array_append_new(findings, json_string(sl_finding_info_of(session->code[i])->key));
    for (int i = 0; i < session->clips; i++)
        json_array_append_new(clips, clip_json(request, learner, session, &pool, studied, i));
    json_decref(studied);
    return sl_reply_json(request, 200, json_pack("{s:i,s:o,s:o}", "number", session->number, "findings", findings, "clips", clips));
}

/* All answers on one clip at once, so that what is true of one finding does not give away the next. */
static sl_status answer(sl_request *request, sl_learner *learner, const sl_session *session, const json_t *said, sl_error *error)
{
    sl_notes notes = {.arena = &request->arena};
    sl_reads pool;
    json_int_t index = json_integer_value(json_object_get(said, "clip"));
    const json_t *words = json_object_get(said, "answers");
    char when[40];
    if (!json_is_integer(json_object_get(said, "clip")) || index < 0 || index >= session->clips || !json_is_object(words))
        return sl_fail(error, SL_USAGE, "The session has no such clip.");
    const char *clip = session->clip[index];
    sl_status status = sl_pool_load(session->pool, &request->arena, &notes, &pool, error);
    const sl_reading *truth = status == SL_OK ? sl_reads_find(&pool, clip) : NULL;
    sl_reading *reading = sl_reading_new(&request->arena, SL_BY_PERSON, "learner", clip);
    if (status == SL_OK && (!truth || !reading))
        return sl_fail(error, SL_USAGE, "The pool of this session no longer holds the clip.");
    sl_now(when, sizeof when);
    for (int i = 0; status == SL_OK && i < session->codes; i++) { /* checked before any is marked */
        const sl_finding_info *info = sl_finding_info_of(session->code[i]);
        const char *word = sl_json_text(words, info->key);
        if (*word && (strlen(word) > 40 || !sl_finding_take(reading, info, word)))
            status = sl_fail(error, SL_USAGE, "%s must lie between %g and %g.", info->name, info->low, info->high);
    }
    for (int i = 0; status == SL_OK && i < session->codes; i++) {
        const sl_finding *f = sl_reading_get(truth, session->code[i]);
        const sl_attempt *attempt;
        if (!sl_truth_certain(f) || sl_learner_answered(learner, session->number, clip, session->code[i]))
            continue;
        status = sl_learner_answer(learner, session, clip, sl_reading_get(reading, session->code[i]), f, when, &attempt, error);
    }
    return status;
}

/* ---- the curves ---- */

static enum MHD_Result show_learner(sl_request *request, const sl_learner *learner)
{
    sl_curve *curve;
    int count = sl_learner_curves(learner, &curve);
    json_t *curves = json_array(), *sessions = json_array();
    for (int i = 0; i < count; i++) {
        json_t *one = sl_curve_json(&curve[i]), *errors = json_pack("{s:i,s:i,s:i,s:i,s:i,s:i}", "yes", curve[i].yes, "missed",
                                                                    curve[i].missed, "no", curve[i].no, "false_alarms",
                                                                    curve[i].false_alarms, "high", curve[i].high, "low", curve[i].low);
        json_object_set_new(one, "errors", errors);
        json_array_append_new(curves, one);
    }
    for (int i = 0; i < learner->sessions; i++) {
        const sl_session *s = &learner->session[i];
        int done = 0;
        for (int c = 0; c < s->clips; c++) {
            bool any = false;
            for (int k = 0; k < s->codes && !any; k++)
                any = attempt_on(learner, s, s->clip[c], s->code[k]) != NULL;
            done += any;
        }
        json_array_append_new(sessions, json_pack("{s:i,s:i,s:i,s:s}", "number", s->number, "clips", s->clips, "done", done, "pool",
                                                  sl_path_name(s->pool)));
    }
    int next = count > 0 ? sl_practise_next(curve, count) : -1;
    return sl_reply_json(request, 200, json_pack("{s:o,s:o,s:s}", "sessions", sessions, "curves", curves, "next",
                                                 next >= 0 ? sl_finding_info_of(curve[next].code)->key : ""));
}

static enum MHD_Result frames(sl_request *request, const sl_session *session)
{
    char *end;
    long index = strtol(request->part[5], &end, 10);
    if (*end || index < 0 || index >= session->clips)
        return sl_reply_error(request, 404, "The session has no such clip.");
    const char *clip = session->clip[index];
    if (sl_invented_is(clip))
        return sl_reply_invented(request, clip);
    json_t *studied = sl_readers_clips(sl_readers_folder(request), &request->arena), *lies = json_object_get(studied, clip);
    sl_desk_clip found;
    bool there = lies && sl_place_clip(request->server->place, sl_json_text(lies, "exam"), sl_json_text(lies, "where"), &request->arena, &found);
    json_decref(studied);
    return there ? sl_reply_frames(request, &found) : sl_reply_error(request, 404, "The clip is not where it was.");
}

enum MHD_Result sl_learners_answer(sl_request *request)
{
    sl_error error;
    sl_notes notes = {.arena = &request->arena};
    sl_learner learner;
    if (request->parts == 2 && request->get)
        return overview(request);
    if (request->parts < 3 || sl_reader_name_fits(request->part[2], NULL) != SL_OK)
        return sl_reply_error(request, 400, "A learner is named by letters, digits, - and _, at most 40: a code rather than a person's name.");
    if (!sl_reader_may(request, request->part[2]))
        return sl_reply_error(request, 403, "These are another learner's sessions.");
    bool change = !request->get;
    if (change)
        pthread_mutex_lock(&writing);
    sl_status status = sl_learner_load(folder_of(request, request->part[2]), &request->arena, &notes, &learner, &error);
    const sl_session *session = status == SL_OK && request->parts >= 5 ? session_of(&learner, request->part[4]) : NULL;
    enum MHD_Result result;
    json_t *said = change ? sl_request_json(request) : NULL;
    int number = 0;
    if (status != SL_OK)
        result = sl_reply_failed(request, status, &error);
    else if (request->parts == 3 && !change)
        result = show_learner(request, &learner);
    else if (request->parts == 4 && change && sl_request_is(request, 3, "sessions")) {
        status = draw(request, said, &learner, &number, &error);
        result = status == SL_OK ? sl_reply_json(request, 201, json_pack("{s:i}", "number", number)) : sl_reply_failed(request, status, &error);
    } else if (!session || !sl_request_is(request, 3, "sessions"))
        result = sl_reply_error(request, 404, "There is no session of that number.");
    else if (request->parts == 5 && !change)
        result = show_session(request, &learner, session);
    else if (request->parts == 5) {
        status = answer(request, &learner, session, said, &error);
        result = status == SL_OK ? show_session(request, &learner, session) : sl_reply_failed(request, status, &error);
    } else if (request->parts == 7 && !change && sl_request_is(request, 6, "frames"))
        result = frames(request, session);
    else
        result = sl_reply_error(request, 404, "There is nothing under this address.");
    json_decref(said);
    if (change)
        pthread_mutex_unlock(&writing);
    return result;
}
