/* The tables, their rules and the log. One entry of `steps` a version; what is released is never edited, a change is a
 * further step. The rules stand in the database itself (triggers), so that no program can bypass them by oversight, and
 * the log's lines come from triggers that call functions of this program, so that another program cannot write at all. */
#include "store/inner.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

/* Deleting is for forgetting a person alone. */
#define FORGOTTEN(exam) "EXISTS(SELECT 1 FROM forgetting JOIN examination e USING(person) WHERE e.id = " exam ")"
#define SIGNED(exam) "EXISTS(SELECT 1 FROM report r JOIN signature s ON s.report = r.id WHERE r.examination = " exam ")"
#define NEVER(table, action, when, why)                                                                               \
    "CREATE TRIGGER no_" action "_" table " BEFORE " action " ON " table " WHEN " when                                \
    " BEGIN SELECT RAISE(ABORT, '" why "'); END;\n"
#define LOG_ROW(table, action, row, what, subject, detail)                                                            \
    "CREATE TRIGGER log_" action "_" table " AFTER " action " ON " table " BEGIN INSERT INTO log_entry VALUES('" what \
    "', " subject ", " detail "); END;\n"
#define EXAM_UID(id) "(SELECT uid FROM examination WHERE id = " id ")"

static const char first[] =
    /* who: the pseudonym, and apart from it by which the house knows the person */
    "CREATE TABLE person(id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE,\n"
    "  pseudonym TEXT NOT NULL UNIQUE CHECK(trim(pseudonym) <> '')) STRICT;\n"
    "CREATE TABLE identity(person INTEGER PRIMARY KEY REFERENCES person(id),\n"
    "  local TEXT NOT NULL UNIQUE CHECK(trim(local) <> '')) STRICT;\n"
    "CREATE TABLE examination(id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE,\n"
    "  person INTEGER NOT NULL REFERENCES person(id), fingerprint TEXT NOT NULL UNIQUE, title TEXT NOT NULL,\n"
    "  date TEXT NOT NULL, question TEXT NOT NULL, protocol TEXT NOT NULL, invented INTEGER NOT NULL CHECK(invented IN (0, 1)),\n"
    "  added TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX examination_person ON examination(person, date);\n"
    "CREATE TABLE file(hash TEXT PRIMARY KEY CHECK(length(hash) = 64), bytes INTEGER NOT NULL) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE clip(id INTEGER PRIMARY KEY, examination INTEGER NOT NULL REFERENCES examination(id),\n"
    "  position INTEGER NOT NULL, hash TEXT NOT NULL REFERENCES file(hash), name TEXT NOT NULL, zone TEXT NOT NULL,\n"
    "  depth_cm REAL, notes TEXT NOT NULL, UNIQUE(examination, position)) STRICT;\n"
    "CREATE INDEX clip_hash ON clip(hash);\n"
    "CREATE TABLE reading(id INTEGER PRIMARY KEY, clip INTEGER NOT NULL REFERENCES clip(id),\n"
    "  kind TEXT NOT NULL CHECK(kind IN ('program', 'person', 'labels', 'simulator')), author TEXT NOT NULL CHECK(author <> ''),\n"
    "  made TEXT NOT NULL, result TEXT NOT NULL CHECK(strandline_json(result))) STRICT;\n"
    "CREATE INDEX reading_clip ON reading(clip);\n"
    "CREATE TABLE document(id INTEGER PRIMARY KEY, examination INTEGER NOT NULL REFERENCES examination(id),\n"
    "  name TEXT NOT NULL, hash TEXT NOT NULL REFERENCES file(hash), made TEXT NOT NULL) STRICT;\n"
    "CREATE INDEX document_exam ON document(examination, name);\n"
    "CREATE INDEX document_hash ON document(hash);\n"
    "CREATE TABLE report(id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE,\n"
    "  examination INTEGER NOT NULL REFERENCES examination(id), revision INTEGER NOT NULL CHECK(revision > 0),\n"
    "  text TEXT NOT NULL CHECK(trim(text) <> ''), last_reading INTEGER NOT NULL, UNIQUE(examination, revision)) STRICT;\n"
    "CREATE TABLE report_document(report INTEGER NOT NULL REFERENCES report(id), name TEXT NOT NULL,\n"
    "  hash TEXT NOT NULL REFERENCES file(hash), PRIMARY KEY(report, name)) STRICT, WITHOUT ROWID;\n"
    "CREATE INDEX report_document_hash ON report_document(hash);\n"
    "CREATE TABLE signature(report INTEGER PRIMARY KEY REFERENCES report(id), signer TEXT NOT NULL CHECK(trim(signer) <> ''),\n"
    "  signed TEXT NOT NULL, hash TEXT NOT NULL CHECK(length(hash) = 64)) STRICT;\n"
    "CREATE TABLE forgetting(person INTEGER PRIMARY KEY REFERENCES person(id)) STRICT;\n"
    "CREATE TABLE log(seq INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL,\n"
    "  subject TEXT NOT NULL, detail TEXT NOT NULL, previous TEXT NOT NULL, hash TEXT NOT NULL) STRICT;\n"
    /* the log: one way in */
    "CREATE VIEW log_entry AS SELECT what, subject, detail FROM log;\n"
    "CREATE TRIGGER log_append INSTEAD OF INSERT ON log_entry BEGIN\n"
    "  INSERT INTO log SELECT n.seq, n.at, n.who, NEW.what, NEW.subject, NEW.detail, n.previous,\n"
    "    strandline_chain(n.seq, n.at, n.who, NEW.what, NEW.subject, NEW.detail, n.previous)\n"
    "  FROM (SELECT coalesce(max(seq), 0) + 1 AS seq, strandline_now() AS at, strandline_who() AS who,\n"
    "    coalesce((SELECT hash FROM log ORDER BY seq DESC LIMIT 1), '') AS previous FROM log) n;\n"
    "END;\n"
    "CREATE TRIGGER log_chain BEFORE INSERT ON log WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM log)\n"
    "  OR NEW.hash <> strandline_chain(NEW.seq, NEW.at, NEW.who, NEW.what, NEW.subject, NEW.detail, NEW.previous)\n"
    "  BEGIN SELECT RAISE(ABORT, 'the log only grows'); END;\n"
    NEVER("log", "UPDATE", "1", "the log only grows")
    NEVER("log", "DELETE", "1", "the log only grows")
    /* what is kept does not change */
    NEVER("file", "UPDATE", "1", "a kept file never changes")
    NEVER("clip", "DELETE", "NOT " FORGOTTEN("OLD.examination"), "a clip that is kept stays")
    NEVER("clip", "UPDATE", SIGNED("OLD.examination") " OR NEW.hash <> OLD.hash OR NEW.examination <> OLD.examination",
          "a clip never changes, and its zone only until the report is signed")
    NEVER("clip", "INSERT", SIGNED("NEW.examination"), "the examination is signed: its clips are settled")
    NEVER("reading", "UPDATE", "1", "a reading never changes; add another")
    NEVER("reading", "DELETE", "NOT " FORGOTTEN("(SELECT examination FROM clip WHERE id = OLD.clip)"), "a reading that is kept stays")
    NEVER("document", "UPDATE", "1", "a kept document never changes; add another")
    NEVER("document", "DELETE", "NOT " FORGOTTEN("OLD.examination"), "a kept document stays")
    NEVER("examination", "DELETE", "NOT " FORGOTTEN("OLD.id"), "an examination that is kept stays")
    NEVER("examination", "UPDATE", SIGNED("OLD.id"), "the examination is signed: it cannot change")
    NEVER("report", "UPDATE", "1", "a report cannot change; add an addendum")
    NEVER("report", "DELETE", "NOT " FORGOTTEN("OLD.examination"), "a report that is signed stays")
    NEVER("report", "INSERT", "EXISTS(SELECT 1 FROM report WHERE id = NEW.id OR uid = NEW.uid)", "a report cannot be replaced")
    NEVER("report_document", "UPDATE", "1", "a report cannot change; add an addendum")
    NEVER("report_document", "DELETE", "NOT " FORGOTTEN("(SELECT examination FROM report WHERE id = OLD.report)"),
          "a report that is signed stays")
    NEVER("report_document", "INSERT", "EXISTS(SELECT 1 FROM signature WHERE report = NEW.report)",
          "a signed report cannot change; add an addendum")
    NEVER("signature", "UPDATE", "1", "a signature cannot change")
    NEVER("signature", "DELETE", "NOT " FORGOTTEN("(SELECT examination FROM report WHERE id = OLD.report)"), "a signature stays")
    NEVER("signature", "INSERT", "EXISTS(SELECT 1 FROM signature WHERE report = NEW.report)", "a report is signed once")
    NEVER("person", "DELETE", "NOT EXISTS(SELECT 1 FROM forgetting WHERE person = OLD.id)", "a person goes only by forgetting")
    NEVER("person", "UPDATE", "1", "a pseudonym never changes")
    /* every change is a line in the log; no line holds a name, a pseudonym or a finding */
    LOG_ROW("person", "INSERT", "NEW", "person added", "NEW.uid", "''")
    LOG_ROW("person", "DELETE", "OLD", "person forgotten", "OLD.uid", "''")
    LOG_ROW("identity", "INSERT", "NEW", "local identifier added", "(SELECT uid FROM person WHERE id = NEW.person)", "''")
    LOG_ROW("identity", "UPDATE", "NEW", "local identifier changed", "(SELECT uid FROM person WHERE id = NEW.person)", "''")
    LOG_ROW("identity", "DELETE", "OLD", "local identifier removed", "(SELECT uid FROM person WHERE id = OLD.person)", "''")
    LOG_ROW("examination", "INSERT", "NEW", "examination added", "NEW.uid", "NEW.fingerprint")
    LOG_ROW("examination", "UPDATE", "NEW", "examination changed", "NEW.uid", "strandline_sha256(NEW.title || char(10) || NEW.question)")
    LOG_ROW("examination", "DELETE", "OLD", "examination forgotten", "OLD.uid", "''")
    LOG_ROW("file", "INSERT", "NEW", "file added", "NEW.hash", "NEW.bytes")
    LOG_ROW("file", "DELETE", "OLD", "file removed", "OLD.hash", "''")
    LOG_ROW("clip", "INSERT", "NEW", "clip added", EXAM_UID("NEW.examination"), "NEW.hash")
    LOG_ROW("clip", "UPDATE", "NEW", "zone, depth or note of a clip changed", EXAM_UID("NEW.examination"), "NEW.hash")
    LOG_ROW("reading", "INSERT", "NEW", "reading added", EXAM_UID("(SELECT examination FROM clip WHERE id = NEW.clip)"),
            "strandline_sha256(NEW.result)")
    LOG_ROW("document", "INSERT", "NEW", "document added", EXAM_UID("NEW.examination"), "NEW.hash")
    LOG_ROW("report", "INSERT", "NEW", "report added", EXAM_UID("NEW.examination"), "NEW.uid")
    LOG_ROW("report_document", "INSERT", "NEW", "document of a report added", "(SELECT uid FROM report WHERE id = NEW.report)",
            "NEW.hash")
    LOG_ROW("signature", "INSERT", "NEW", "report signed", "(SELECT uid FROM report WHERE id = NEW.report)", "NEW.hash")
    LOG_ROW("signature", "DELETE", "OLD", "signed report forgotten", "(SELECT uid FROM report WHERE id = OLD.report)", "OLD.hash");

