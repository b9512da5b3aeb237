#include "store/objects.h"

#include "core/file.h"
#include "core/text.h"
#include "store/inner.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

const char *sl_store_fate_name(sl_store_fate fate)
{
    static const char *const names[] = {"kept", "known already", "kept beside another of its UID"};
    return names[fate];
}

/* ---- parts: "arriving/PROCESS-NUMBER" ---- */

sl_status sl_store_object_part(sl_store *store, char *path, size_t room, sl_error *error)
{
    static unsigned number;
    char folder[3200];
    snprintf(folder, sizeof folder, "%s/arriving", store->folder);
    sl_status status = sl_folder_make(folder, error);
    if (status == SL_OK && snprintf(path, room, "%s/%ld-%u", folder, (long)getpid(), __atomic_add_fetch(&number, 1, __ATOMIC_RELAXED)) >= (int)room)
        status = sl_fail(error, SL_USAGE, "The store's path %.80s... is too long. Choose a shorter one.", store->folder);
    return status;
}

/* A process that ended but was not waited for yet writes nothing any more. */
static bool is_gone(long process)
{
    char path[64], state = 0;
    if (kill((pid_t)process, 0) && errno == ESRCH)
        return true;
    snprintf(path, sizeof path, "/proc/%ld/stat", process);
    FILE *file = fopen(path, "r");
    bool told = file && fscanf(file, "%*d (%*[^)]) %c", &state) == 1;
    if (file)
        fclose(file);
    return told && (state == 'Z' || state == 'X');
}

void sl_store_object_tidy(sl_store *store)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/arriving", store->folder);
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        long process = strtol(entry->d_name, NULL, 10);
        if (process > 0 && (process == (long)getpid() || is_gone(process)) &&
            snprintf(path, sizeof path, "%s/arriving/%s", store->folder, entry->d_name) < (int)sizeof path)
            unlink(path);
    }
    if (folder)
        closedir(folder);
}

/* ---- putting in ---- */

static sl_status sync_file(const char *path, sl_error *error)
{
    int file = open(path, O_RDONLY | O_CLOEXEC);
    int bad = file < 0 || fsync(file), cause = errno;
    if (file >= 0)
        close(file);
    return bad ? sl_store_io("written", path, cause, error) : SL_OK;
}

#define TEXTS "uid, class, syntax, series, study, hash, sender, came, modality, patient_id, patient_name, birth_date, sex, study_date, study_time, "  \
              "study_id, study_description, accession, referring, series_number, series_description, body_part, instance_number"

static sl_status record(sl_store *store, const sl_store_object *o, const char *hash, const char *content, int64_t bytes, sl_store_fate *fate,
                        sl_error *error)
{
    char now[32];
    int64_t twins = sl_store_number(store, -1, "SELECT count(*) FROM object WHERE uid = ?1", "t", o->uid);
    sqlite3_stmt *ask = twins > 0 ? sl_store_ask(store, error, "SELECT 1 FROM object WHERE uid = ?1 AND content = ?2", "tt", o->uid, content) : NULL;
    int known = ask ? sl_store_next(store, ask, error) : 0;
    sqlite3_finalize(ask);
    if (twins < 0 || known < 0 || (twins > 0 && !ask))
        return sl_fail(error, SL_IO, "The store in %s could not be asked about an object.", store->folder);
    *fate = known ? SL_FATE_KNOWN : twins ? SL_FATE_BESIDE : SL_FATE_KEPT;
    if (known)
        return SL_OK;
    sl_store_now(now);
    sl_status status = sl_store_run(store, error, "INSERT INTO file VALUES(?1, ?2) ON CONFLICT(hash) DO NOTHING", "ti", hash, bytes);
    return status == SL_OK ? sl_store_run(store, error,
                                          "INSERT INTO object(content, frames, rows, columns, " TEXTS ") VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, "
                                          "?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24, ?25, ?26, ?27)",
                                          "tiiittttttttttttttttttttttt", content, o->frames, o->rows, o->columns, o->uid, o->class_uid, o->syntax,
                                          o->series_uid, o->study_uid, hash, o->from, now, o->modality, o->patient_id, o->patient_name,
                                          o->birth_date, o->sex, o->study_date, o->study_time, o->study_id, o->study_description, o->accession,
                                          o->referring, o->series_number, o->series_description, o->body_part, o->instance_number)
                           : status;
}

