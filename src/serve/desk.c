#include "serve/desk.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "exam/exam.h"
#include "report/language.h"
#include "report/produce.h"
#include "report/record.h"
#include "report/report.h"
#include "report/words.h"
#include "serve/own.h"
#include "serve/says.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

typedef enum desk_state { DESK_WAITING, DESK_READING, DESK_READY, DESK_FAILED } desk_state;
static const char *const state_names[] = {"waiting", "reading", "ready", "failed"};

/* What the page knows of one clip; owned. */
typedef struct slot {
    char id[17];
    char *path, *record, *where;
    json_t *json;
    bool done;
} slot;

struct sl_desk {
    char id[17];
    char *folder, *out;
    char earlier_id[17], *earlier; /* the examination before this one: id, path of its exam.json; "" and NULL: none */
    sl_says *says; /* guarded by `lock` */
    pthread_mutex_t lock;
    pthread_cond_t changed;
    pthread_mutex_t reading; /* one reading at a time; drawing pages needs the examination, too */
    bool marked, ends;
    desk_state state;
    char why[512];
    long version;
    int clips;
    slot *slot;
    json_t *seal; /* the signature in the store, or NULL */
    json_t *head; /* examination, total, zones, remarks */
    char *text;   /* all of it for the page, of `text_version` */
    long text_version;
    /* the examination as last put together, for the pages of the report; guarded by `reading` */
    sl_arena arena;
    sl_exam exam;
    bool have_exam;
};

void sl_desk_name(const char *text, char name[17])
{
    uint64_t hash = 14695981039346656037u;
    for (; *text; text++)
        hash = (hash ^ (unsigned char)*text) * 1099511628211u;
    snprintf(name, 17, "%016llx", (unsigned long long)hash);
}

sl_status sl_desk_new(const char *id, const char *folder, sl_desk **desk, sl_error *error)
{
    sl_desk *self = calloc(1, sizeof *self);
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    pthread_mutex_init(&self->lock, NULL);
    pthread_mutex_init(&self->reading, NULL);
    pthread_cond_init(&self->changed, NULL);
    snprintf(self->id, sizeof self->id, "%s", id);
    self->folder = strdup(folder);
    if (asprintf(&self->out, "%s/report", folder) < 0)
        self->out = NULL;
    sl_status status = self->folder && self->out ? sl_says_open(self->out, &self->says, error)
                                                 : sl_fail(error, SL_MEMORY, "Memory ran out.");
    self->version = 1;
    if (status != SL_OK)
        sl_desk_free(&self);
    *desk = self;
    return status;
}

static void drop_slots(slot *slots, int count)
{
    for (int i = 0; i < count; i++) {
        free(slots[i].path);
        free(slots[i].record);
        free(slots[i].where);
        json_decref(slots[i].json);
    }
    free(slots);
}

void sl_desk_free(sl_desk **desk)
{
    sl_desk *self = *desk;
    if (!self)
        return;
    drop_slots(self->slot, self->clips);
    json_decref(self->head);
    json_decref(self->seal);
    free(self->text);
    sl_says_close(&self->says);
    sl_arena_free(&self->arena);
    pthread_cond_destroy(&self->changed);
    pthread_mutex_destroy(&self->reading);
    pthread_mutex_destroy(&self->lock);
    free(self->folder);
    free(self->out);
    free(self->earlier);
    free(self);
    *desk = NULL;
}

const char *sl_desk_id(const sl_desk *desk)
{
    return desk->id;
}

void sl_desk_set_earlier(sl_desk *desk, const char *id, const char *exam_json)
{
    pthread_mutex_lock(&desk->reading);
    snprintf(desk->earlier_id, sizeof desk->earlier_id, "%s", id);
    free(desk->earlier);
    desk->earlier = strdup(exam_json);
    pthread_mutex_unlock(&desk->reading);
}

const char *sl_desk_folder(const sl_desk *desk)
{
    return desk->folder;
}

const char *sl_desk_file(sl_desk *desk, const char *name, sl_arena *arena)
{
    return sl_path_join(arena, desk->out, name);
}

