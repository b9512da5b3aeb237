#include "store/inner.h"

#include "core/text.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* Adds what `sql` gives for `id` to `object` as a list of [text, text] or of text. */
static sl_status add_list(sl_store *store, json_t *object, const char *key, const char *sql, int64_t id, sl_error *error)
{
    sqlite3_stmt *ask = sl_store_ask(store, error, sql, "i", id);
    json_t *list = json_array();
    int got = ask ? 1 : -1;
    while (got > 0 && (got = sl_store_next(store, ask, error)) > 0) {
        json_t *item = json_array();
        for (int i = 0; i < sqlite3_column_count(ask); i++)
            json_array_append_new(item, json_string((const char *)sqlite3_column_text(ask, i)));
        json_array_append_new(list, item);
    }
    sqlite3_finalize(ask);
    json_object_set_new(object, key, list);
    return got < 0 ? SL_IO : SL_OK;
}

/* The statement: who signed what, when; the question, the words, the content of every clip, reading and file of the
 * report, and the statement signed before it. The signature's hash is the SHA-256 of this text. */
char *sl_store_statement(sl_store *store, int64_t report, sl_error *error)
{
    sqlite3_stmt *ask = sl_store_ask(store, error,
                                     "SELECT r.uid, e.uid, r.revision, r.text, e.question, e.date, s.signer, s.signed, r.examination, "
                                     "coalesce((SELECT p.hash FROM report q JOIN signature p ON p.report = q.id WHERE q.examination = "
                                     "r.examination AND q.revision = r.revision - 1), '') FROM report r JOIN examination e ON e.id = "
                                     "r.examination JOIN signature s ON s.report = r.id WHERE r.id = ?1",
                                     "i", report);
    if (!ask || sl_store_next(store, ask, error) <= 0) {
        sqlite3_finalize(ask);
        return NULL;
    }
    static const char *const keys[] = {"report", "examination", NULL, "text", "question", "date", "signer", "signed", NULL, "previous"};
    json_t *object = json_object();
    for (int i = 0; i < 10; i++)
        if (keys[i])
            json_object_set_new(object, keys[i], json_string((const char *)sqlite3_column_text(ask, i)));
    json_object_set_new(object, "revision", json_integer(sqlite3_column_int64(ask, 2)));
    sqlite3_finalize(ask);
    sl_status status = add_list(store, object, "clips",
                                "SELECT hash, name, zone FROM clip WHERE examination = (SELECT examination FROM report WHERE id = ?1) "
                                "ORDER BY position", report, error);
    if (status == SL_OK) /* the readings that were there when it was signed */
        status = add_list(store, object, "readings",
                          "SELECT strandline_sha256(d.result), d.author, d.made FROM reading d JOIN clip c ON c.id = d.clip JOIN report "
                          "r ON r.examination = c.examination WHERE r.id = ?1 AND d.id <= r.last_reading ORDER BY d.id", report, error);
    if (status == SL_OK)
        status = add_list(store, object, "files", "SELECT name, hash FROM report_document WHERE report = ?1 ORDER BY name", report,
                          error);
    char *text = status == SL_OK ? json_dumps(object, JSON_COMPACT | JSON_SORT_KEYS) : NULL;
    json_decref(object);
    if (status == SL_OK && !text)
        sl_fail(error, SL_MEMORY, "Memory ran out.");
    return text;
}

typedef struct kept {
    char hash[SL_STORE_HASH];
    int64_t bytes;
} kept;

static bool is_blank(const char *text)
{
    return !text || strspn(text, " \t\r\n") == strlen(text);
}

/* The signature's hash is over rows that exist only with it: it is put in as zeros would be, read back, and settled
 * before the transaction ends, so the row is inserted once, with the hash worked out from a savepoint. */