/* What came from machines (objects.h). It may go again; what it says does not change. */
static const char objects[] =
    "CREATE TABLE object(id INTEGER PRIMARY KEY, uid TEXT NOT NULL CHECK(uid <> ''), class TEXT NOT NULL, syntax TEXT NOT NULL,\n"
    "  series TEXT NOT NULL, study TEXT NOT NULL CHECK(study <> ''), hash TEXT NOT NULL REFERENCES file(hash),\n"
    "  content TEXT NOT NULL CHECK(length(content) = 64), sender TEXT NOT NULL, came TEXT NOT NULL, modality TEXT NOT NULL,\n"
    "  patient_id TEXT NOT NULL, patient_name TEXT NOT NULL, birth_date TEXT NOT NULL, sex TEXT NOT NULL, study_date TEXT NOT NULL,\n"
    "  study_time TEXT NOT NULL, study_id TEXT NOT NULL, study_description TEXT NOT NULL, accession TEXT NOT NULL,\n"
    "  referring TEXT NOT NULL, series_number TEXT NOT NULL, series_description TEXT NOT NULL, body_part TEXT NOT NULL,\n"
    "  instance_number TEXT NOT NULL, frames INTEGER NOT NULL, rows INTEGER NOT NULL, columns INTEGER NOT NULL,\n"
    "  UNIQUE(uid, content)) STRICT;\n"
    "CREATE INDEX object_study ON object(study, series);\n"
    "CREATE INDEX object_date ON object(study_date);\n"
    "CREATE INDEX object_hash ON object(hash);\n"
    NEVER("object", "UPDATE", "1", "an object that came never changes")
    LOG_ROW("object", "INSERT", "NEW", "object came", "NEW.hash", "NEW.content")
    LOG_ROW("object", "DELETE", "OLD", "object removed", "OLD.hash", "''");

