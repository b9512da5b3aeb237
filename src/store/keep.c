#include "store/keep.h"

#include "clip/clip.h"
#include "core/json.h"
#include "core/text.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* The files of a report that are kept: all that cannot be made again from the others. Pictures and annotated clips can. */
static const char *const report_files[] = {"report.pdf", "report.txt", "fhir.json", "exam.json", "readings.csv", "audit.csv"};

enum { MOST_FILES = 4096 };

static int add_records(const char *report, sl_arena *arena, sl_store_file_in *file, int count)
{
    const char *folder = sl_path_join(arena, report, ".records");
    DIR *records = folder ? opendir(folder) : NULL;
    for (struct dirent *entry; records && count < MOST_FILES && (entry = readdir(records));)
        if (!strcmp(sl_path_extension(entry->d_name), "record"))
            file[count++] = (sl_store_file_in){sl_arena_printf(arena, ".records/%s", entry->d_name),
                                               sl_path_join(arena, folder, entry->d_name)};
    if (records)
        closedir(records);
    return count;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(((const sl_store_file_in *)a)->name, ((const sl_store_file_in *)b)->name);
}

static int list_files(const char *report, sl_arena *arena, sl_store_file_in *file)
{
    struct stat facts;
    int count = 0;
    for (size_t i = 0; i < sizeof report_files / sizeof *report_files; i++) {
        const char *path = sl_path_join(arena, report, report_files[i]);
        if (path && !stat(path, &facts))
            file[count++] = (sl_store_file_in){report_files[i], path};
    }
    count = add_records(report, arena, file, count);
    qsort(file, (size_t)count, sizeof *file, by_name);
    return count;
}

/* Gives each clip the reading that exam.json holds of the same content. */
static sl_status take_readings(const sl_exam *exam, const char *report, sl_arena *arena, sl_store_clip_in *clip, sl_error *error)
{
    json_t *root = sl_json_load(sl_path_join(arena, report, "exam.json"), error);
    const json_t *list = json_object_get(root, "clips");
    if (!root)
        return error->status;
    for (int i = 0; i < exam->clips; i++) {
        uint64_t content = exam->clip[i].content;
        char text[24];
        if (!content && sl_clip_hash(exam->clip[i].path, &content, NULL) != SL_OK)
            continue;
        snprintf(text, sizeof text, "%016llx", (unsigned long long)content);
        for (size_t k = 0; k < json_array_size(list) && !clip[i].result; k++) {
            const json_t *one = json_array_get(list, k), *reading = json_object_get(one, "reading");
            const char *its = json_string_value(json_object_get(one, "content"));
            const char *by = json_string_value(json_object_get(reading, "by"));
            const char *author = json_string_value(json_object_get(reading, "author"));
            if (!its || strcmp(its, text) || !by || !author)
                continue;
            char *whole = json_dumps(one, JSON_COMPACT | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
            clip[i].by = sl_arena_text(arena, by);
            clip[i].author = sl_arena_text(arena, author);
            clip[i].result = whole ? sl_arena_text(arena, whole) : NULL;
            free(whole);
        }
    }
    json_decref(root);
    return SL_OK;
}

sl_status sl_keep(sl_store *store, const sl_exam *exam, const char *report, const char *person, const char *local_id,
                  char uid[SL_STORE_UID], bool *known, sl_error *error)
{
    sl_arena arena = {0};
    struct stat facts;
    sl_store_clip_in *clip = SL_NEW(&arena, exam->clips + 1, sl_store_clip_in);
    sl_store_file_in *file = SL_NEW(&arena, MOST_FILES, sl_store_file_in);
    sl_status status = clip && file ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_store_exam_in in = {.person = person ? person : exam->person, .local_id = local_id, .title = exam->title, .date = exam->date,
                           .question = exam->question, .protocol = exam->protocol ? exam->protocol->key : exam->stated_protocol,
                           .invented = exam->invented, .clip = clip, .file = file};
    sl_exam there = *exam; /* the clips that are files: a path that led nowhere is no clip to keep */
    there.clip = SL_NEW(&arena, exam->clips + 1, sl_exam_clip);
    there.clips = 0;
    for (int i = 0; i < exam->clips && status == SL_OK && there.clip; i++) {
        const sl_exam_clip *from = &exam->clip[i];
        if (stat(from->path, &facts) || !S_ISREG(facts.st_mode))
            continue;
        there.clip[there.clips] = *from;
        clip[there.clips++] = (sl_store_clip_in){.path = from->path, .name = from->where, .zone = from->zone ? from->zone->key : "",
                                                 .depth_cm = from->stated_depth_cm, .notes = from->notes};
    }
    in.clips = there.clips;
    if (status == SL_OK && report)
        status = take_readings(&there, report, &arena, clip, error);
    if (status == SL_OK && report)
        in.files = list_files(report, &arena, file);
    if (status == SL_OK)
        status = sl_store_add(store, &in, uid, known, error);
    sl_arena_free(&arena);
    return status;
}

bool sl_words_blank(const char *text)
{
    return strspn(text, " \t\r\n") == strlen(text);
}

bool sl_words_fit(const char *text, const char *signer)
{
    int lines = 1;
    for (const char *at = text; *at; at++)
        lines += *at == '\n';
    return strlen(text) <= SL_SIGNED_BYTES && lines <= SL_SIGNED_LINES && strlen(signer) <= SL_SIGNER_BYTES;
}

int sl_signed_files(const char *folder, sl_arena *arena, sl_store_file_in file[SL_SIGNED_FILES])
{
    static const char *const names[SL_SIGNED_FILES] = {"report.pdf", "report.txt", "fhir.json", "exam.json", "readings.csv", "audit.csv"};
    int count = 0;
    for (int i = 0; i < SL_SIGNED_FILES; i++) {
        struct stat facts;
        const char *path = sl_path_join(arena, folder, names[i]);
        if (path && !stat(path, &facts))
            file[count++] = (sl_store_file_in){names[i], path};
    }
    return count;
}
