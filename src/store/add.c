#include "store/inner.h"

#include "core/text.h"
#include "core/units.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct kept {
    char hash[SL_STORE_HASH];
    int64_t bytes;
} kept;

static int by_hash(const void *a, const void *b)
{
    return strcmp(((const kept *)a)->hash, ((const kept *)b)->hash);
}

/* What makes an examination the same one: its person, its date and the content of its clips. */
static sl_status fingerprint(const sl_store_exam_in *in, const char *person, const kept *clips, char hash[SL_STORE_HASH],
                             sl_error *error)
{
    sl_text text = {0};
    kept *sorted = malloc(((size_t)in->clips + 1) * sizeof *sorted);
    sl_text_printf(&text, "%s\n%s\n", person, in->date);
    if (sorted) {
        memcpy(sorted, clips, (size_t)in->clips * sizeof *sorted);
        qsort(sorted, (size_t)in->clips, sizeof *sorted, by_hash);
    }
    for (int i = 0; i < in->clips && sorted; i++)
        sl_text_printf(&text, "%s\n", sorted[i].hash);
    bool failed = text.failed || !sorted;
    if (!failed)
        sl_sha256(text.bytes, text.length, hash);
    sl_text_free(&text);
    free(sorted);
    return failed ? sl_fail(error, SL_MEMORY, "Memory ran out.") : SL_OK;
}

static sl_status put_file(sl_store *store, const kept *file, sl_error *error)
{
    return sl_store_run(store, error, "INSERT INTO file VALUES(?1, ?2) ON CONFLICT(hash) DO NOTHING", "ti", file->hash, file->bytes);
}

/* The person of that pseudonym, new or known; the local identifier must then be the same. */
static sl_status put_person(sl_store *store, const char *pseudonym, const char *local, int64_t *id, sl_error *error)
{
    char uid[SL_STORE_UID];
    sl_status status = SL_OK;
    *id = sl_store_number(store, 0, "SELECT id FROM person WHERE pseudonym = ?1", "t", pseudonym);
    if (!*id) {
        sl_store_uid(uid);
        status = sl_store_run(store, error, "INSERT INTO person(uid, pseudonym) VALUES(?1, ?2)", "tt", uid, pseudonym);
        *id = status == SL_OK ? sl_store_number(store, 0, "SELECT id FROM person WHERE pseudonym = ?1", "t", pseudonym) : 0;
    }
    if (status != SL_OK || !local || !*local)
        return status;
    int64_t owner = sl_store_number(store, 0, "SELECT person FROM identity WHERE local = ?1", "t", local);
    if (owner == *id)
        return SL_OK;
    if (owner)
        return sl_fail(error, SL_USAGE,
                       "That local identifier belongs to another pseudonym in this store. Nothing was kept. Give the pseudonym "
                       "that the person has already.");
    if (sl_store_number(store, 0, "SELECT count(*) FROM identity WHERE person = (SELECT id FROM person WHERE pseudonym = ?1)", "t",
                        pseudonym))
        return sl_fail(error, SL_USAGE, "%.80s has another local identifier in this store. Nothing was kept.", pseudonym);
    return sl_store_run(store, error, "INSERT INTO identity VALUES(?1, ?2)", "it", *id, local);
}

static sl_status put_exam(sl_store *store, const sl_store_exam_in *in, int64_t person, const char *print, char *uid,
                          int64_t *exam, bool *known, sl_error *error)
{
    char now[32];
    sl_arena arena = {0};
    sqlite3_stmt *ask = sl_store_ask(store, error, "SELECT id, uid FROM examination WHERE fingerprint = ?1", "t", print);
    int got = ask ? sl_store_next(store, ask, error) : -1;
    if (got > 0) {
        *exam = sqlite3_column_int64(ask, 0);
        const char *text = sl_store_text(ask, 1, &arena);
        snprintf(uid, SL_STORE_UID, "%s", text ? text : "");
    }
    sqlite3_finalize(ask);
    sl_arena_free(&arena);
    *known = got > 0;
    if (got)
        return got > 0 ? SL_OK : SL_IO;
    sl_store_uid(uid);
    sl_store_now(now);
    sl_status status = sl_store_run(store, error,
                                    "INSERT INTO examination(uid, person, fingerprint, title, date, question, protocol, invented, added) "
                                    "VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                                    "titttttit", uid, person, print, in->title, in->date, in->question, in->protocol,
                                    (int64_t)in->invented, now);
    *exam = status == SL_OK ? sl_store_number(store, 0, "SELECT id FROM examination WHERE uid = ?1", "t", uid) : 0;
    return status;
}

static sl_status put_reading(sl_store *store, int64_t exam, int position, const char *by, const char *author, const char *result,
                             sl_error *error)
{
    char now[32];
    sl_store_now(now);
    /* the same statement by the same author again says nothing new */
    return sl_store_run(store, error,
                        "INSERT INTO reading(clip, kind, author, made, result) SELECT c.id, ?3, ?4, ?5, ?6 FROM clip c "
                        "WHERE c.examination = ?1 AND c.position = ?2 AND NOT EXISTS(SELECT 1 FROM reading r WHERE r.clip = c.id "
                        "AND r.kind = ?3 AND r.author = ?4 AND r.result = ?6)",
                        "iitttt", exam, (int64_t)position, by, author, now, result);
}

