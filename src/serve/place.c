#include "serve/place.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "exam/exam.h"
#include "serve/seal.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { MOST_DESKS = 2000 };

struct sl_place {
    char folder[PATH_MAX];
    char *store;
    bool single; /* the folder is the examination */
    pthread_mutex_t lock;
    pthread_cond_t work;
    pthread_t reader;
    bool reader_runs, ends;
    sl_desk *desk[MOST_DESKS];
    int desks;
    sl_desk *then[MOST_DESKS]; /* desk[i] is the examination before this one, which is read again after it; or NULL */
    sl_desk *queue[MOST_DESKS]; /* to be read, each at most once */
    int queued;
};

static void *read_on(void *context)
{
    sl_place *place = context;
    pthread_mutex_lock(&place->lock);
    while (!place->ends) {
        if (!place->queued) {
            pthread_cond_wait(&place->work, &place->lock);
            continue;
        }
        sl_desk *desk = place->queue[0];
        place->queued--;
        memmove(place->queue, place->queue + 1, (size_t)place->queued * sizeof *place->queue);
        pthread_mutex_unlock(&place->lock);
        sl_desk_read(desk);
        pthread_mutex_lock(&place->lock);
        sl_desk *then = NULL;
        for (int i = 0; i < place->desks; i++)
            if (place->desk[i] == desk && place->then[i]) {
                then = place->then[i];
                place->then[i] = NULL;
            }
        pthread_mutex_unlock(&place->lock);
        if (then)
            sl_place_read(place, then);
        pthread_mutex_lock(&place->lock);
    }
    pthread_mutex_unlock(&place->lock);
    return NULL;
}

/* Whether files that may be clips lie in the folder itself. */
static bool holds_clips(const char *folder)
{
    DIR *open = opendir(folder);
    bool clips = false;
    for (struct dirent *entry; open && !clips && (entry = readdir(open));) {
        char path[PATH_MAX];
        struct stat facts;
        if (entry->d_name[0] == '.' || snprintf(path, sizeof path, "%s/%s", folder, entry->d_name) >= (int)sizeof path ||
            stat(path, &facts) || !S_ISREG(facts.st_mode))
            continue;
        const char *ending = sl_path_extension(entry->d_name);
        static const char *const no_clip[] = {"txt", "md", "pdf", "json", "jsonl", "xml", "html", "doc", "docx"};
        clips = true;
        for (size_t i = 0; i < sizeof no_clip / sizeof *no_clip; i++)
            clips = clips && strcmp(ending, no_clip[i]) != 0;
        clips = clips || !strcmp(entry->d_name, "exam-info.json");
    }
    if (open)
        closedir(open);
    return clips;
}

sl_status sl_place_open(const char *folder, const char *store, sl_place **place, sl_error *error)
{
    sl_place *self = calloc(1, sizeof *self);
    struct stat facts;
    *place = NULL;
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (!realpath(folder, self->folder) || stat(self->folder, &facts)) {
        sl_status status = sl_fail(error, SL_IO, "%s cannot be opened: %s.", folder, strerror(errno));
        free(self);
        return status;
    }
    if (!S_ISDIR(facts.st_mode)) {
        free(self);
        return sl_fail(error, SL_USAGE, "%s is a file; name the folder that holds the clips.", folder);
    }
    self->single = holds_clips(self->folder);
    self->store = store ? strdup(store) : NULL;
    pthread_mutex_init(&self->lock, NULL);
    pthread_cond_init(&self->work, NULL);
    self->reader_runs = !pthread_create(&self->reader, NULL, read_on, self);
    *place = self;
    if (!self->reader_runs) {
        sl_place_close(place);
        return sl_fail(error, SL_MEMORY, "The system gave no thread to read with.");
    }
    return SL_OK;
}