sl_status sl_store_object_put(sl_store *store, const char *part, int64_t data_at, const sl_store_object *object, sl_store_fate *fate,
                              sl_error *error)
{
    char hash[SL_STORE_HASH], content[SL_STORE_HASH];
    int64_t bytes, rest;
    sl_store_batch batch;
    sl_status status = sync_file(part, error); /* the slow part, before anybody has to wait */
    if (status == SL_OK)
        status = sl_sha256_from(part, 0, hash, &bytes, error);
    if (status == SL_OK)
        status = sl_sha256_from(part, data_at, content, &rest, error);
    if (status == SL_OK && (status = sl_store_lock(store, error)) == SL_OK) {
        status = sl_store_batch_open(store, &batch, error);
        if (status == SL_OK && (status = sl_store_begin(store, error)) == SL_OK) {
            status = record(store, object, hash, content, bytes, fate, error);
            if (status == SL_OK && *fate != SL_FATE_KNOWN) /* in its place before the record is committed */
                status = sl_store_batch_move(&batch, part, hash, bytes, error);
            status = sl_store_end(store, status, error);
        }
        sl_store_batch_close(&batch); /* without a record the file goes again */
        sl_store_unlock(store);
    }
    unlink(part); /* known already, or failed */
    return status;
}

/* ---- looking ---- */

static sl_status take_object(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_object *o = item;
    o->bytes = sqlite3_column_int64(row, 0);
    o->frames = sqlite3_column_int64(row, 1);
    o->rows = sqlite3_column_int64(row, 2);
    o->columns = sqlite3_column_int64(row, 3);
    const char **const into[] = {&o->uid, &o->class_uid, &o->syntax, &o->series_uid, &o->study_uid, &o->hash, &o->from, &o->came, &o->modality,
                                 &o->patient_id, &o->patient_name, &o->birth_date, &o->sex, &o->study_date, &o->study_time, &o->study_id,
                                 &o->study_description, &o->accession, &o->referring, &o->series_number, &o->series_description, &o->body_part,
                                 &o->instance_number};
    return sl_store_texts(row, arena, 4, sizeof into / sizeof *into, into) ? SL_OK : SL_MEMORY;
}

/* SQLite's pattern of a value with DICOM's wildcards: '[' alone means something else there. NULL asks nothing. */
static const char *pattern(const char *value, sl_arena *arena)
{
    size_t length = value ? strlen(value) : 0, used = 0;
    char *made = length ? sl_arena_alloc(arena, 3 * length + 1, 1) : NULL;
    for (size_t i = 0; made && i < length; i++) {
        const bool bracket = value[i] == '[';
        used += (size_t)snprintf(made + used, 4, bracket ? "[[]" : "%c", value[i]);
    }
    return made;
}

