#include "serve/kept.h"

#include "core/file.h"
#include "core/json.h"
#include "core/units.h"
#include "serve/api.h"
#include "serve/says.h"
#include "serve/seal.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_SHOWN = 1000, ENTRIES_AT_ONCE = 100 };

/* Which folder holds a copy of an examination, by the note that was left in it: kept.json {uid}, or signed.json. */
typedef struct copies {
    int count;
    char **folder;
    const char **uid;
} copies;

static const char *noted_uid(const char *folder, sl_arena *arena)
{
    static const char *const notes[] = {"report/kept.json", "report/signed.json"};
    const char *uid = "";
    for (int i = 0; i < 2 && uid && !*uid; i++) {
        json_t *note = sl_json_load(sl_path_join(arena, folder, notes[i]), NULL);
        uid = sl_arena_text(arena, sl_json_text(note, "uid"));
        json_decref(note);
    }
    return uid ? uid : "";
}

static copies copies_of(sl_request *request)
{
    copies all = {0};
    all.count = sl_place_folders(request->server->place, &request->arena, &all.folder);
    all.uid = SL_NEW(&request->arena, all.count, const char *);
    for (int i = 0; i < all.count && all.uid; i++)
        all.uid[i] = noted_uid(all.folder[i], &request->arena);
    if (!all.uid)
        all.count = 0;
    return all;
}

static const char *copy_of(const copies *all, const char *uid)
{
    for (int i = 0; i < all->count; i++)
        if (!strcmp(all->uid[i], uid))
            return all->folder[i];
    return NULL;
}

static bool is_learner(const sl_request *request)
{
    return request->entered && request->user.role == SL_ROLE_LEARNER;
}

static enum MHD_Result list(sl_request *request)
{
    json_t *exams = json_array();
    sl_store *store = NULL;
    const sl_store_exam *exam;
    sl_error error;
    int count = 0;
    char id[17];
    if (!is_learner(request) && sl_place_open_store(request->server->place, sl_request_who(request), false, &store, &error) == SL_OK &&
        sl_store_exams(store, NULL, &request->arena, &exam, &count, &error) == SL_OK) {
        copies here = copies_of(request);
        for (int i = 0; i < count && i < MOST_SHOWN; i++) {
            const char *folder = copy_of(&here, exam[i].uid);
            if (folder)
                sl_desk_name(folder, id);
            json_array_append_new(exams, json_pack("{s:s,s:s,s:s,s:s,s:b,s:i,s:b,s:s}", "uid", exam[i].uid, "person", exam[i].person,
                                                   "title", exam[i].title, "date", exam[i].date, "invented", (int)exam[i].invented, "clips",
                                                   exam[i].clips, "signed", exam[i].reports > 0, "here", folder ? id : ""));
        }
    }
    sl_store_close(store); /* no store yet: nothing is kept */
    return sl_reply_json(request, 200, json_pack("{s:o}", "exams", exams));
}

/* ---- bringing one back ---- */

static void add_entry(json_t *entries, const char *author, json_t *entry)
{
    char uid[48];
    snprintf(uid, sizeof uid, "kept-%zu", json_array_size(entries) + 1);
    json_object_set_new(entry, "uid", json_string(uid));
    json_object_set_new(entry, "tab", json_string("store"));
    json_object_set_new(entry, "seen", json_integer(0));
    if (*author)
        json_object_set_new(entry, "by", json_string(author));
    json_array_append_new(entries, entry);
}

/* What a person said of a clip, as entries of the journal. */
static void add_reading(json_t *entries, const sl_store_reading *kept, const char *where, sl_arena *arena)
{
    json_t *whole = json_loads(kept->result, 0, NULL);
    const json_t *inner = json_object_get(whole, "reading");
    sl_reading *reading = NULL;
    if (inner && sl_reading_from_json(inner, where, arena, &reading, NULL) == SL_OK)
        for (int i = 0; i < reading->findings; i++) {
            const sl_finding *finding = &reading->finding[i];
            const sl_finding_info *info = sl_finding_info_of(finding->code);
            json_t *say = json_pack("{s:b}", "known", (int)finding->known);
            if (info->kind == SL_KIND_ANSWER)
                json_object_set_new(say, "answer", json_string(sl_answer_name(finding->answer)));
            const struct { const char *key; double value; } number[] = {{"value", finding->value}, {"low", finding->low}, {"high", finding->high}};
            for (int k = 0; k < 3; k++)
                if (sl_known(number[k].value))
                    json_object_set_new(say, number[k].key, json_real(number[k].value));
            add_entry(entries, kept->author, json_pack("{s:s,s:s,s:s,s:o}", "kind", "find", "clip", where, "code", info->key, "say", say));
        }
    json_decref(whole);
}