void sl_place_wake(sl_place *place)
{
    pthread_mutex_lock(&place->lock);
    place->ends = true;
    pthread_cond_signal(&place->work);
    for (int i = 0; i < place->desks; i++)
        sl_desk_wake(place->desk[i]);
    pthread_mutex_unlock(&place->lock);
}

void sl_place_close(sl_place **place)
{
    sl_place *self = *place;
    if (!self)
        return;
    sl_place_wake(self);
    if (self->reader_runs)
        pthread_join(self->reader, NULL);
    for (int i = 0; i < self->desks; i++)
        sl_desk_free(&self->desk[i]);
    pthread_cond_destroy(&self->work);
    pthread_mutex_destroy(&self->lock);
    free(self->store);
    free(self);
    *place = NULL;
}

/* ---- the list ---- */

static int by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Folders of examinations, sorted by name; all from `arena`. */
static int list_folders(const sl_place *self, sl_arena *arena, char ***folders)
{
    *folders = SL_NEW(arena, MOST_DESKS, char *);
    if (!*folders)
        return 0;
    if (self->single) {
        (*folders)[0] = sl_arena_text(arena, self->folder);
        return (*folders)[0] ? 1 : 0;
    }
    DIR *open = opendir(self->folder);
    int count = 0;
    for (struct dirent *entry; open && count < MOST_DESKS && (entry = readdir(open));) {
        struct stat facts;
        char *path = entry->d_name[0] == '.' ? NULL : sl_path_join(arena, self->folder, entry->d_name);
        char *records = path ? sl_path_join(arena, path, ".records") : NULL;
        if (!records || stat(path, &facts) || !S_ISDIR(facts.st_mode) || !stat(records, &facts) ||
            !strcmp(entry->d_name, "report")) /* second readers and learners */
            continue;
        (*folders)[count++] = path;
    }
    if (open)
        closedir(open);
    qsort(*folders, (size_t)count, sizeof **folders, by_name);
    return count;
}

const char *sl_place_folder(const sl_place *place)
{
    return place->folder;
}

const char *sl_place_store(const sl_place *place)
{
    return place->store;
}

sl_status sl_place_open_store(const sl_place *place, const char *who, bool make, sl_store **store, sl_error *error)
{
    return sl_store_open(&(sl_store_options){.folder = place->store, .who = who, .make = make}, store, error);
}

int sl_place_folders(const sl_place *place, sl_arena *arena, char ***folders)
{
    return list_folders(place, arena, folders);
}

bool sl_place_clip(sl_place *self, const char *exam, const char *where, sl_arena *arena, sl_desk_clip *found)
{
    char **folders, id[17], clip[17];
    int count = list_folders(self, arena, &folders);
    *found = (sl_desk_clip){0};
    for (int i = 0; i < count; i++) {
        if (strcmp(sl_path_name(folders[i]), exam) != 0)
            continue;
        sl_desk_name(folders[i], id);
        sl_desk_name(where, clip);
        sl_desk *desk = sl_place_desk(self, id);
        if (desk && sl_desk_find(desk, clip, arena, found))
            return true;
        sl_exam collected; /* opened just now: its clips are not listed yet */
        const char *paths[] = {folders[i]};
        if (sl_exam_collect(paths, 1, arena, &collected, NULL) != SL_OK)
            return false;
        for (int k = 0; k < collected.clips; k++)
            if (!strcmp(collected.clip[k].where, where)) {
                found->path = collected.clip[k].path;
                found->record = "";
                return true;
            }
    }
    return false;
}