sl_status sl_store_objects(sl_store *store, const sl_store_object_query *q, sl_arena *arena, const sl_store_object **object, int *count,
                           sl_error *error)
{
    char first[32] = "", last[32] = "";
    const char *dash = q->study_date ? strchr(q->study_date, '-') : NULL;
    if (dash)
        snprintf(first, sizeof first, "%.*s", (int)(dash - q->study_date), q->study_date);
    if (dash)
        snprintf(last, sizeof last, "%s", dash + 1);
#define LISTED(column, value) "(coalesce(" value ", '') = '' OR instr('\\' || " value " || '\\', '\\' || " column " || '\\') > 0)"
#define LIKE(column, value) "(" value " IS NULL OR lower(" column ") GLOB lower(" value "))"
    sqlite3_stmt *ask = sl_store_ask(store, error,
                                     "SELECT (SELECT bytes FROM file f WHERE f.hash = o.hash), frames, rows, columns, " TEXTS " FROM object o WHERE "
                                     LISTED("study", "?1") " AND " LISTED("series", "?2") " AND " LISTED("uid", "?3") " AND "
                                     LIKE("patient_id", "?4") " AND " LIKE("patient_name", "?5") " AND " LIKE("accession", "?6") " AND "
                                     LIKE("modality", "?7") " AND " LIKE("study_id", "?8") " AND " LIKE("study_date", "?9")
                                     " AND (?10 = '' OR study_date >= ?10) AND (?11 = '' OR (study_date <= ?11 AND study_date <> '')) "
                                     "ORDER BY study_date DESC, study_time DESC, study, CAST(series_number AS INTEGER), series, "
                                     "CAST(instance_number AS INTEGER), uid, id",
                                     "ttttttttttt", q->study_uid, q->series_uid, q->uid, pattern(q->patient_id, arena),
                                     pattern(q->patient_name, arena), pattern(q->accession, arena), pattern(q->modality, arena),
                                     pattern(q->study_id, arena), dash ? NULL : pattern(q->study_date, arena), first, last);
#undef LISTED
#undef LIKE
    return sl_store_gather(store, ask, sizeof **object, take_object, arena, (const void **)object, count, error);
}

static int last_came_first(const void *a, const void *b)
{
    const sl_store_study *x = a, *y = b;
    int order = strcmp(y->came, x->came);
    return order ? order : strcmp(x->object->study_uid, y->object->study_uid);
}

sl_status sl_store_studies(sl_store *store, const sl_store_object_query *query, sl_arena *arena, const sl_store_study **study, int *count,
                           sl_error *error)
{
    const sl_store_object *object;
    int objects;
    *count = 0;
    sl_status status = sl_store_objects(store, query, arena, &object, &objects, error);
    sl_store_study *made = status == SL_OK ? SL_NEW(arena, objects, sl_store_study) : NULL;
    if (status == SL_OK && !made)
        status = sl_fail(error, SL_MEMORY, "Memory ran out while looking into the store.");
    for (int i = 0; i < objects && status == SL_OK; i++) {
        if (!i || strcmp(object[i].study_uid, object[i - 1].study_uid) != 0)
            made[(*count)++] = (sl_store_study){.object = &object[i], .came = ""};
        sl_store_study *one = &made[*count - 1];
        one->objects++;
        one->pictures += object[i].frames > 0;
        one->bytes += object[i].bytes;
        if (strcmp(object[i].came, one->came) > 0)
            one->came = object[i].came;
    }
    if (status == SL_OK && *count)
        qsort(made, (size_t)*count, sizeof *made, last_came_first);
    *study = made;
    return status;
}

sl_status sl_store_object_holds(sl_store *store, const char *class_uid, const char *uid, sl_store_holding *holding, sl_error *error)
{
    char path[4096], hash[SL_STORE_HASH];
    int64_t bytes;
    sqlite3_stmt *ask = sl_store_ask(store, error, "SELECT o.hash, o.class, f.bytes FROM object o LEFT JOIN file f ON f.hash = o.hash WHERE o.uid = ?1", "t", uid);
    int got = ask ? 1 : -1;
    *holding = SL_NOT_HELD;
    while (got > 0 && (got = sl_store_next(store, ask, error)) > 0) {
        const char *stood = (const char *)sqlite3_column_text(ask, 0), *class = (const char *)sqlite3_column_text(ask, 1);
        if (*holding == SL_NOT_HELD)
            *holding = SL_HELD;
        if (!class || strcmp(class, class_uid))
            *holding = SL_HELD_IN_OTHER_CLASS;
        else if (*holding == SL_HELD && (!stood || !sl_store_place(store, stood, path, sizeof path) || sl_sha256_from(path, 0, hash, &bytes, NULL) != SL_OK ||
                                         strcmp(hash, stood) || bytes != sqlite3_column_int64(ask, 2)))
            *holding = SL_HELD_DAMAGED;
    }
    sqlite3_finalize(ask);
    return got < 0 ? SL_IO : SL_OK;
}

