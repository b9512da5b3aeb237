#include "report/produce.h"

#include "clip/clip.h"
#include "core/file.h"
#include "core/pool.h"
#include "core/text.h"
#include "core/units.h"
#include "exam/burned_label.h"
#include "exam/change.h"
#include "exam/rescan.h"
#include "exam/synthesis.h"
#include "core/utf8.h"
#include "report/record.h"
#include "report/report.h"

#include <dirent.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_WORKERS = 64 };

typedef struct job {
    sl_exam *exam;
    const sl_produce_options *options;
    int workers, decode_threads;
    uint64_t program;
    const int *borrows; /* second round: the clips to read again, NULL in the first */
    const int *donor;   /* and whose view each of them borrows */
    sl_arena *arena; /* of the examination: what stays in memory of each clip */
    bool *kept;
    uint64_t *borrowed; /* content of the clip whose view the record borrowed, 0 none */
    atomic_bool stopped;
    pthread_mutex_t lock; /* arena, progress, the first error */
    int done, failed_item;
    sl_error error;
} job;

/* Which program this is: the version, and the file's size and time, so that a rebuilt one reads anew; and the language of
 * the pictures. */
static uint64_t program_mark(const char *language)
{
    struct stat facts;
    uint64_t mark = 14695981039346656037u; /* FNV-1a over what tells programs apart */
    char text[160] = SL_VERSION;
    if (!stat("/proc/self/exe", &facts))
        snprintf(text, sizeof text, SL_VERSION " %lld %lld.%09ld %s", (long long)facts.st_size,
                 (long long)facts.st_mtim.tv_sec, facts.st_mtim.tv_nsec, language);
    for (const char *at = text; *at; at++)
        mark = (mark ^ (unsigned char)*at) * 1099511628211u;
    return mark;
}

static void stop(job *self, int item, const sl_error *error)
{
    pthread_mutex_lock(&self->lock);
    if (!atomic_load(&self->stopped) || item < self->failed_item) {
        self->error = *error;
        self->failed_item = item;
    }
    atomic_store(&self->stopped, true);
    pthread_mutex_unlock(&self->lock);
}

/* The result without evidence, pictures and per-frame values. */
static void lighten(const sl_clip_result *result, sl_arena *arena, sl_clip_result *light)
{
    *light = *result;
    memset(light->kept, 0, sizeof light->kept);
    memset(&light->trace, 0, sizeof light->trace);
    memset(light->border, 0, sizeof light->border);
    light->texture = NULL;
    light->pleura_points = light->frame_values = 0;
    light->pleura_x = light->pleura_y = NULL;
    light->frame_coverage = light->frame_time_s = NULL;
    light->path = light->name = "";
    const char *reason = sl_arena_text(arena, result->reason ? result->reason : "");
    light->reason = reason ? reason : "";
    light->reading = NULL;
    if (!result->reading)
        return;
    sl_reading *reading = sl_reading_new(arena, result->reading->by, result->reading->author, result->reading->clip);
    if (!reading)
        return;
    reading->method = result->reading->method ? sl_arena_text(arena, result->reading->method) : NULL;
    for (int i = 0; i < result->reading->findings; i++) {
        const sl_finding *from = &result->reading->finding[i];
        sl_finding *to = sl_reading_put(reading, from->code);
        *to = *from;
        to->evidences = 0;
        to->evidence = NULL;
        const char *why = sl_arena_text(arena, from->reason ? from->reason : "");
        to->reason = why ? why : "";
    }
    light->reading = reading;
}

static void keep_light(job *self, int item, const sl_clip_result *result, uint64_t borrowed, bool kept)
{
    pthread_mutex_lock(&self->lock);
    lighten(result, self->arena, &self->exam->clip[item].result);
    self->borrowed[item] = borrowed;
    self->kept[item] = kept;
    pthread_mutex_unlock(&self->lock);
}

static bool is_file(const char *path)
{
    struct stat facts;
    return path && !stat(path, &facts);
}

static double stated_depth(const job *self, const sl_exam_clip *clip)
{
    return clip->stated_depth_cm > 0 ? clip->stated_depth_cm : self->options->depth_cm;
}

/* Takes the record of an earlier run when it was made from the same content, options and program. */
static bool take_record(job *self, int item, const sl_record_key *key, const char *record_path, const char *picture_path,
                        sl_arena *arena)
{
    sl_record record;
    if (!key->content || sl_record_load(record_path, arena, &record, NULL) != SL_OK)
        return false;
    if (record.key.content != key->content || record.key.program != key->program ||
        (record.key.depth_cm > key->depth_cm ? record.key.depth_cm - key->depth_cm
                                             : key->depth_cm - record.key.depth_cm) > 1e-4 ||
        (self->borrows && record.key.borrowed != key->borrowed))
        return false;
    if (record.result.state == SL_CLIP_READ && !is_file(picture_path))
        return false;
    keep_light(self, item, &record.result, record.key.borrowed, true);
    return true;
}

