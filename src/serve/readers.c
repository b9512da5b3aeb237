#include "serve/readers.h"

#include "agree/blind.h"
#include "agree/study.h"
#include "core/file.h"
#include "core/json.h"
#include "exam/exam.h"
#include "report/record.h"
#include "serve/api.h"
#include "serve/frames.h"

#include <dirent.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static pthread_mutex_t writing = PTHREAD_MUTEX_INITIALIZER;

char *sl_readers_folder(sl_request *request)
{
    return sl_arena_printf(&request->arena, "%s/report/readers", sl_place_folder(request->server->place));
}

sl_status sl_reader_name_fits(const char *name, sl_error *error)
{
    size_t length = strlen(name);
    if (!length || length > 40 || *name == '-' ||
        strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_") != length)
        return sl_fail(error, SL_USAGE, "A reader is named by letters, digits, - and _, at most 40: a code rather than a person's name.");
    return SL_OK;
}

const char *sl_reader_own_code(sl_request *request)
{
    char hash[17];
    if (!request->entered || request->user.role == SL_ROLE_ADMINISTRATOR)
        return "";
    if (sl_reader_name_fits(request->user.name, NULL) == SL_OK)
        return request->user.name;
    sl_desk_name(request->user.name, hash);
    const char *code = sl_arena_printf(&request->arena, "user-%.8s", hash);
    return code ? code : "user";
}

bool sl_reader_may(sl_request *request, const char *code)
{
    const char *own = sl_reader_own_code(request);
    return !*own || !strcmp(own, code);
}

sl_status sl_codes_of_json(const json_t *keys, sl_code *code, int *codes, sl_error *error)
{
    *codes = 0;
    for (size_t i = 0; i < json_array_size(keys); i++) {
        const char *key = json_string_value(json_array_get(keys, i));
        const sl_finding_info *info = key ? sl_finding_info_by_key(key) : NULL;
        if (!info || *codes == SL_CODES)
            return sl_fail(error, SL_USAGE, "There is no finding of that name.");
        code[(*codes)++] = info->code;
    }
    return *codes ? SL_OK : sl_fail(error, SL_USAGE, "Choose at least one finding that is asked for.");
}

static char *list_path(sl_request *request, const char *folder, const char *name, const char *ending)
{
    return sl_arena_printf(&request->arena, "%s/%s/%s.%s", sl_readers_folder(request), folder, name, ending);
}

static bool is_there(const char *path)
{
    struct stat facts;
    return path && !stat(path, &facts);
}

/* ---- answers given so far ---- */

/* {code: {finding: word}}, the last word on each; a line that was cut by a crash is left out. */
static json_t *draft_of(sl_request *request, const char *name)
{
    json_t *draft = json_object();
    char *bytes;
    size_t length;
    const char *path = list_path(request, "drafts", name, "jsonl");
    if (!is_there(path) || sl_file_read(path, (size_t)16 << 20, &request->arena, &bytes, &length, NULL) != SL_OK)
        return draft;
    for (char *line = bytes; *line;) {
        char *end = line + strcspn(line, "\n");
        json_t *entry = json_loadb(line, (size_t)(end - line), 0, NULL);
        const char *code = sl_json_text(entry, "code"), *finding = sl_json_text(entry, "finding");
        if (*code && *finding) {
            json_t *clip = json_object_get(draft, code);
            if (!clip) {
                clip = json_object();
                json_object_set_new(draft, code, clip);
            }
            if (*sl_json_text(entry, "word"))
                json_object_set(clip, finding, json_object_get(entry, "word"));
            else
                json_object_del(clip, finding);
        }
        json_decref(entry);
        line = end + (*end == '\n');
    }
    return draft;
}

static int answered(const json_t *draft)
{
    const char *code;
    json_t *clip;
    int count = 0;
    json_object_foreach((json_t *)(uintptr_t)draft, code, clip)
        count += (int)json_object_size(clip);
    return count;
}

/* ---- the overview ---- */

static int by_text(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Names of the files NAME.ENDING in a folder, sorted, without the ending. */
static int names_in(sl_arena *arena, const char *folder, const char *ending, char ***names)
{
    int count = 0, room = 0;
    DIR *open = folder ? opendir(folder) : NULL;
    *names = NULL;
    for (struct dirent *entry; open && (entry = readdir(open));) {
        size_t length = strlen(entry->d_name), tail = strlen(ending);
        if (length <= tail || strcmp(entry->d_name + length - tail, ending) != 0 || entry->d_name[0] == '.')
            continue;
        if (count == room) {
            int more = room ? 2 * room : 32;
            char **longer = SL_NEW(arena, more, char *);
            if (!longer)
                break;
            if (count)
                memcpy(longer, *names, (size_t)count * sizeof **names);
            *names = longer;
            room = more;
        }
        (*names)[count++] = sl_arena_printf(arena, "%.*s", (int)(length - tail), entry->d_name);
    }
    if (open)
        closedir(open);
    if (count)
        qsort(*names, (size_t)count, sizeof **names, by_text);
    return count;
}

static enum MHD_Result overview(sl_request *request)
{
    char **name, *folder = sl_readers_folder(request);
    int count = names_in(&request->arena, sl_path_join(&request->arena, folder, "lists"), ".json", &name);
    json_t *lists = json_array(), *reads = json_array();
    for (int i = 0; i < count; i++) {
        json_t *list = sl_json_load(list_path(request, "lists", name[i], "json"), NULL), *draft = draft_of(request, name[i]);
        size_t clips = json_array_size(json_object_get(list, "clips")), asked = json_array_size(json_object_get(list, "findings"));
        json_t *one = json_pack("{s:s,s:s,s:I,s:I,s:i,s:I,s:b}", "name", name[i], "reader", sl_json_text(list, "reader"), "sitting",
                                json_integer_value(json_object_get(list, "sitting")), "clips", (json_int_t)clips, "answered",
                                answered(draft), "of", (json_int_t)(clips * asked), "handed_in",
                                is_there(list_path(request, "reads", name[i], "json")));
        if (one)
            json_array_append_new(lists, one);
        json_decref(list);
        json_decref(draft);
    }
    count = names_in(&request->arena, sl_path_join(&request->arena, folder, "reads"), ".json", &name);
    for (int i = 0; i < count; i++)
        json_array_append_new(reads, json_string(name[i]));
    return sl_reply_json(request, 200, json_pack("{s:o,s:o,s:s}", "lists", lists, "reads", reads, "me", sl_reader_own_code(request)));
}

/* ---- a new list ---- */

/* The name of a clip in a study: person (as a number, so that clips of one person are counted together), examination, file. */
static char *study_name(sl_arena *arena, const sl_exam *exam, const char *folder, const char *where)
{
    char hash[17];
    sl_desk_name(exam->person, hash);
    char *name = *exam->person ? sl_arena_printf(arena, "person_%lu_%s_%s", strtoul(hash + 8, NULL, 16) % 100000, folder, where)
                               : sl_arena_printf(arena, "%s_%s", folder, where);
    for (char *at = name; at && *at; at++)
        if (*at == '/' || *at == '\\')
            *at = '_';
    return name;
}

/* Clips of the examinations asked for: {name: {exam, where}}. */
static json_t *clips_of(sl_request *request, const json_t *exams, sl_error *error)
{
    char **folders, id[17];
    int count = sl_place_folders(request->server->place, &request->arena, &folders);
    json_t *clips = json_object();
    for (int i = 0; i < count; i++) {
        sl_desk_name(folders[i], id);
        bool wanted = false;
        for (size_t k = 0; k < json_array_size(exams); k++) {
            const char *one = json_string_value(json_array_get(exams, k));
            wanted = wanted || (one && !strcmp(one, id));
        }
        if (!wanted)
            continue;
        const char *paths[] = {folders[i]}, *folder = sl_path_name(folders[i]);
        sl_exam exam;
        if (sl_exam_collect(paths, 1, &request->arena, &exam, NULL) != SL_OK)
            continue; /* none yet */
        sl_place_desk(request->server->place, id); /* read, so that its geometry is known */
        for (int c = 0; c < exam.clips; c++) {
            const char *name = study_name(&request->arena, &exam, folder, exam.clip[c].where);
            if (name)
                json_object_set_new(clips, name, json_pack("{s:s,s:s}", "exam", folder, "where", exam.clip[c].where));
        }
    }
    if (!json_object_size(clips)) {
        json_decref(clips);
        sl_fail(error, SL_USAGE, "Choose at least one examination that holds clips.");
        return NULL;
    }
    return clips;
}

static sl_status make_list(sl_request *request, const json_t *asked, char *name, size_t room, sl_error *error)
{
    const char *reader = sl_json_text(asked, "reader"), **code, **clip, *key;
    sl_code codes[SL_CODES];
    int findings, sitting = 1, count = 0;
    char when[40];
    sl_status status = sl_reader_name_fits(reader, error);
    if (status == SL_OK && !sl_reader_may(request, reader))
        status = sl_fail(error, SL_USAGE, "Your own lists are under the code %s.", sl_reader_own_code(request));
    if (status == SL_OK && !strcmp(reader, "program"))
        status = sl_fail(error, SL_USAGE, "\"program\" is the program's own name among the readers; choose another.");
    if (status == SL_OK)
        status = sl_codes_of_json(json_object_get(asked, "findings"), codes, &findings, error);
    for (; status == SL_OK && sitting < 100; sitting++) {
        snprintf(name, room, "%s-%d", reader, sitting);
        bool read = is_there(list_path(request, "reads", name, "json"));
        if (!read && is_there(list_path(request, "lists", name, "json")))
            status = sl_fail(error, SL_USAGE, "Reader %s has a list that is not handed in yet. Go on with that one.", reader);
        if (!read)
            break;
    }
    json_t *clips = status == SL_OK ? clips_of(request, json_object_get(asked, "exams"), error) : NULL, *value, *list = json_array();
    if (!clips) {
        json_decref(list);
        return status == SL_OK ? SL_USAGE : status;
    }
    int all = (int)json_object_size(clips);
    clip = SL_NEW(&request->arena, all, const char *);
    code = SL_NEW(&request->arena, all, const char *);
    if (!clip || !code)
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK)
        json_object_foreach(clips, key, value)
            clip[count++] = sl_arena_text(&request->arena, key);
    if (status == SL_OK) {
        qsort((void *)(uintptr_t)clip, (size_t)count, sizeof *clip, by_text);
        status = sl_blind_order(sl_seed_of_name(reader) + (uint64_t)sitting - 1, clip, count)
                     ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    if (status == SL_OK) {
        memcpy((void *)(uintptr_t)code, clip, (size_t)count * sizeof *clip);
        status = sl_blind_codes(sl_readers_folder(request), reader, sitting, NULL, code, count, &request->arena, error);
    }
    for (int i = 0; status == SL_OK && i < count; i++) {
        value = json_object_get(clips, clip[i]);
        json_array_append_new(list, json_pack("{s:s,s:s,s:O,s:O}", "code", code[i], "clip", clip[i], "exam",
                                              json_object_get(value, "exam"), "where", json_object_get(value, "where")));
    }
    json_decref(clips);
    sl_now(when, sizeof when);
    json_t *file = json_pack("{s:s,s:i,s:s,s:O,s:o}", "reader", reader, "sitting", sitting, "made", when, "findings",
                             json_object_get(asked, "findings"), "clips", list);
    if (status == SL_OK)
        status = sl_folder_make(sl_path_join(&request->arena, sl_readers_folder(request), "lists"), error);
    if (status == SL_OK)
        status = sl_json_save(file, list_path(request, "lists", name, "json"), error);
    json_decref(file);
    return status;
}

/* ---- one list ---- */

json_t *sl_blind_clip_json(sl_request *request, const char *exam, const char *where)
{
    static const char *const open[] = {"view", "scale", "frames", "duration_s"};
    sl_desk_clip clip;
    sl_record record;
    json_t *seen = json_object();
    if (!sl_place_clip(request->server->place, exam, where, &request->arena, &clip) ||
        sl_record_load(clip.record, &request->arena, &record, NULL) != SL_OK)
        return seen;
    json_t *all = sl_result_to_json(&record.result);
    for (size_t i = 0; i < sizeof open / sizeof *open; i++)
        if (json_object_get(all, open[i]))
            json_object_set(seen, open[i], json_object_get(all, open[i]));
    json_decref(all);
    return seen;
}

static const json_t *clip_of_code(const json_t *list, const char *code)
{
    const json_t *clips = json_object_get(list, "clips");
    for (size_t i = 0; i < json_array_size(clips); i++)
        if (!strcmp(sl_json_text(json_array_get(clips, i), "code"), code))
            return json_array_get(clips, i);
    return NULL;
}

static enum MHD_Result show_list(sl_request *request, const char *name, const json_t *list)
{
    json_t *clips = json_array(), *clip;
    size_t at;
    json_array_foreach(json_object_get(list, "clips"), at, clip)
    {
        json_t *seen = sl_blind_clip_json(request, sl_json_text(clip, "exam"), sl_json_text(clip, "where"));
        json_object_set(seen, "code", json_object_get(clip, "code"));
        json_array_append_new(clips, seen);
    }
    return sl_reply_json(request, 200,
                         json_pack("{s:s,s:O,s:O,s:O,s:o,s:o,s:b}", "name", name, "reader", json_object_get(list, "reader"),
                                   "sitting", json_object_get(list, "sitting"), "findings", json_object_get(list, "findings"),
                                   "clips", clips, "answers", draft_of(request, name), "handed_in",
                                   is_there(list_path(request, "reads", name, "json"))));
}

/* An answer is a word of agree/words.h, a number, or "" to take it back. */
static sl_status take_answer(sl_request *request, const char *name, const json_t *list, const json_t *given, sl_error *error)
{
    const char *code = sl_json_text(given, "code"), *finding = sl_json_text(given, "finding"), *word = sl_json_text(given, "word");
    const sl_finding_info *info = sl_finding_info_by_key(finding);
    bool asked = false;
    for (size_t i = 0; i < json_array_size(json_object_get(list, "findings")); i++)
        asked = asked || !strcmp(json_string_value(json_array_get(json_object_get(list, "findings"), i)), finding);
    if (!clip_of_code(list, code) || !info || !asked)
        return sl_fail(error, SL_USAGE, "The list does not ask that.");
    sl_reading *reading = sl_reading_new(&request->arena, SL_BY_PERSON, "reader", code);
    if (!reading)
        return sl_fail(error, SL_MEMORY, "Memory ran out before the answer was kept.");
    if (strlen(word) > 40 || !sl_finding_take(reading, info, word))
        return sl_fail(error, SL_USAGE, "%s must lie between %g and %g.", info->name, info->low, info->high);
    if (is_there(list_path(request, "reads", name, "json")))
        return sl_fail(error, SL_USAGE, "This list is handed in; what it says stays.");
    char when[40];
    sl_now(when, sizeof when);
    json_t *entry = json_pack("{s:s,s:s,s:s,s:s}", "when", when, "code", code, "finding", finding, "word", word);
    char *line = json_dumps(entry, JSON_COMPACT);
    json_decref(entry);
    sl_status status = line ? sl_folder_make(sl_path_join(&request->arena, sl_readers_folder(request), "drafts"), error)
                            : sl_fail(error, SL_MEMORY, "Memory ran out before the answer was kept.");
    if (status == SL_OK)
        status = sl_append_line(list_path(request, "drafts", name, "jsonl"), line, error);
    free(line);
    return status;
}

static sl_status hand_in(sl_request *request, const char *name, const json_t *list, sl_error *error)
{
    json_t *draft = draft_of(request, name), *clip;
    const char *reader = sl_json_text(list, "reader"), *finding;
    sl_reads reads = {.by_name = {.arena = &request->arena}, .by_stem = {.arena = &request->arena}};
    sl_status status = SL_OK;
    size_t at;
    json_array_foreach(json_object_get(list, "clips"), at, clip)
    {
        json_t *given = json_object_get(draft, sl_json_text(clip, "code")), *word;
        sl_reading *reading = sl_reading_new(&request->arena, SL_BY_PERSON, sl_arena_text(&request->arena, reader),
                                             sl_arena_text(&request->arena, sl_json_text(clip, "clip")));
        if (!reading)
            status = sl_fail(error, SL_MEMORY, "Memory ran out.");
        if (status != SL_OK)
            break;
        reading->method = "blind list on the page";
        json_object_foreach(given, finding, word)
            sl_finding_take(reading, sl_finding_info_by_key(finding), json_string_value(word));
        if (reading->findings && !sl_reads_add(&reads, reading, &request->arena))
            status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    json_decref(draft);
    char when[40];
    sl_now(when, sizeof when);
    if (status == SL_OK && !reads.count)
        status = sl_fail(error, SL_USAGE, "Nothing was answered yet, so there is nothing to hand in.");
    return status == SL_OK ? sl_study_enter(sl_readers_folder(request), reader, (int)json_integer_value(json_object_get(list, "sitting")),
                                            &reads, when, error)
                           : status;
}

static enum MHD_Result one_list(sl_request *request)
{
    const char *name = request->part[3];
    json_t *list = sl_json_load(list_path(request, "lists", name, "json"), NULL), *given = NULL;
    sl_error error;
    sl_status status;
    enum MHD_Result result;
    if (!list)
        return sl_reply_error(request, 404, "There is no list of that name.");
    if (!sl_reader_may(request, sl_json_text(list, "reader"))) {
        json_decref(list);
        return sl_reply_error(request, 403, "This is another reader's list; it stays unseen until it is handed in.");
    }
    if (request->get && request->parts == 6 && sl_request_is(request, 5, "frames")) {
        const json_t *clip = clip_of_code(list, request->part[4]);
        sl_desk_clip found;
        result = clip && sl_place_clip(request->server->place, sl_json_text(clip, "exam"), sl_json_text(clip, "where"), &request->arena, &found)
                     ? sl_reply_frames(request, &found) : sl_reply_error(request, 404, "The clip is not where it was.");
    } else if (request->get && request->parts == 4) {
        result = show_list(request, name, list);
    } else if (!request->get && (request->parts == 4 || (request->parts == 5 && sl_request_is(request, 4, "hand-in")))) {
        pthread_mutex_lock(&writing);
        if (request->parts == 5)
            status = hand_in(request, name, list, &error);
        else {
            given = sl_request_json(request);
            status = take_answer(request, name, list, given, &error);
        }
        pthread_mutex_unlock(&writing);
        result = status == SL_OK ? sl_reply_json(request, 200, json_object()) : sl_reply_failed(request, status, &error);
    } else
        result = sl_reply_error(request, 404, "There is nothing under this address.");
    json_decref(given);
    json_decref(list);
    return result;
}

/* ---- the program among the readers; settling ---- */

json_t *sl_readers_clips(const char *study_folder, sl_arena *arena)
{
    char **name, *folder = sl_path_join(arena, study_folder, "lists");
    int count = names_in(arena, folder, ".json", &name);
    json_t *clips = json_object(), *clip;
    for (int i = 0; i < count; i++) {
        json_t *list = sl_json_load(sl_arena_printf(arena, "%s/%s.json", folder, name[i]), NULL);
        size_t at;
        json_array_foreach(json_object_get(list, "clips"), at, clip)
            json_object_set(clips, sl_json_text(clip, "clip"), clip);
        json_decref(list);
    }
    return clips;
}

static sl_status enter_program(sl_request *request, sl_error *error)
{
    sl_reads reads = {.by_name = {.arena = &request->arena}, .by_stem = {.arena = &request->arena}};
    json_t *clips = sl_readers_clips(sl_readers_folder(request), &request->arena), *clip;
    const char *name;
    int unread = 0;
    sl_status status = SL_OK;
    json_object_foreach(clips, name, clip)
    {
        sl_desk_clip found;
        sl_record record;
        if (!sl_place_clip(request->server->place, sl_json_text(clip, "exam"), sl_json_text(clip, "where"), &request->arena, &found) ||
            sl_record_load(found.record, &request->arena, &record, NULL) != SL_OK) {
            unread++;
            continue;
        }
        if (!record.result.reading)
            continue; /* could not be read: the program says nothing of it */
        record.result.reading->clip = sl_arena_text(&request->arena, name);
        if (!sl_reads_add(&reads, record.result.reading, &request->arena))
            status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    json_decref(clips);
    char when[40];
    sl_now(when, sizeof when);
    if (status == SL_OK && unread)
        status = sl_fail(error, SL_USAGE, "%d clip%s not read by the program yet. Wait until all are, then let it take part.", unread,
                         unread == 1 ? " is" : "s are");
    if (status == SL_OK && !reads.count)
        status = sl_fail(error, SL_USAGE, "The program has read none of these clips.");
    return status == SL_OK ? sl_study_enter(sl_readers_folder(request), "program", 1, &reads, when, error) : status;
}

static sl_status settle(sl_request *request, const json_t *said, sl_error *error)
{
    sl_notes notes = {.arena = &request->arena};
    sl_study study;
    char when[40], id[17];
    const char *by = sl_json_text(said, "by"), *why = sl_json_text(said, "why"), *clip = NULL;
    sl_status status = sl_study_load(sl_readers_folder(request), &request->arena, &notes, &study, error);
    for (int i = 0; status == SL_OK && i < study.clips; i++) {
        sl_desk_name(study.clip[i], id);
        if (!strcmp(id, sl_json_text(said, "id")))
            clip = study.clip[i];
    }
    if (status == SL_OK && (!clip || !*by || strlen(by) > 120 || strlen(why) > 1000))
        status = sl_fail(error, SL_USAGE, !clip ? "There is no such clip among those read." : "Say who decides (at most 120 letters), and why in at most 1000.");
    sl_now(when, sizeof when);
    return status == SL_OK ? sl_study_settle(&study, clip, sl_json_text(said, "finding"), sl_json_text(said, "word"), by, why, when, error) : status;
}

static enum MHD_Result study_frames(sl_request *request)
{
    json_t *clips = sl_readers_clips(sl_readers_folder(request), &request->arena), *clip;
    const char *name;
    char id[17];
    sl_desk_clip found;
    bool there = false;
    json_object_foreach(clips, name, clip)
    {
        sl_desk_name(name, id);
        if (!there && !strcmp(id, request->part[3]))
            there = sl_place_clip(request->server->place, sl_json_text(clip, "exam"), sl_json_text(clip, "where"), &request->arena, &found);
    }
    json_decref(clips);
    return there ? sl_reply_frames(request, &found) : sl_reply_error(request, 404, "The clip is not where it was.");
}

/* Whether a signed-in reader still has a list of their own to read: what others said is kept from them until then. */
static bool reads_still(sl_request *request)
{
    const char *own = sl_reader_own_code(request);
    char name[64];
    for (int sitting = 1; *own && sitting < 100; sitting++) {
        snprintf(name, sizeof name, "%.40s-%d", own, sitting);
        if (!is_there(list_path(request, "lists", name, "json")))
            return false;
        if (!is_there(list_path(request, "reads", name, "json")))
            return true;
    }
    return false;
}

static enum MHD_Result agreement(sl_request *request)
{
    sl_error error;
    if (reads_still(request))
        return sl_reply_error(request, 403, "Hand your own list in first; then you see what others said.");
    json_t *json = sl_readers_agreement(sl_readers_folder(request), &request->arena, &error);
    if (!json)
        return sl_reply_failed(request, error.status, &error);
    json_t *clips = sl_readers_clips(sl_readers_folder(request), &request->arena), *one;
    size_t at;
    json_array_foreach(json_object_get(json, "differences"), at, one)
    {
        json_t *clip = json_object_get(clips, sl_json_text(one, "clip")), *seen = sl_blind_clip_json(request, sl_json_text(clip, "exam"), sl_json_text(clip, "where"));
        json_object_update(one, seen);
        json_decref(seen);
    }
    json_decref(clips);
    return sl_reply_json(request, 200, json);
}

enum MHD_Result sl_readers_answer(sl_request *request)
{
    sl_error error;
    sl_status status;
    char name[64];
    if (request->parts == 2 && request->get)
        return overview(request);
    if (request->parts >= 4 && sl_request_is(request, 2, "lists"))
        return one_list(request);
    if (request->parts == 5 && sl_request_is(request, 2, "clips") && sl_request_is(request, 4, "frames") && request->get)
        return study_frames(request);
    if (request->parts != 3)
        return sl_reply_error(request, 404, "There is nothing under this address.");
    if (request->get)
        return sl_request_is(request, 2, "agreement") ? agreement(request) : sl_reply_error(request, 404, "There is nothing under this address.");
    json_t *said = sl_request_json(request);
    pthread_mutex_lock(&writing);
    *name = 0;
    if (sl_request_is(request, 2, "lists"))
        status = make_list(request, said, name, sizeof name, &error);
    else if (sl_request_is(request, 2, "program"))
        status = enter_program(request, &error);
    else if (sl_request_is(request, 2, "settle"))
        status = settle(request, said, &error);
    else
        status = sl_fail(&error, SL_USAGE, "There is nothing under this address.");
    pthread_mutex_unlock(&writing);
    json_decref(said);
    return status == SL_OK ? sl_reply_json(request, 201, json_pack("{s:s}", "name", name)) : sl_reply_failed(request, status, &error);
}