static json_t *describe(const char *folder, bool names, sl_arena *arena)
{
    sl_exam exam = {.title = "", .date = "", .person = "", .question = "", .stated_protocol = ""};
    sl_exam_apply_info(sl_path_join(arena, folder, "exam-info.json"), arena, &exam);
    json_t *made = sl_json_load(sl_path_join(arena, folder, "report/exam.json"), NULL);
    json_t *total = json_object_get(made, "total");
    char id[17], who[240];
    sl_desk_name(folder, id);
    sl_exam_order_text(names ? exam.order : NULL, "", "", who, sizeof who);
    json_t *json = json_pack("{s:s,s:s,s:s,s:s,s:s,s:s,s:b,s:I,s:O?}", "id", id, "who", who, "name", sl_path_name(folder), "title",
                             exam.title, "date", exam.date, "person", exam.person, "invented", exam.invented, "clips",
                             (json_int_t)json_array_size(json_object_get(made, "clips")), "total", total);
    json_decref(made);
    return json;
}

json_t *sl_place_json(sl_place *self, bool names)
{
    sl_arena arena = {0};
    char **folders;
    int count = list_folders(self, &arena, &folders);
    json_t *exams = json_array();
    for (int i = 0; i < count; i++) {
        json_t *exam = describe(folders[i], names, &arena);
        if (exam) /* NULL: a name that is not UTF-8 */
            json_array_append_new(exams, exam);
    }
    json_t *json = json_pack("{s:s,s:b,s:o,s:s}", "folder", sl_path_name(self->folder), "single", self->single, "exams", exams,
                             "version", SL_VERSION);
    sl_arena_free(&arena);
    return json;
}

/* Person and date of an examination, "" where not said. */
static void facts_of(const char *folder, sl_arena *arena, const char **person, const char **date)
{
    sl_exam exam = {.title = "", .date = "", .person = "", .question = "", .stated_protocol = ""};
    sl_exam_apply_info(sl_path_join(arena, folder, "exam-info.json"), arena, &exam);
    *person = exam.person;
    *date = exam.date;
}

/* The folder of the same person's last examination before this one, or NULL. */
static const char *earlier_of(char *const *folders, int count, const char *folder, sl_arena *arena)
{
    const char *person, *date, *best = NULL, *best_date = "";
    facts_of(folder, arena, &person, &date);
    for (int i = 0; i < count && *person && *date; i++) {
        const char *other, *day;
        facts_of(folders[i], arena, &other, &day);
        if (strcmp(folders[i], folder) != 0 && !strcmp(other, person) && *day && strcmp(day, date) < 0 && strcmp(day, best_date) > 0) {
            best = folders[i];
            best_date = day;
        }
    }
    return best;
}

/* With the lock held: the desk of a folder, opened when it is not yet; `*fresh` says so. */
static sl_desk *desk_of(sl_place *self, const char *folder, bool *fresh)
{
    char name[17];
    sl_desk *made = NULL;
    sl_desk_name(folder, name);
    *fresh = false;
    for (int i = 0; i < self->desks; i++)
        if (!strcmp(sl_desk_id(self->desk[i]), name))
            return self->desk[i];
    if (self->desks == MOST_DESKS || sl_desk_new(name, folder, &made, NULL) != SL_OK)
        return NULL;
    sl_seal_look(made, self->store);
    self->desk[self->desks++] = made;
    *fresh = true;
    return made;
}

sl_desk *sl_place_desk(sl_place *self, const char *id)
{
    sl_desk *found = NULL, *before = NULL;
    bool fresh = false, before_fresh = false;
    sl_arena arena = {0};
    pthread_mutex_lock(&self->lock);
    for (int i = 0; i < self->desks && !found; i++)
        if (!strcmp(sl_desk_id(self->desk[i]), id))
            found = self->desk[i];
    char **folders = NULL, name[17];
    int count = found ? 0 : list_folders(self, &arena, &folders);
    for (int i = 0; i < count && !found; i++) {
        sl_desk_name(folders[i], name);
        if (strcmp(name, id) != 0 || !(found = desk_of(self, folders[i], &fresh)))
            continue;
        const char *earlier = earlier_of(folders, count, folders[i], &arena);
        char *json = earlier ? sl_path_join(&arena, earlier, "report/exam.json") : NULL;
        if (!json)
            break;
        sl_desk_name(earlier, name);
        sl_desk_set_earlier(found, name, json);
        before = desk_of(self, earlier, &before_fresh);
        for (int k = 0; k < self->desks && before_fresh; k++)
            if (self->desk[k] == before)
                self->then[k] = found;
    }
    pthread_mutex_unlock(&self->lock);
    sl_arena_free(&arena);
    if (fresh)
        sl_place_read(self, found);
    if (before_fresh)
        sl_place_read(self, before);
    return found;
}