/* A number outside what its row of the table allows is no measurement, whatever made it. */
static void refuse_impossible(sl_reading *reading)
{
    for (int i = 0; reading && i < reading->findings; i++) {
        sl_finding *finding = &reading->finding[i];
        const sl_finding_info *info = sl_finding_info_of(finding->code);
        if (!sl_known(finding->value) || (finding->value >= info->low && finding->value <= info->high))
            continue;
        finding->known = false;
        finding->value = finding->low = finding->high = SL_UNKNOWN;
        finding->answer = SL_UNCERTAIN;
        finding->reason = "what was measured lies outside what is possible";
    }
}

/* What comes from a file's bytes may be anything; what is kept is valid UTF-8 and under the clip's shown name. */
static void clean_result(const sl_exam_clip *clip, sl_arena *arena, sl_clip_result *result)
{
    char *const texts[] = {result->info.acquisition.transducer, result->info.acquisition.body_part,
                           result->info.acquisition.laterality, result->info.acquisition.view_name,
                           result->info.acquisition.processing};
    const size_t rooms[] = {sizeof result->info.acquisition.transducer, sizeof result->info.acquisition.body_part,
                            sizeof result->info.acquisition.laterality, sizeof result->info.acquisition.view_name,
                            sizeof result->info.acquisition.processing};
    for (size_t i = 0; i < sizeof rooms / sizeof *rooms; i++) {
        const char *valid = sl_utf8_valid(arena, texts[i]);
        if (valid != texts[i])
            snprintf(texts[i], rooms[i], "%s", valid && strlen(valid) < rooms[i] ? valid : "");
    }
    const char *reason = sl_utf8_valid(arena, result->reason);
    result->reason = reason ? reason : "";
    result->name = clip->name;
    refuse_impossible(result->reading);
    if (result->reading)
        result->reading->clip = clip->name;
}

static bool found_pleura(const sl_clip_result *result)
{
    const sl_finding *pleura = result->reading ? sl_reading_get(result->reading, SL_PLEURA_DEPTH) : NULL;
    return result->state == SL_CLIP_READ && pleura && pleura->known;
}

static sl_status read_now(job *self, int item, const sl_record_key *key, const char *record_path,
                          const char *picture_path, sl_arena *arena, sl_error *error)
{
    sl_exam_clip *clip = &self->exam->clip[item], full = *clip;
    sl_read_options read = {.stated_depth_cm = key->depth_cm,
                            .decode_threads = self->decode_threads,
                            .borrow = key->borrowed ? &self->exam->clip[self->donor[item]].result.view : NULL};
    sl_read_clip(clip->path, &read, arena, &full.result);
    if (key->borrowed && !found_pleura(&full.result)) { /* no lung in that view either: the clip's own word stands */
        read.borrow = NULL;
        sl_read_clip(clip->path, &read, arena, &full.result);
    }
    sl_acquisition *how = &full.result.info.acquisition;
    if (!clip->zone && full.result.state == SL_CLIP_READ && !(*how->laterality && (*how->view_name || *how->body_part)))
        sl_burned_label(&full.result, how->burned_label, sizeof how->burned_label);
    clean_result(clip, arena, &full.result);
    sl_status status = SL_OK;
    if (full.result.state == SL_CLIP_READ)
        status = sl_report_picture(&full, self->exam->invented, sl_language_for(self->exam), picture_path, error);
    if (status == SL_OK && key->content && full.result.state != SL_CLIP_FAILED)
        status = sl_record_save(record_path, key, &full.result, error);
    /* what goes on is what the record gives back, so that a later run from records writes the same bytes */
    sl_record record;
    if (status == SL_OK && sl_record_load(record_path, arena, &record, NULL) == SL_OK &&
        record.key.content == key->content && full.result.state != SL_CLIP_FAILED)
        full.result = record.result;
    keep_light(self, item, &full.result, key->borrowed, false);
    return status;
}

static void annotate(job *self, int item, const char *record_path, sl_arena *arena)
{
    sl_exam_clip *clip = &self->exam->clip[item], full = *clip;
    const char *path = sl_arena_printf(arena, "%s/annotated/%s.mp4", self->options->out, clip->stem);
    sl_record record;
    sl_error error;
    if (clip->result.state != SL_CLIP_READ || !path || (self->kept[item] && is_file(path)) ||
        sl_record_load(record_path, arena, &record, NULL) != SL_OK)
        return;
    full.result = record.result;
    if (sl_report_annotated_clip(&full, self->exam->invented, sl_language_for(self->exam), path, &error) != SL_OK)
        stop(self, item, &error);
}