/* With the lock held. */
static void note_change(sl_desk *self)
{
    self->version++;
    pthread_cond_broadcast(&self->changed);
}

bool sl_desk_mark(sl_desk *desk)
{
    pthread_mutex_lock(&desk->lock);
    bool first = !desk->marked;
    desk->marked = true;
    pthread_mutex_unlock(&desk->lock);
    return first;
}

void sl_desk_wake(sl_desk *desk)
{
    pthread_mutex_lock(&desk->lock);
    desk->ends = true;
    note_change(desk);
    pthread_mutex_unlock(&desk->lock);
}

/* ---- what the page is told ---- */

static json_t *head_json(const sl_exam *exam)
{
    json_t *zones = json_array(), *remarks = json_array();
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone_score *zone = &exam->zone[i];
        json_array_append_new(
            zones, json_pack("{s:s,s:o,s:o,s:o,s:i,s:o}", "zone", zone->zone->key, "score",
                             zone->score >= 0 ? json_integer(zone->score) : json_null(), "low",
                             sl_json_number(zone->low, 2), "high", sl_json_number(zone->high, 2), "clips", zone->clips,
                             "from", zone->decisive >= 0 ? json_string(exam->clip[zone->decisive].where) : json_null()));
    }
    for (int i = 0; i < exam->remarks; i++)
        json_array_append_new(remarks, json_string(exam->remark[i]));
    return json_pack("{s:s,s:s,s:s,s:s,s:b,s:s,s:{s:o,s:i,s:i,s:o,s:o},s:o,s:o}", "title", exam->title, "date", exam->date,
                     "person", exam->person, "question", exam->question, "invented", exam->invented, "protocol",
                     exam->protocol ? exam->protocol->key : exam->stated_protocol, "total", "score",
                     exam->zones_scored ? json_integer(exam->total) : json_null(), "of", exam->total_of, "scored",
                     exam->zones_scored, "low", sl_json_number(exam->total_low, 2), "high",
                     sl_json_number(exam->total_high, 2), "zones", zones, "remarks", remarks);
}

static json_t *clip_json(const char *id, const sl_exam_clip *clip)
{
    json_t *object = json_pack("{s:s,s:s,s:s,s:o,s:s,s:s}", "id", id, "clip", clip->name, "where", clip->where, "zone",
                               clip->zone ? json_string(clip->zone->key) : json_null(), "zone_from", clip->zone_from,
                               "notes", clip->notes);
    return object ? object : json_object();
}

/* Clips just collected: named, not read yet. What was known of the same path before goes on until it is read anew. */
static sl_status list_clips(sl_desk *self, const sl_exam *exam, sl_arena *arena)
{
    slot *slots = calloc((size_t)exam->clips + 1, sizeof *slots);
    if (!slots)
        return SL_MEMORY;
    for (int i = 0; i < exam->clips; i++) {
        const char *record = sl_record_path(arena, self->out, &exam->clip[i]);
        slots[i].path = strdup(exam->clip[i].path);
        slots[i].record = record ? strdup(record) : NULL;
        slots[i].where = strdup(exam->clip[i].where);
        if (!slots[i].path || !slots[i].record || !slots[i].where) {
            drop_slots(slots, exam->clips);
            return SL_MEMORY;
        }
        sl_desk_name(exam->clip[i].where, slots[i].id);
        slots[i].json = clip_json(slots[i].id, &exam->clip[i]);
    }
    pthread_mutex_lock(&self->lock);
    for (int i = 0; i < exam->clips; i++)
        for (int k = 0; k < self->clips; k++)
            if (!strcmp(slots[i].where, self->slot[k].where) && self->slot[k].done) {
                json_t *known = json_deep_copy(self->slot[k].json);
                json_object_update(known, slots[i].json); /* the zone may be another now */
                json_decref(slots[i].json);
                slots[i].json = known;
                slots[i].done = true;
            }
    drop_slots(self->slot, self->clips);
    self->slot = slots;
    self->clips = exam->clips;
    json_t *head = head_json(exam); /* what was judged before stands until it is judged anew: nothing jumps meanwhile */
    static const char *const judged[] = {"audit", "synthesis", "change", "earlier"};
    for (size_t i = 0; head && self->head && i < sizeof judged / sizeof *judged; i++)
        if (json_object_get(self->head, judged[i]))
            json_object_set(head, judged[i], json_object_get(self->head, judged[i]));
    json_decref(self->head);
    self->head = head;
    self->state = DESK_READING;
    note_change(self);
    pthread_mutex_unlock(&self->lock);
    return SL_OK;
}