static const char *const steps[] = {first, objects};
enum { VERSION = sizeof steps / sizeof *steps };

/* The hash of a log line: over its fields, each after its length, so that no two lines have the same bytes. */
static void chain(sqlite3_context *context, int count, sqlite3_value **value)
{
    char hash[SL_STORE_HASH];
    size_t length = 0;
    for (int i = 0; i < count; i++)
        length += (size_t)sqlite3_value_bytes(value[i]) + 24;
    char *all = sqlite3_malloc64(length + 1);
    if (!all) {
        sqlite3_result_error_nomem(context);
        return;
    }
    size_t used = 0;
    for (int i = 0; i < count; i++) {
        const char *text = (const char *)sqlite3_value_text(value[i]);
        used += (size_t)snprintf(all + used, length + 1 - used, "%d:%s", sqlite3_value_bytes(value[i]), text ? text : "");
    }
    sl_sha256(all, used, hash);
    sqlite3_free(all);
    sqlite3_result_text(context, hash, -1, SQLITE_TRANSIENT);
}

static void digest(sqlite3_context *context, int count, sqlite3_value **value)
{
    char hash[SL_STORE_HASH];
    (void)count;
    const char *text = (const char *)sqlite3_value_text(value[0]);
    sl_sha256(text ? text : "", (size_t)sqlite3_value_bytes(value[0]), hash);
    sqlite3_result_text(context, hash, -1, SQLITE_TRANSIENT);
}