static void work(void *context, int index, int worker)
{
    job *self = context;
    (void)worker;
    if (atomic_load(&self->stopped))
        return;
    int item = self->borrows ? self->borrows[index] : index;
    sl_exam_clip *clip = &self->exam->clip[item];
    sl_arena arena = {0};
    sl_error error;
    const char *out = self->options->out;
    const char *record_path = sl_record_path(&arena, out, clip);
    const char *picture_path = sl_arena_printf(&arena, "%s/evidence/%s.png", out, clip->stem);
    sl_status status = record_path && picture_path ? SL_OK : sl_fail(&error, SL_MEMORY, "Memory ran out.");
    if (!self->borrows && sl_clip_hash(clip->path, &clip->content, NULL) != SL_OK)
        clip->content = 0; /* reading it will say why */
    sl_record_key key = {.content = clip->content, .depth_cm = stated_depth(self, clip), .program = self->program};
    if (self->borrows && self->donor[item] >= 0)
        key.borrowed = self->exam->clip[self->donor[item]].content;
    if (status == SL_OK && !take_record(self, item, &key, record_path, picture_path, &arena))
        status = read_now(self, item, &key, record_path, picture_path, &arena, &error);
    if (status != SL_OK)
        stop(self, item, &error);
    else if (self->options->annotated)
        annotate(self, item, record_path, &arena);
    sl_arena_free(&arena);
    if (self->options->clip_done && status == SL_OK)
        self->options->clip_done(self->options->context, item);
    if (self->borrows)
        return;
    pthread_mutex_lock(&self->lock);
    self->done++;
    if (self->options->progress)
        self->options->progress(self->options->context, self->done, self->exam->clips, clip->name);
    pthread_mutex_unlock(&self->lock);
}

/* A clip whose view could not be found borrows it from the first clip of the examination with pictures of the same
 * size: the same machine with the same settings, most likely. */
static void read_borrowing(job *self, sl_arena *arena)
{
    sl_exam *exam = self->exam;
    int *items = SL_NEW(arena, exam->clips + 1, int), *donor = SL_NEW(arena, exam->clips + 1, int), count = 0;
    if (!items || !donor)
        return;
    for (int i = 0; i < exam->clips; i++) {
        const sl_clip_result *result = &exam->clip[i].result;
        if (result->state != SL_CLIP_UNREADABLE && !result->view.borrowed)
            continue;
        donor[i] = -1;
        for (int k = 0; k < exam->clips && donor[i] < 0; k++) {
            const sl_clip_result *other = &exam->clip[k].result;
            if (other->state == SL_CLIP_READ && !other->view.borrowed && exam->clip[k].content &&
                other->info.width == result->info.width && other->info.height == result->info.height)
                donor[i] = k;
        }
        if (self->borrowed[i] != (donor[i] < 0 ? 0 : exam->clip[donor[i]].content))
            items[count++] = i;
    }
    self->borrows = items;
    self->donor = donor;
    if (count)
        sl_pool_run(self->workers, count, work, self);
}

static bool in_exam(const sl_exam *exam, const char *stem, size_t length)
{
    for (int i = 0; i < exam->clips; i++)
        if (strlen(exam->clip[i].stem) == length && !strncmp(exam->clip[i].stem, stem, length))
            return true;
    return false;
}

/* Records of clips that are no longer part of the examination go, with the pictures made of them. */
static void tidy(const sl_exam *exam, const char *out, sl_arena *arena)
{
    static const char ending[] = ".record";
    const char *folder = sl_path_join(arena, out, ".records");
    DIR *records = folder ? opendir(folder) : NULL;
    for (struct dirent *entry; records && (entry = readdir(records));) {
        size_t length = strlen(entry->d_name);
        if (length < sizeof ending || strcmp(entry->d_name + length - (sizeof ending - 1), ending))
            continue;
        length -= sizeof ending - 1;
        if (in_exam(exam, entry->d_name, length))
            continue;
        char path[4096];
        if (snprintf(path, sizeof path, "%s/evidence/%.*s.png", out, (int)length, entry->d_name) < (int)sizeof path)
            unlink(path);
        if (snprintf(path, sizeof path, "%s/annotated/%.*s.mp4", out, (int)length, entry->d_name) < (int)sizeof path)
            unlink(path);
        if (snprintf(path, sizeof path, "%s/.records/%s", out, entry->d_name) < (int)sizeof path)
            unlink(path);
    }
    if (records)
        closedir(records);
}