typedef struct run {
    sl_desk *desk;
    sl_exam *exam;
} run;

static json_t *result_json(const sl_exam_clip *clip, const char *record_path)
{
    sl_arena arena = {0};
    sl_record record;
    json_t *json = NULL;
    if (sl_record_load(record_path, &arena, &record, NULL) == SL_OK && record.key.content == clip->content) {
        json = sl_result_to_json(&record.result);
        json_object_set_new(json, "shown_frame", json_integer(record.shown_frame));
        json_object_set_new(json, "cell", json_boolean(record.cell.length > 0));
    } else
        json = sl_result_to_json(&clip->result);
    sl_arena_free(&arena);
    return json;
}

/* Called by the reader for each clip, several threads at a time; clip `item`'s slot is not touched by others. */
static void clip_done(void *context, int item)
{
    run *now = context;
    sl_desk *self = now->desk;
    const sl_exam_clip *clip = &now->exam->clip[item];
    json_t *result = result_json(clip, self->slot[item].record);
    pthread_mutex_lock(&self->lock);
    json_t *json = clip_json(self->slot[item].id, clip);
    if (result)
        json_object_update(json, result);
    json_decref(self->slot[item].json);
    self->slot[item].json = json;
    self->slot[item].done = true;
    note_change(self);
    pthread_mutex_unlock(&self->lock);
    json_decref(result);
}

/* Zones, statements, conclusion and signature as they stand now. */
static void apply_own(sl_desk *self, sl_exam *exam, sl_arena *arena)
{
    pthread_mutex_lock(&self->lock);
    json_t *standing = sl_says_standing(self->says);
    pthread_mutex_unlock(&self->lock);
    sl_own_apply(standing, self->out, exam, arena);
    json_decref(standing);
}

/* What is judged only when all clips are read (acquisition, synthesis, change) is passed on as exam.json has it, so that a
 * new part of it needs nothing here. */
static void take_judged(sl_desk *self, json_t *head, sl_arena *arena)
{
    static const char *const parts[] = {"audit", "synthesis", "change"};
    json_t *made = sl_json_load(sl_path_join(arena, self->out, "exam.json"), NULL), *clip;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        json_t *part = json_object_get(made, parts[i]);
        if (part)
            json_object_set(head, parts[i], part);
    }
    size_t at;
    json_array_foreach(json_object_get(made, "clips"), at, clip)
    {
        const char *where = json_string_value(json_object_get(clip, "path"));
        static const char *const of_clips[] = {"audit", "effusion_volume"};
        pthread_mutex_lock(&self->lock);
        for (int i = 0; where && i < self->clips; i++)
            for (size_t k = 0; k < sizeof of_clips / sizeof *of_clips && !strcmp(self->slot[i].where, where); k++)
                if (json_object_get(clip, of_clips[k]))
                    json_object_set(self->slot[i].json, of_clips[k], json_object_get(clip, of_clips[k]));
        pthread_mutex_unlock(&self->lock);
    }
    json_decref(made);
}