void sl_place_read(sl_place *self, sl_desk *desk)
{
    if (!sl_desk_mark(desk))
        return;
    pthread_mutex_lock(&self->lock);
    bool there = false;
    for (int i = 0; i < self->queued; i++)
        there = there || self->queue[i] == desk;
    if (!there)
        self->queue[self->queued++] = desk;
    pthread_cond_signal(&self->work);
    pthread_mutex_unlock(&self->lock);
}

/* ---- a new examination ---- */

static bool is_date(const char *text)
{
    if (strlen(text) != 10 || text[4] != '-' || text[7] != '-')
        return false;
    for (int i = 0; i < 10; i++)
        if (i != 4 && i != 7 && (text[i] < '0' || text[i] > '9'))
            return false;
    return true;
}

static void today(char date[16])
{
    time_t now = time(NULL);
    struct tm parts;
    localtime_r(&now, &parts);
    strftime(date, 16, "%Y-%m-%d", &parts);
}

sl_status sl_place_room(const sl_place *self, const char *date, char path[PATH_MAX], sl_error *error)
{
    char now[16];
    if (self->single)
        return sl_fail(error, SL_USAGE, "One examination is open here. Start strandline serve with the folder that holds it to add others.");
    today(now);
    const char *day = is_date(date) ? date : now;
    for (int n = 1; n < 1000; n++) {
        int wrote = n == 1 ? snprintf(path, PATH_MAX, "%s/%s", self->folder, day) : snprintf(path, PATH_MAX, "%s/%s-%d", self->folder, day, n);
        if (wrote >= PATH_MAX)
            return sl_fail(error, SL_IO, "The path of %s is too long.", self->folder);
        if (!mkdir(path, 0700) || (!rmdir(path) && !mkdir(path, 0700))) /* an empty one is taken over */
            return SL_OK;
        if (errno != ENOTEMPTY && errno != EEXIST && errno != ENOTDIR)
            break;
    }
    return sl_fail(error, SL_IO, "A folder for the examination could not be made in %s: %s.", self->folder, strerror(errno));
}

sl_status sl_place_add(sl_place *self, const json_t *facts, char id[17], sl_error *error)
{
    static const char *const keys[] = {"title", "date", "person", "question", "protocol"};
    json_t *info = json_object();
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        const json_t *value = json_object_get(facts, keys[i]);
        if (value && (!json_is_string(value) || json_string_length(value) > 300)) {
            json_decref(info);
            return sl_fail(error, SL_USAGE, "The %s must be words, at most 300 letters.", keys[i]);
        }
        if (value && json_string_length(value))
            json_object_set(info, keys[i], (json_t *)(uintptr_t)value);
    }
    const char *stated = json_string_value(json_object_get(info, "date"));
    char path[PATH_MAX], date[16];
    sl_status status = SL_OK;
    today(date);
    if (stated && !is_date(stated))
        status = sl_fail(error, SL_USAGE, "The date is written as year-month-day, like %s.", date);
    else if (!stated)
        json_object_set_new(info, "date", json_string(date));
    if (status == SL_OK)
        status = sl_place_room(self, sl_json_text(info, "date"), path, error);
    if (status == SL_OK) {
        char inside[PATH_MAX + 20];
        snprintf(inside, sizeof inside, "%s/exam-info.json", path);
        status = sl_json_save(info, inside, error);
    }
    json_decref(info);
    if (status != SL_OK)
        return status;
    sl_desk_name(path, id);
    return SL_OK;
}