static sl_status put_signature(sl_store *store, int64_t report, const sl_store_signing *signing, const char *time, sl_error *error)
{
    static const char none[] = "0000000000000000000000000000000000000000000000000000000000000000";
    char hash[SL_STORE_HASH];
    sl_status status = sl_store_run(store, error, "SAVEPOINT draft", "");
    if (status == SL_OK)
        status = sl_store_run(store, error, "INSERT INTO signature VALUES(?1, ?2, ?3, ?4)", "ittt", report, signing->signer, time, none);
    if (status != SL_OK)
        return status;
    char *statement = sl_store_statement(store, report, error);
    if (!statement)
        return SL_IO;
    sl_sha256(statement, strlen(statement), hash);
    free(statement);
    status = sl_store_run(store, error, "ROLLBACK TO draft", "");
    if (status == SL_OK)
        status = sl_store_run(store, error, "RELEASE draft", "");
    if (status == SL_OK)
        status = sl_store_run(store, error, "INSERT INTO signature VALUES(?1, ?2, ?3, ?4)", "ittt", report, signing->signer, time, hash);
    return status;
}

static sl_status put_report(sl_store *store, const sl_store_signing *signing, int64_t exam, bool addendum, const kept *file,
                            const char *time, char uid[SL_STORE_UID], sl_error *error)
{
    sqlite3_stmt *ask = sl_store_ask(store, error, "SELECT count(*) FROM report WHERE examination = ?1", "i", exam);
    int got = ask ? sl_store_next(store, ask, error) : -1;
    int64_t before = got > 0 ? sqlite3_column_int64(ask, 0) : 0;
    sqlite3_finalize(ask);
    if (got < 0)
        return SL_IO;
    if (before && !addendum)
        return sl_fail(error, SL_USAGE, "The report of %s is signed and cannot change. Add to it with: strandline store addendum.",
                       signing->uid);
    if (!before && addendum)
        return sl_fail(error, SL_USAGE, "The report of %s is not signed yet, so there is nothing to add to. Sign it first.",
                       signing->uid);
    sl_store_uid(uid);
    sl_status status = sl_store_run(store, error,
                                    "INSERT INTO report(uid, examination, revision, text, last_reading) SELECT ?1, ?2, ?3, ?4, "
                                    "coalesce((SELECT max(d.id) FROM reading d JOIN clip c ON c.id = d.clip WHERE c.examination = ?2), 0)",
                                    "tiit", uid, exam, before + 1, signing->text);
    int64_t report = sl_store_number(store, 0, "SELECT id FROM report WHERE uid = ?1", "t", uid);
    for (int i = 0; i < signing->files && status == SL_OK; i++) {
        status = sl_store_run(store, error, "INSERT INTO file VALUES(?1, ?2) ON CONFLICT(hash) DO NOTHING", "ti", file[i].hash,
                              file[i].bytes);
        if (status == SL_OK)
            status = sl_store_run(store, error, "INSERT INTO report_document VALUES(?1, ?2, ?3)", "itt", report, signing->file[i].name,
                                  file[i].hash);
    }
    return status == SL_OK ? put_signature(store, report, signing, time, error) : status;
}

sl_status sl_store_sign(sl_store *store, const sl_store_signing *signing, bool addendum, char report_uid[SL_STORE_UID],
                        sl_error *error)
{
    char now[32];
    sl_store_batch batch;
    if (is_blank(signing->text))
        return sl_fail(error, SL_USAGE, addendum ? "An addendum without words is none." :
                       "A report is not signed without a conclusion. Write one, even if it is that nothing can be concluded.");
    if (is_blank(signing->signer))
        return sl_fail(error, SL_USAGE, "A signature needs the name of the one who signs.");
    int64_t exam = sl_store_exam_id(store, signing->uid, error);
    if (!exam)
        return SL_USAGE;
    sl_store_now(now);
    kept *file = calloc((size_t)signing->files + 1, sizeof *file);
    if (!file)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_status status = sl_store_lock(store, error);
    if (status != SL_OK) {
        free(file);
        return status;
    }
    status = sl_store_batch_open(store, &batch, error);
    for (int i = 0; i < signing->files && status == SL_OK; i++)
        status = sl_store_batch_put(&batch, signing->file[i].path, file[i].hash, &file[i].bytes, error);
    if (status == SL_OK && (status = sl_store_begin(store, error)) == SL_OK) {
        status = put_report(store, signing, exam, addendum, file, signing->time ? signing->time : now, report_uid, error);
        status = sl_store_end(store, status, error);
    }
    sl_store_batch_close(&batch);
    sl_store_unlock(store);
    free(file);
    return status;
}