static sl_status read_once(sl_desk *self, sl_error *error)
{
    sl_arena arena = {0};
    sl_exam exam;
    sl_produced produced;
    const char *paths[] = {self->folder};
    sl_status status = sl_exam_collect(paths, 1, &arena, &exam, error);
    if (status == SL_OK) {
        apply_own(self, &exam, &arena);
        if (list_clips(self, &exam, &arena) != SL_OK)
            status = sl_fail(error, SL_MEMORY, "Memory ran out while the clips were listed.");
    }
    run now = {self, &exam};
    struct stat facts;
    const char *earlier = self->earlier && !stat(self->earlier, &facts) ? self->earlier : NULL;
    sl_produce_options options = {.out = self->out, .before = earlier, .rules = SL_RULES_PRACTICE, .clip_done = clip_done, .context = &now};
    if (status == SL_OK)
        status = sl_produce(&exam, &options, &arena, &produced, error);
    if (status != SL_OK) {
        sl_arena_free(&arena);
        return status;
    }
    sl_arena_free(&self->arena);
    self->arena = arena;
    self->exam = exam;
    self->have_exam = true;
    json_t *head = head_json(&exam);
    if (earlier)
        json_object_set_new(head, "earlier", json_string(self->earlier_id));
    take_judged(self, head, &arena);
    pthread_mutex_lock(&self->lock);
    json_decref(self->head);
    self->head = head;
    pthread_mutex_unlock(&self->lock);
    return SL_OK;
}

void sl_desk_read(sl_desk *self)
{
    pthread_mutex_lock(&self->reading);
    bool again = true;
    while (again) {
        pthread_mutex_lock(&self->lock);
        self->marked = false;
        pthread_mutex_unlock(&self->lock);
        sl_error error = {0};
        sl_status status = read_once(self, &error);
        pthread_mutex_lock(&self->lock);
        self->state = status == SL_OK ? DESK_READY : DESK_FAILED;
        snprintf(self->why, sizeof self->why, "%s", status == SL_OK ? "" : error.text);
        again = self->marked && !self->ends;
        note_change(self);
        pthread_mutex_unlock(&self->lock);
    }
    pthread_mutex_unlock(&self->reading);
}

/* With the lock held: the text of the present version, made once a version. */
static const char *present_text(sl_desk *self)
{
    if (self->text && self->text_version == self->version)
        return self->text;
    json_t *clips = json_array();
    int done = 0;
    for (int i = 0; i < self->clips; i++) {
        json_object_set_new(self->slot[i].json, "done", json_boolean(self->slot[i].done));
        done += self->slot[i].done;
        json_array_append(clips, self->slot[i].json);
    }
    json_t *json = json_pack("{s:s,s:O?,s:I,s:s,s:s,s:i,s:O?,s:o,s:o}", "id", self->id, "signed", self->seal, "version", (json_int_t)self->version,
                             "state", state_names[self->state], "why", self->why, "done", done, "head", self->head, "clips",
                             clips, "says", sl_says_all(self->says));
    free(self->text);
    self->text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(8)) : NULL;
    self->text_version = self->version;
    json_decref(json);
    return self->text;
}

char *sl_desk_text(sl_desk *self, long after, double seconds)
{
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += (time_t)seconds;
    pthread_mutex_lock(&self->lock);
    while (after == self->version && !self->ends && !pthread_cond_timedwait(&self->changed, &self->lock, &until))
        ;
    const char *text = present_text(self);
    char *copy = text ? strdup(text) : NULL;
    pthread_mutex_unlock(&self->lock);
    return copy;
}

static bool names_zone(const json_t *entries)
{
    size_t at;
    json_t *entry;
    json_array_foreach(entries, at, entry) {
        const char *kind = json_string_value(json_object_get(entry, "kind"));
        if (kind && (!strcmp(kind, "zone") || !strcmp(kind, "undo") || !strcmp(kind, "redo")))
            return true;
    }
    return false;
}

sl_status sl_desk_say(sl_desk *self, const json_t *entries, bool *read_again, sl_error *error)
{
    pthread_mutex_lock(&self->lock);
    sl_status status = sl_says_add(self->says, entries, error);
    if (status == SL_OK)
        note_change(self);
    pthread_mutex_unlock(&self->lock);
    *read_again = status == SL_OK && names_zone(entries);
    return status;
}

bool sl_desk_find(sl_desk *self, const char *clip, sl_arena *arena, sl_desk_clip *found)
{
    *found = (sl_desk_clip){0};
    pthread_mutex_lock(&self->lock);
    for (int i = 0; i < self->clips && !found->path; i++)
        if (!strcmp(self->slot[i].id, clip)) {
            found->path = sl_arena_text(arena, self->slot[i].path);
            found->record = sl_arena_text(arena, self->slot[i].record);
        }
    pthread_mutex_unlock(&self->lock);
    sl_record record;
    if (found->path && found->record && sl_record_load(found->record, arena, &record, NULL) == SL_OK) {
        found->view = record.result.view;
        found->frames = record.result.frames;
    }
    return found->path && found->record;
}