static sl_status take_one(sl_store *store, const sl_store_object *object, const char *folder, const char *name, int *taken, sl_arena *arena,
                          sl_error *error)
{
    const char *to = sl_path_join(arena, folder, name), *hidden = sl_arena_printf(arena, "%s/.taking-%s", folder, name);
    char *from;
    struct stat facts;
    if (!to || !hidden)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (!lstat(to, &facts))
        return SL_OK;
    sl_status status = sl_store_path(store, object->hash, arena, &from, error);
    unlink(hidden);
    if (status == SL_OK)
        status = sl_store_copy(from, hidden, object->hash, error);
    if (status == SL_OK && rename(hidden, to))
        status = sl_store_io("written", to, errno, error);
    *taken += status == SL_OK;
    return status;
}

sl_status sl_store_object_take(sl_store *store, const char *study_uid, const char *folder, int *taken, sl_error *error)
{
    sl_arena arena = {0};
    const sl_store_object *object;
    int count, twin = 0, pictures = 0;
    *taken = 0;
    sl_status status = sl_store_objects(store, &(sl_store_object_query){.study_uid = study_uid}, &arena, &object, &count, error);
    if (status == SL_OK)
        status = sl_folder_make(folder, error);
    for (int i = 0; i < count && status == SL_OK; i++) {
        twin = i && !strcmp(object[i].uid, object[i - 1].uid) ? twin + 1 : 0; /* of one UID: beside each other in the list */
        if (object[i].frames < 1)
            continue;
        pictures++;
        const char *name = twin ? sl_arena_printf(&arena, "%s-%d.dcm", object[i].uid, twin + 1) : sl_arena_printf(&arena, "%s.dcm", object[i].uid);
        status = name ? take_one(store, &object[i], folder, name, taken, &arena, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    if (status == SL_OK && !pictures)
        status = sl_fail(error, SL_USAGE, "No picture or clip of the study %.64s is among what arrived.", study_uid);
    sl_arena_free(&arena);
    return status;
}

/* ---- removing ---- */

sl_status sl_store_object_drop(sl_store *store, const char *study_uid, int *objects, sl_error *error)
{
    sl_store_batch batch;
    *objects = 0;
    sl_status status = sl_store_lock(store, error);
    if (status != SL_OK)
        return status;
    status = sl_store_batch_open(store, &batch, error);
    sqlite3_stmt *ask = status == SL_OK ? sl_store_ask(store, error, "SELECT hash FROM object WHERE study = ?1", "t", study_uid) : NULL;
    int got = 1;
    while (ask && status == SL_OK && (got = sl_store_next(store, ask, error)) > 0) {
        status = sl_store_batch_name(&batch, (const char *)sqlite3_column_text(ask, 0), error);
        ++*objects;
    }
    sqlite3_finalize(ask);
    if (status == SL_OK && (!ask || got < 0))
        status = SL_IO;
    if (status == SL_OK && (status = sl_store_begin(store, error)) == SL_OK) {
        status = sl_store_run(store, error, "DELETE FROM object WHERE study = ?1", "t", study_uid);
        if (status == SL_OK)
            status = sl_store_run(store, error, "DELETE FROM file WHERE " SL_STORE_UNUSED, "");
        status = sl_store_end(store, status, error);
    }
    sl_store_batch_close(&batch);
    if (status == SL_OK) /* names stood in these pages */
        sl_store_run(store, NULL, "PRAGMA wal_checkpoint(TRUNCATE)", "");
    sl_store_unlock(store);
    return status;
}