/* The journal as the signer left it, as far as the store keeps it: each person's last reading of each clip, and the conclusion. */
static sl_status write_says(const sl_store_exam_all *all, const json_t *names, const char *out, json_int_t *last, sl_arena *arena, sl_error *error)
{
    json_t *entries = json_array();
    sl_says *says = NULL;
    for (int i = 0; i < all->readings; i++) {
        bool newest = !strcmp(all->reading[i].by, "person");
        for (int k = i + 1; k < all->readings && newest; k++) /* oldest first */
            newest = all->reading[k].position != all->reading[i].position || strcmp(all->reading[k].by, "person") != 0 ||
                     strcmp(all->reading[k].author, all->reading[i].author) != 0;
        const char *where = json_string_value(json_array_get(names, (size_t)all->reading[i].position));
        if (newest && where)
            add_reading(entries, &all->reading[i], where, arena);
    }
    if (all->reports)
        add_entry(entries, all->report[0].signer, json_pack("{s:s,s:s}", "kind", "conclude", "say", all->report[0].text));
    sl_status status = json_array_size(entries) ? sl_says_open(out, &says, error) : SL_OK;
    for (size_t at = 0; at < json_array_size(entries) && status == SL_OK; at += ENTRIES_AT_ONCE) {
        json_t *some = json_array();
        for (size_t i = at; i < json_array_size(entries) && i < at + ENTRIES_AT_ONCE; i++)
            json_array_append(some, json_array_get(entries, i));
        status = sl_says_add(says, some, error);
        json_decref(some);
    }
    sl_says_close(&says);
    *last = (json_int_t)json_array_size(entries);
    json_decref(entries);
    return status;
}

static sl_status fill(sl_store *store, const char *uid, const char *folder, sl_arena *arena, sl_error *error)
{
    sl_store_exam_all all;
    json_int_t last = 0;
    const char *out = sl_path_join(arena, folder, "report");
    sl_status status = sl_store_exam_of(store, uid, arena, &all, error);
    if (status == SL_OK)
        status = sl_store_export(store, uid, folder, error);
    if (status == SL_OK)
        status = sl_folder_make(out, error);
    json_t *names = json_array();
    for (int i = 0; i < all.clips && status == SL_OK; i++)
        json_array_append_new(names, json_string(sl_store_clip_name(arena, &all, i)));
    if (status == SL_OK)
        status = write_says(&all, names, out, &last, arena, error);
    json_decref(names);
    if (status == SL_OK && all.reports)
        status = sl_seal_note(store, uid, last, out, arena, error);
    json_t *note = json_pack("{s:s}", "uid", uid);
    if (status == SL_OK)
        status = sl_json_save(note, sl_path_join(arena, out, "kept.json"), error);
    json_decref(note);
    return status;
}

static enum MHD_Result take(sl_request *request)
{
    json_t *asked = sl_request_json(request);
    const char *uid = sl_arena_text(&request->arena, sl_json_text(asked, "uid"));
    copies here = copies_of(request);
    sl_error error = {0};
    sl_store *store = NULL;
    sl_store_exam_all all;
    char path[PATH_MAX], id[17];
    json_decref(asked);
    if (is_learner(request) || !uid || strlen(uid) != SL_STORE_UID - 1)
        return sl_reply_error(request, 400, "Say which examination of the store is meant.");
    const char *there = copy_of(&here, uid);
    sl_status status = SL_OK;
    if (there)
        sl_desk_name(there, id);
    else {
        char *hidden = sl_arena_printf(&request->arena, "%s/.bringing-%s", sl_place_folder(request->server->place), uid);
        if (hidden)
            sl_store_remove_folder(hidden); /* what an interrupted try left */
        else
            status = sl_fail(&error, SL_MEMORY, "Memory ran out.");
        if (status == SL_OK)
            status = sl_place_open_store(request->server->place, sl_request_who(request), false, &store, &error);
        if (status == SL_OK)
            status = sl_store_exam_of(store, uid, &request->arena, &all, &error);
        if (status == SL_OK)
            status = fill(store, uid, hidden, &request->arena, &error);
        if (status == SL_OK)
            status = sl_place_room(request->server->place, all.exam.date, path, &error);
        if (status == SL_OK && rename(hidden, path))
            status = sl_fail(&error, SL_IO, "The examination could not be put into its folder. Make room and try again.");
        if (status == SL_OK)
            sl_desk_name(path, id);
        else if (hidden)
            sl_store_remove_folder(hidden);
        sl_store_close(store);
    }
    return status == SL_OK ? sl_reply_json(request, 201, json_pack("{s:s}", "id", id)) : sl_reply_failed(request, status, &error);
}

enum MHD_Result sl_kept_answer(sl_request *request)
{
    return request->get ? list(request) : take(request);
}
