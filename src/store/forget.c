#include "store/inner.h"

#include <string.h>

/* Names in the batch every file that only this person's examinations use, or the studies that their clips came with. */
static sl_status name_files(sl_store *store, int64_t person, sl_store_batch *batch, sl_error *error)
{
    static const char sql[] =
        "WITH used(hash, person) AS (SELECT c.hash, e.person FROM clip c JOIN examination e ON e.id = c.examination UNION SELECT "
        "d.hash, e.person FROM document d JOIN examination e ON e.id = d.examination UNION SELECT r.hash, e.person FROM report_document "
        "r JOIN report p ON p.id = r.report JOIN examination e ON e.id = p.examination UNION SELECT o.hash, e.person FROM object o JOIN object "
        "k ON k.study = o.study JOIN clip c ON c.hash = k.hash JOIN examination e ON e.id = c.examination) SELECT hash FROM used u WHERE person = ?1 AND "
        "NOT EXISTS(SELECT 1 FROM used o WHERE o.hash = u.hash AND o.person <> ?1)";
    sqlite3_stmt *ask = sl_store_ask(store, error, sql, "i", person);
    sl_status status = ask ? SL_OK : SL_IO;
    int got = 1;
    while (status == SL_OK && (got = sl_store_next(store, ask, error)) > 0)
        status = sl_store_batch_name(batch, (const char *)sqlite3_column_text(ask, 0), error);
    sqlite3_finalize(ask);
    return got < 0 ? SL_IO : status;
}

static sl_status remove_rows(sl_store *store, int64_t person, sl_error *error)
{
#define EXAMS "(SELECT id FROM examination WHERE person = ?1)"
    static const char *const steps[] = {
        "INSERT INTO forgetting VALUES(?1)",
        "DELETE FROM object WHERE study IN (SELECT study FROM object WHERE hash IN (SELECT hash FROM clip WHERE examination IN " EXAMS "))",
        "DELETE FROM signature WHERE report IN (SELECT id FROM report WHERE examination IN " EXAMS ")",
        "DELETE FROM report_document WHERE report IN (SELECT id FROM report WHERE examination IN " EXAMS ")",
        "DELETE FROM report WHERE examination IN " EXAMS,
        "DELETE FROM document WHERE examination IN " EXAMS,
        "DELETE FROM reading WHERE clip IN (SELECT id FROM clip WHERE examination IN " EXAMS ")",
        "DELETE FROM clip WHERE examination IN " EXAMS,
        "DELETE FROM examination WHERE person = ?1",
        "DELETE FROM identity WHERE person = ?1",
        "DELETE FROM file WHERE ?1 AND " SL_STORE_UNUSED,
        "DELETE FROM person WHERE id = ?1",
        "DELETE FROM forgetting WHERE person = ?1",
    };
#undef EXAMS
    sl_status status = sl_store_run(store, error, "PRAGMA defer_foreign_keys = ON", "");
    for (size_t i = 0; i < sizeof steps / sizeof *steps && status == SL_OK; i++)
        status = sl_store_run(store, error, steps[i], "i", person);
    return status;
}

sl_status sl_store_forget(sl_store *store, const char *pseudonym, bool even_signed, int *exams, sl_error *error)
{
    sl_store_batch batch;
    *exams = 0;
    sl_status status = sl_store_lock(store, error);
    if (status != SL_OK)
        return status;
    int64_t person = sl_store_number(store, 0, "SELECT id FROM person WHERE pseudonym = ?1", "t", pseudonym);
    int64_t signed_reports = sl_store_number(store, 0, "SELECT count(*) FROM signature s JOIN report r ON r.id = s.report JOIN "
                                                       "examination e ON e.id = r.examination JOIN person p ON p.id = e.person WHERE "
                                                       "p.pseudonym = ?1", "t", pseudonym);
    *exams = (int)sl_store_number(store, 0, "SELECT count(*) FROM examination e JOIN person p ON p.id = e.person WHERE p.pseudonym = ?1",
                                  "t", pseudonym);
    if (!person)
        status = sl_fail(error, SL_USAGE, "There is nobody called %.80s in the store in %s.", pseudonym, store->folder);
    else if (signed_reports && !even_signed)
        status = sl_fail(error, SL_USAGE,
                         "%.80s has signed reports, which the law may require to be kept. Nothing was removed. Ask who is "
                         "responsible for records; then add --signed-too.",
                         pseudonym);
    if (status != SL_OK) {
        sl_store_unlock(store);
        return status;
    }
    status = sl_store_batch_open(store, &batch, error);
    if (status == SL_OK)
        status = name_files(store, person, &batch, error);
    if (status == SL_OK && (status = sl_store_begin(store, error)) == SL_OK) {
        status = remove_rows(store, person, error);
        status = sl_store_end(store, status, error);
    }
    sl_store_batch_close(&batch);
    if (status == SL_OK) /* the write-ahead file still holds the old pages: empty it */
        sl_store_run(store, NULL, "PRAGMA wal_checkpoint(TRUNCATE)", "");
    sl_store_unlock(store);
    return status;
}