static sl_status make_folders(const sl_produce_options *options, sl_arena *arena, sl_error *error)
{
    const char *const names[] = {".records", "evidence", "annotated"};
    for (int i = 0; i < (options->annotated ? 3 : 2); i++) {
        const char *path = sl_path_join(arena, options->out, names[i]);
        sl_status status = path ? sl_folder_make(path, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
        if (status != SL_OK)
            return status;
    }
    return SL_OK;
}

sl_status sl_produce_files(const sl_exam *exam, const char *out, sl_arena *arena, sl_error *error)
{
    const char *csv = sl_path_join(arena, out, "readings.csv"), *json = sl_path_join(arena, out, "exam.json"),
               *text = sl_path_join(arena, out, "report.txt"), *fhir = sl_path_join(arena, out, "fhir.json"),
               *audit = sl_path_join(arena, out, "audit.csv"), *pdf = sl_path_join(arena, out, "report.pdf");
    if (!csv || !json || !text || !fhir || !audit || !pdf)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_status status = sl_report_csv(exam, csv, error);
    if (status == SL_OK)
        status = sl_report_audit_csv(exam, audit, error);
    if (status == SL_OK)
        status = sl_report_json(exam, out, json, error);
    if (status == SL_OK)
        status = sl_report_text(exam, text, error);
    if (status == SL_OK)
        status = sl_report_fhir(exam, out, fhir, error);
    return status == SL_OK ? sl_report_pdf(exam, out, pdf, error) : status;
}

/* What changed since an earlier examination; one that cannot be read is said and left out. */
static sl_status compare(sl_exam *exam, const char *before, sl_arena *arena, sl_error *error)
{
    sl_exam_change *change = SL_NEW(arena, 1, sl_exam_change);
    sl_old_exam *old = SL_NEW(arena, 1, sl_old_exam);
    if (!change || !old)
        return sl_fail(error, SL_MEMORY, "Memory ran out while two examinations were compared.");
    sl_error why;
    if (sl_old_exam_load(before, arena, old, &why) != SL_OK) {
        sl_exam_remark(exam, arena, "No comparison: %s", why.text);
        return SL_OK;
    }
    sl_status status = sl_exam_compare(exam, old, arena, change, error);
    for (int i = 0; status == SL_OK && i < change->remarks; i++)
        sl_exam_remark(exam, arena, "%s", change->remark[i]);
    if (status == SL_OK)
        exam->change = change;
    return status;
}

sl_status sl_produce(sl_exam *exam, const sl_produce_options *options, sl_arena *arena, sl_produced *produced,
                     sl_error *error)
{
    *produced = (sl_produced){0};
    sl_status status = make_folders(options, arena, error);
    if (status != SL_OK)
        return status;
    tidy(exam, options->out, arena);
    job *self = SL_NEW(arena, 1, job);
    if (!self || !(self->kept = SL_NEW(arena, exam->clips + 1, bool)) ||
        !(self->borrowed = SL_NEW(arena, exam->clips + 1, uint64_t)))
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    self->exam = exam;
    self->arena = arena;
    self->options = options;
    self->workers = options->workers < 1 ? sl_cores() : options->workers > MOST_WORKERS ? MOST_WORKERS : options->workers;
    self->decode_threads = exam->clips < 2 && self->workers > 1 ? 2 : 1;
    self->program = program_mark(sl_language_code(sl_language_for(exam)));
    pthread_mutex_init(&self->lock, NULL);
    sl_pool_run(self->workers, exam->clips, work, self);
    if (!atomic_load(&self->stopped))
        read_borrowing(self, arena);
    pthread_mutex_destroy(&self->lock);
    if (atomic_load(&self->stopped)) {
        *error = self->error;
        status = error->status;
    }
    for (int i = 0; i < exam->clips && status == SL_OK; i++) {
        sl_clip_state state = exam->clip[i].result.state;
        produced->read += state == SL_CLIP_READ;
        produced->unreadable += state == SL_CLIP_UNREADABLE;
        produced->failed += state == SL_CLIP_FAILED;
        produced->kept += self->kept[i];
    }
    if (status == SL_OK)
        sl_exam_zones_from_files(exam);
    if (status == SL_OK)
        status = sl_exam_score(exam, arena, error);
    if (status == SL_OK)
        status = sl_exam_audit(exam, options->rules, arena, error);
    if (status == SL_OK)
        status = sl_exam_sum_up(exam, arena, error);
    if (status == SL_OK && options->before)
        status = compare(exam, options->before, arena, error);
    if (status == SL_OK)
        status = sl_produce_files(exam, options->out, arena, error);
    return status;
}