static void is_json(sqlite3_context *context, int count, sqlite3_value **value)
{
    (void)count;
    const char *text = (const char *)sqlite3_value_text(value[0]);
    json_t *json = text ? json_loadb(text, (size_t)sqlite3_value_bytes(value[0]), 0, NULL) : NULL;
    sqlite3_result_int(context, json != NULL);
    json_decref(json);
}

static void now(sqlite3_context *context, int count, sqlite3_value **value)
{
    char text[32];
    (void)count;
    (void)value;
    sl_store_now(text);
    sqlite3_result_text(context, text, -1, SQLITE_TRANSIENT);
}

static void who(sqlite3_context *context, int count, sqlite3_value **value)
{
    (void)count;
    (void)value;
    sqlite3_result_text(context, ((sl_store *)sqlite3_user_data(context))->who, -1, SQLITE_TRANSIENT);
}

static int add_functions(sl_store *store)
{
    const int plain = SQLITE_UTF8 | SQLITE_INNOCUOUS;
    int code = sqlite3_create_function(store->db, "strandline_chain", 7, plain | SQLITE_DETERMINISTIC, NULL, chain, NULL, NULL);
    if (code == SQLITE_OK)
        code = sqlite3_create_function(store->db, "strandline_sha256", 1, plain | SQLITE_DETERMINISTIC, NULL, digest, NULL, NULL);
    if (code == SQLITE_OK)
        code = sqlite3_create_function(store->db, "strandline_json", 1, plain | SQLITE_DETERMINISTIC, NULL, is_json, NULL, NULL);
    if (code == SQLITE_OK)
        code = sqlite3_create_function(store->db, "strandline_now", 0, plain, NULL, now, NULL, NULL);
    if (code == SQLITE_OK)
        code = sqlite3_create_function(store->db, "strandline_who", 0, plain, store, who, NULL, NULL);
    return code;
}