static sl_status put_document(sl_store *store, int64_t exam, const char *name, const char *hash, sl_error *error)
{
    char now[32];
    sl_store_now(now);
    return sl_store_run(store, error,
                        "INSERT INTO document(examination, name, hash, made) SELECT ?1, ?2, ?3, ?4 WHERE ?3 IS NOT (SELECT hash "
                        "FROM document WHERE examination = ?1 AND name = ?2 ORDER BY id DESC LIMIT 1)",
                        "ittt", exam, name, hash, now);
}

/* Where clip `i` of the list stands in an examination that was there already, its clips perhaps in another order. */
static int position_of(sl_store *store, int64_t exam, const char *hash, int otherwise)
{
    int64_t position = otherwise;
    sqlite3_stmt *ask = sl_store_ask(store, NULL, "SELECT position FROM clip WHERE examination = ?1 AND hash = ?2", "it", exam, hash);
    if (ask && sl_store_next(store, ask, NULL) > 0)
        position = sqlite3_column_int64(ask, 0);
    sqlite3_finalize(ask);
    return (int)position;
}

static sl_status put_all(sl_store *store, const sl_store_exam_in *in, const char *person, const kept *file, char *uid, bool *known,
                         sl_error *error)
{
    char print[SL_STORE_HASH];
    int64_t who, exam = 0;
    sl_status status = fingerprint(in, person, file, print, error);
    if (status == SL_OK)
        status = put_person(store, person, in->local_id, &who, error);
    if (status == SL_OK)
        status = put_exam(store, in, who, print, uid, &exam, known, error);
    for (int i = 0; i < in->clips + in->files && status == SL_OK; i++)
        status = put_file(store, &file[i], error);
    for (int i = 0; i < in->clips && status == SL_OK; i++) {
        const sl_store_clip_in *clip = &in->clip[i];
        if (!*known)
            status = sl_store_run(store, error,
                                  "INSERT INTO clip(examination, position, hash, name, zone, depth_cm, notes) "
                                  "VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                                  "iitttdt", exam, (int64_t)i, file[i].hash, clip->name, clip->zone,
                                  clip->depth_cm > 0 ? clip->depth_cm : SL_UNKNOWN, clip->notes);
        if (status == SL_OK && clip->result)
            status = put_reading(store, exam, *known ? position_of(store, exam, file[i].hash, i) : i, clip->by, clip->author,
                                 clip->result, error);
    }
    for (int i = 0; i < in->files && status == SL_OK; i++)
        status = put_document(store, exam, in->file[i].name, file[in->clips + i].hash, error);
    return status;
}

sl_status sl_store_add(sl_store *store, const sl_store_exam_in *in, char uid[SL_STORE_UID], bool *known, sl_error *error)
{
    char made_up[SL_STORE_UID + 2];
    sl_store_batch batch;
    if (in->clips < 1)
        return sl_fail(error, SL_USAGE, "An examination without a clip is not kept.");
    if (!*in->person) {
        char random[SL_STORE_UID];
        sl_store_uid(random);
        snprintf(made_up, sizeof made_up, "P-%.8s", random);
    }
    const char *person = *in->person ? in->person : made_up;
    kept *file = calloc((size_t)in->clips + (size_t)in->files, sizeof *file);
    if (!file)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_status status = sl_store_lock(store, error); /* files and records belong together: nobody else in between */
    if (status != SL_OK) {
        free(file);
        return status;
    }
    status = sl_store_batch_open(store, &batch, error);
    for (int i = 0; i < in->clips + in->files && status == SL_OK; i++)
        status = sl_store_batch_put(&batch, i < in->clips ? in->clip[i].path : in->file[i - in->clips].path, file[i].hash,
                                    &file[i].bytes, error);
    if (status == SL_OK && (status = sl_store_begin(store, error)) == SL_OK) {
        status = put_all(store, in, person, file, uid, known, error);
        status = sl_store_end(store, status, error);
    }
    sl_store_batch_close(&batch);
    sl_store_unlock(store);
    free(file);
    return status;
}

sl_status sl_store_put_reading(sl_store *store, const char *uid, int position, const char *by, const char *author,
                               const char *result, sl_error *error)
{
    int64_t exam = sl_store_exam_id(store, uid, error);
    if (!exam)
        return SL_USAGE;
    sl_status status = sl_store_begin(store, error);
    if (status != SL_OK)
        return status;
    sqlite3_stmt *ask = sl_store_ask(store, error, "SELECT 1 FROM clip WHERE examination = ?1 AND position = ?2", "ii", exam,
                                     (int64_t)position);
    int got = ask ? sl_store_next(store, ask, error) : -1;
    sqlite3_finalize(ask);
    if (got == 0)
        status = sl_fail(error, SL_USAGE, "The examination %s has no clip number %d.", uid, position + 1);
    else if (got < 0)
        status = SL_IO;
    if (status == SL_OK)
        status = put_reading(store, exam, position, by, author, result, error);
    return sl_store_end(store, status, error);
}

sl_status sl_store_set_question(sl_store *store, const char *uid, const char *question, sl_error *error)
{
    int64_t exam = sl_store_exam_id(store, uid, error);
    if (!exam)
        return SL_USAGE;
    sl_status status = sl_store_begin(store, error);
    if (status == SL_OK) {
        status = sl_store_run(store, error, "UPDATE examination SET question = ?2 WHERE id = ?1", "it", exam, question);
        status = sl_store_end(store, status, error);
    }
    return status;
}