/* The examination with what stands now, for drawing; with `reading` held. Zones are those it was last put together by. */
static sl_status present(sl_desk *self, const char *language, sl_exam *exam, sl_arena *arena, sl_error *error)
{
    if (!self->have_exam)
        return sl_fail(error, SL_IO, "The report is made when all clips are read.");
    *exam = self->exam;
    if (language && sl_language_of(language))
        exam->language = language;
    exam->clip = SL_NEW(arena, exam->clips + 1, sl_exam_clip);
    if (!exam->clip)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the report was drawn.");
    memcpy(exam->clip, self->exam.clip, (size_t)exam->clips * sizeof *exam->clip);
    apply_own(self, exam, arena);
    for (int i = 0; i < exam->clips; i++)
        exam->clip[i].zone = self->exam.clip[i].zone;
    pthread_mutex_lock(&self->lock);
    const json_t *reports = json_object_get(self->seal, "reports");
    int signed_times = (int)json_array_size(reports);
    sl_conclusion *words = SL_NEW(arena, signed_times + 1, sl_conclusion);
    for (int i = 0; words && i < signed_times; i++) { /* what is signed is printed as it was signed */
        json_t *one = json_array_get(reports, (size_t)i);
        words[i] = (sl_conclusion){sl_arena_text(arena, json_string_value(json_object_get(one, "text"))),
                                   sl_arena_text(arena, json_string_value(json_object_get(one, "signer"))),
                                   sl_arena_text(arena, json_string_value(json_object_get(one, "signed_at"))), false};
    }
    pthread_mutex_unlock(&self->lock);
    if (words && signed_times) {
        exam->conclusion = words;
        exam->conclusions = signed_times;
    }
    return SL_OK;
}

sl_status sl_desk_with(sl_desk *self, const char *language, sl_desk_use use, void *context, sl_error *error)
{
    sl_arena arena = {0};
    sl_exam exam;
    pthread_mutex_lock(&self->reading);
    sl_status status = present(self, language, &exam, &arena, error);
    if (status == SL_OK)
        status = use(context, &exam, self->out, &arena, error);
    pthread_mutex_unlock(&self->reading);
    sl_arena_free(&arena);
    return status;
}

void sl_desk_set_signed(sl_desk *self, json_t *seal)
{
    pthread_mutex_lock(&self->lock);
    json_decref(self->seal);
    self->seal = seal;
    note_change(self);
    pthread_mutex_unlock(&self->lock);
}

json_t *sl_desk_signed(sl_desk *self)
{
    pthread_mutex_lock(&self->lock);
    json_t *seal = json_deep_copy(self->seal);
    pthread_mutex_unlock(&self->lock);
    return seal;
}

sl_status sl_desk_page(sl_desk *self, const char *language, int page, double dots_a_point, const char *path, int *pages, sl_error *error)
{
    sl_arena arena = {0};
    sl_exam exam;
    pthread_mutex_lock(&self->reading);
    sl_status status = present(self, language, &exam, &arena, error);
    if (status == SL_OK)
        status = sl_report_page(&exam, self->out, page, dots_a_point, path, pages, error);
    pthread_mutex_unlock(&self->reading);
    sl_arena_free(&arena);
    return status;
}

sl_status sl_desk_pdf(sl_desk *self, const char *language, sl_error *error)
{
    sl_arena arena = {0};
    sl_exam exam;
    pthread_mutex_lock(&self->reading);
    sl_status status = present(self, language, &exam, &arena, error);
    const char *path = sl_path_join(&arena, self->out, "report.pdf");
    if (status == SL_OK)
        status = path ? sl_report_pdf(&exam, self->out, path, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    pthread_mutex_unlock(&self->reading);
    sl_arena_free(&arena);
    return status;
}