sl_status sl_store_migrate(sl_store *store, bool make, sl_error *error)
{
    char sql[128];
    sl_error own = {.status = SL_OK};
    sqlite3_stmt *ask = sl_store_ask(store, &own, "SELECT (SELECT * FROM pragma_application_id), (SELECT * FROM pragma_user_version),"
                                                  " (SELECT count(*) FROM sqlite_schema)", "");
    int got = ask ? sl_store_next(store, ask, &own) : -1;
    int64_t application = got > 0 ? sqlite3_column_int64(ask, 0) : 0, version = got > 0 ? sqlite3_column_int64(ask, 1) : 0,
            tables = got > 0 ? sqlite3_column_int64(ask, 2) : 0;
    sqlite3_finalize(ask);
    if (got <= 0) {
        if (error)
            *error = own;
        return own.status;
    }
    if (application != SL_STORE_APPLICATION && (application || version || tables))
        return sl_fail(error, SL_FORMAT, "%s/store.db is a database of another program, and was left alone. Choose another folder.",
                       store->folder);
    if (version > VERSION)
        return sl_fail(error, SL_UNSUPPORTED,
                       "The store in %s was made by a newer version of strandline (its format is %d, this program knows %d). It was "
                       "left alone. Use the newer program.",
                       store->folder, (int)version, (int)VERSION);
    int code = add_functions(store);
    if (code != SQLITE_OK)
        return sl_store_trouble(store, code, error);
    if (version == VERSION)
        return SL_OK;
    if (!version && !make)
        return sl_fail(error, SL_IO, "There is no store in %s yet. strandline store add, or strandline read --keep, makes it.",
                       store->folder);
    sl_status status = sl_store_lock(store, error);
    if (status != SL_OK)
        return status;
    status = sl_store_run(store, error, "PRAGMA journal_mode = WAL", "");
    if (status == SL_OK)
        status = sl_store_begin(store, error);
    sl_store_unlock(store); /* begin holds it too */
    if (status != SL_OK)
        return status;
    for (version = sl_store_number(store, 0, "PRAGMA user_version", "", NULL); version < VERSION && status == SL_OK; version++) {
        code = sqlite3_exec(store->db, steps[version], NULL, NULL, NULL);
        snprintf(sql, sizeof sql, "PRAGMA application_id = %d; PRAGMA user_version = %d;", SL_STORE_APPLICATION, (int)version + 1);
        if (code == SQLITE_OK)
            code = sqlite3_exec(store->db, sql, NULL, NULL, NULL);
        if (code != SQLITE_OK)
            status = sl_store_trouble(store, code, error);
        else {
            snprintf(sql, sizeof sql, "%d", (int)version + 1);
            status = sl_store_run(store, error, "INSERT INTO log_entry VALUES('format of the store', '', ?1)", "t", sql);
        }
    }
    return sl_store_end(store, status, error);
}
