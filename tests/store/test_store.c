/* The store from its header: what goes in comes out, what is signed stays, what is wrong gets a sentence. SQLite itself,
 * opened beside it as another program would, is the outside hand that tries to change things. */
#include "made.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <fcntl.h>
#include <unistd.h>

static void add(sl_store *store, unsigned number, char uid[SL_STORE_UID])
{
    made_exam made;
    bool known;
    sl_error error;
    make_exam(made_root, number, &made);
    if (sl_store_add(store, &made.in, uid, &known, &error) != SL_OK)
        fail_msg("%s", error.text);
    assert_false(known);
}

static void sign(sl_store *store, const char *uid, bool addendum, const char *text)
{
    char report[SL_STORE_UID], path[500];
    sl_error error;
    snprintf(path, sizeof path, "%s/signed.pdf", made_root);
    make_file(path, text);
    sl_store_file_in file = {"report.pdf", path};
    sl_store_signing signing = {.uid = uid, .signer = "Dr. Invented", .text = text, .files = 1, .file = &file};
    if (sl_store_sign(store, &signing, addendum, report, &error) != SL_OK)
        fail_msg("%s", error.text);
}

static void print_problem(void *context, const char *sentence)
{
    strncat(context, sentence, 2000 - strlen(context));
}

/* Checks; what was said is returned, and must hold `part` when that is not NULL. */
static void check(sl_store *store, int problems, const char *part)
{
    static char said[2100];
    sl_store_state state;
    sl_error error;
    said[0] = 0;
    sl_status status = sl_store_check(store, print_problem, said, &state, &error);
    if (status != SL_OK && status != SL_FORMAT)
        fail_msg("%s", error.text);
    if (state.problems != problems || (part && !strstr(said, part)))
        fail_msg("%d problems for %d: %s", state.problems, problems, said);
}

/* Another program's SQL on the store's database; returns SQLite's message. */
static const char *outside(const char *sql)
{
    static char text[400];
    char path[600];
    sqlite3 *db;
    char *why = NULL;
    snprintf(path, sizeof path, "%s/store.db", made_place);
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    text[0] = 0;
    if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
        snprintf(text, sizeof text, "%s", why ? why : "failed");
    sqlite3_free(why);
    sqlite3_close(db);
    return text;
}

static void in_and_out(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_error error;
    char uid[SL_STORE_UID], again[SL_STORE_UID], *path;
    made_exam made;
    bool known;
    sl_store *store = made_store();
    make_exam(made_root, 1, &made);
    made.in.local_id = "house 4711";
    assert_int_equal(sl_store_add(store, &made.in, uid, &known, &error), SL_OK);
    assert_int_equal(sl_store_add(store, &made.in, again, &known, &error), SL_OK);
    assert_true(known);
    assert_string_equal(uid, again);
    sl_store_exam_all all;
    assert_int_equal(sl_store_exam_of(store, "zzzz", &arena, &all, &error), SL_USAGE);
    char beginning[9];
    snprintf(beginning, sizeof beginning, "%.8s", uid);
    assert_int_equal(sl_store_exam_of(store, beginning, &arena, &all, &error), SL_OK);
    assert_string_equal(all.exam.person, "Harbour 1");
    assert_string_equal(all.exam.question, "wet or dry?");
    assert_int_equal(all.clips, 3);
    assert_int_equal(all.readings, 3); /* the same reading again says nothing new */
    assert_int_equal(all.files, 2);
    assert_int_equal(all.reports, 0);
    assert_string_equal(all.clip[1].name, "L1.mp4");
    assert_string_equal(all.clip[2].zone, "L-basal-lateral");
    assert_float_equal(all.clip[1].depth_cm, 12.5, 0);
    assert_true(all.clip[0].depth_cm != all.clip[0].depth_cm);
    assert_int_equal(all.clip[0].bytes, 3000);
    assert_int_equal(sl_store_path(store, all.clip[0].hash, &arena, &path, &error), SL_OK);
    assert_non_null(strstr(path, all.clip[0].hash));
    assert_int_equal(sl_store_put_reading(store, uid, 2, "person", "reader A", "{\"reading\": null}", &error), SL_OK);
    assert_int_equal(sl_store_put_reading(store, uid, 9, "person", "reader A", "{}", &error), SL_USAGE);
    assert_int_equal(sl_store_put_reading(store, uid, 1, "person", "reader A", "no JSON", &error), SL_USAGE);
    assert_int_equal(sl_store_exam_of(store, uid, &arena, &all, &error), SL_OK);
    assert_int_equal(all.readings, 4);
    assert_string_equal(all.reading[3].author, "reader A");
    assert_int_equal(all.reading[3].position, 2);
    const sl_store_person *person;
    const sl_store_exam *exam;
    int count;
    add(store, 2, again);
    assert_int_equal(sl_store_people(store, &arena, &person, &count, &error), SL_OK);
    assert_int_equal(count, 2);
    assert_string_equal(person[0].local_id, "house 4711");
    assert_string_equal(person[1].local_id, "");
    assert_int_equal(sl_store_exams(store, "Harbour 2", &arena, &exam, &count, &error), SL_OK);
    assert_int_equal(count, 1);
    assert_int_equal(sl_store_exams(store, NULL, &arena, &exam, &count, &error), SL_OK);
    assert_int_equal(count, 2);
    /* the identifier of one person cannot become another's */
    make_exam(made_root, 3, &made);
    made.in.local_id = "house 4711";
    assert_int_equal(sl_store_add(store, &made.in, again, &known, &error), SL_USAGE);
    assert_non_null(strstr(error.text, "another pseudonym"));
    check(store, 0, NULL);
    sl_store_close(store);
    sl_arena_free(&arena);
}

static void signing(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_error error;
    char uid[SL_STORE_UID], report[SL_STORE_UID];
    sl_store_exam_all all;
    sl_store *store = made_store();
    add(store, 1, uid);
    sl_store_signing blank = {.uid = uid, .signer = "Dr. Invented", .text = "  \n"};
    assert_int_equal(sl_store_sign(store, &blank, false, report, &error), SL_USAGE);
    assert_non_null(strstr(error.text, "without a conclusion"));
    blank = (sl_store_signing){.uid = uid, .signer = "", .text = "dry"};
    assert_int_equal(sl_store_sign(store, &blank, false, report, &error), SL_USAGE);
    blank = (sl_store_signing){.uid = uid, .signer = "Dr. Invented", .text = "later"};
    assert_int_equal(sl_store_sign(store, &blank, true, report, &error), SL_USAGE);
    assert_int_equal(sl_store_set_question(store, uid, "wet, dry or solid?", &error), SL_OK);
    sign(store, uid, false, "dry on both sides");
    assert_int_equal(sl_store_sign(store, &blank, false, report, &error), SL_USAGE);
    assert_non_null(strstr(error.text, "addendum"));
    assert_int_equal(sl_store_set_question(store, uid, "another one", &error), SL_USAGE);
    assert_non_null(strstr(error.text, "signed"));
    sign(store, uid, true, "the left base was not seen");
    assert_int_equal(sl_store_put_reading(store, uid, 0, "person", "reader B", "{}", &error), SL_OK); /* a read is no change */
    assert_int_equal(sl_store_exam_of(store, uid, &arena, &all, &error), SL_OK);
    assert_int_equal(all.reports, 2);
    assert_false(all.report[0].addendum);
    assert_true(all.report[1].addendum);
    assert_string_equal(all.report[0].text, "dry on both sides");
    assert_string_equal(all.report[1].signer, "Dr. Invented");
    assert_int_equal(all.report[0].files, 1);
    assert_string_equal(all.exam.question, "wet, dry or solid?");
    check(store, 0, NULL);
    sl_store_close(store);
    sl_arena_free(&arena);
}

/* Every way in which another program may try to change what is signed or the log. */
static void outside_hands(void **state)
{
    (void)state;
    char uid[SL_STORE_UID];
    sl_store *store = made_store();
    add(store, 1, uid);
    sign(store, uid, false, "dry");
    sl_store_close(store);
    static const char *const tries[] = {
        "UPDATE report SET text = 'wet'", "DELETE FROM report", "UPDATE signature SET signer = 'x'", "DELETE FROM signature",
        "INSERT OR REPLACE INTO signature VALUES(1, 'x', 'x', hex(zeroblob(32)))", "UPDATE report_document SET name = 'x'",
        "DELETE FROM report_document", "UPDATE clip SET zone = ''", "DELETE FROM clip", "UPDATE reading SET author = 'x'",
        "DELETE FROM reading", "UPDATE examination SET question = 'x'", "DELETE FROM examination", "UPDATE log SET who = 'x'",
        "DELETE FROM log", "INSERT INTO log SELECT max(seq) + 1, at, who, what, subject, detail, hash, hash FROM log", "UPDATE person SET pseudonym = 'x'",
        "DELETE FROM person", "UPDATE file SET bytes = 0", "INSERT INTO person(uid, pseudonym) VALUES('x', 'y')",
        "REPLACE INTO report SELECT * FROM report", "UPDATE document SET name = 'x'", "DELETE FROM document"};
    for (size_t i = 0; i < sizeof tries / sizeof *tries; i++)
        if (!*outside(tries[i]))
            fail_msg("allowed: %s", tries[i]);
    store = made_store();
    check(store, 0, NULL);
    sl_store_close(store);
    /* who takes the rules away is found out by the signature and by the chain */
    assert_string_equal(outside("DROP TRIGGER no_UPDATE_report; UPDATE report SET text = 'wet'"), "");
    store = made_store();
    check(store, 1, "no longer what stands");
    sl_store_close(store);
    assert_string_equal(outside("DROP TRIGGER no_UPDATE_log; UPDATE log SET who = 'someone' WHERE seq = 3"), "");
    store = made_store();
    check(store, 2, "line 3");
    sl_store_close(store);
}

static void forgetting(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_error error;
    char one[SL_STORE_UID], two[SL_STORE_UID], command[1600];
    sl_store_exam_all all;
    int exams;
    made_exam made;
    bool known;
    sl_store *store = made_store();
    make_exam(made_root, 1, &made);
    snprintf(made.person, sizeof made.person, "Lighthouse");
    made.in.local_id = "house 90210";
    assert_int_equal(sl_store_add(store, &made.in, one, &known, &error), SL_OK);
    sign(store, one, false, "Lighthouse is dry");
    make_exam(made_root, 2, &made);
    sl_store_clip_in shared[2] = {made.clip[0], made.clip[1]}; /* a clip of Lighthouse's kept for another person, too */
    char path[600];
    snprintf(path, sizeof path, "%s/1-R1.mp4", made_root);
    shared[1].path = path;
    made.in.clip = shared;
    made.in.clips = 2;
    assert_int_equal(sl_store_add(store, &made.in, two, &known, &error), SL_OK);
    assert_int_equal(sl_store_forget(store, "Nobody", true, &exams, &error), SL_USAGE);
    assert_int_equal(sl_store_forget(store, "Lighthouse", false, &exams, &error), SL_USAGE);
    assert_non_null(strstr(error.text, "signed"));
    assert_int_equal(sl_store_exam_of(store, one, &arena, &all, &error), SL_OK);
    const char *gone = all.clip[1].hash, *shared_hash = all.clip[0].hash;
    char *where;
    assert_int_equal(sl_store_forget(store, "Lighthouse", true, &exams, &error), SL_OK);
    assert_int_equal(exams, 1);
    assert_int_equal(sl_store_exam_of(store, one, &arena, &all, &error), SL_USAGE);
    assert_int_equal(sl_store_path(store, gone, &arena, &where, &error), SL_IO);
    assert_int_equal(sl_store_path(store, shared_hash, &arena, &where, &error), SL_OK);
    assert_int_equal(sl_store_exam_of(store, two, &arena, &all, &error), SL_OK);
    check(store, 0, NULL);
    sl_store_close(store);
    /* no byte of the name, the identifier or the conclusion is left anywhere, log included */
    snprintf(command, sizeof command, "! grep -rqaE 'Lighthouse|90210' '%s'", made_place);
    assert_int_equal(system(command), 0);
    sl_arena_free(&arena);
}

static void backup_and_restore(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_error error;
    char uid[SL_STORE_UID], later[SL_STORE_UID], folder[600], aside[500];
    sl_store_exam_all all;
    sl_store *store = made_store();
    add(store, 1, uid);
    sign(store, uid, false, "dry");
    snprintf(folder, sizeof folder, "%s/backup", made_root);
    assert_int_equal(sl_store_backup(store, folder, &error), SL_OK);
    assert_int_equal(sl_store_backup(store, folder, &error), SL_IO); /* nothing is overwritten */
    add(store, 2, later);
    sl_store_close(store);
    if (sl_store_restore(folder, made_place, aside, sizeof aside, &error) != SL_OK)
        fail_msg("%s", error.text);
    assert_non_null(strstr(aside, ".before-"));
    store = made_store();
    assert_int_equal(sl_store_exam_of(store, uid, &arena, &all, &error), SL_OK);
    assert_int_equal(all.reports, 1);
    assert_int_equal(sl_store_exam_of(store, later, &arena, &all, &error), SL_USAGE);
    check(store, 0, NULL);
    sl_store_close(store);
    snprintf(made_place, sizeof made_place, "%s", aside); /* what was moved aside is whole */
    store = made_store();
    assert_int_equal(sl_store_exam_of(store, later, &arena, &all, &error), SL_OK);
    check(store, 0, NULL);
    sl_store_close(store);
    /* a backup with a changed file is not put back */
    char command[900];
    snprintf(command, sizeof command, "f=$(ls '%s'/files/*/* | head -1); chmod u+w $f; printf x >> $f", folder);
    assert_int_equal(system(command), 0);
    snprintf(made_place, sizeof made_place, "%s/elsewhere", made_root);
    assert_int_equal(sl_store_restore(folder, made_place, aside, sizeof aside, &error), SL_FORMAT);
    assert_non_null(strstr(error.text, "not put back"));
    assert_int_not_equal(access(made_place, F_OK), 0);
    sl_arena_free(&arena);
}

static void exporting(void **state)
{
    (void)state;
    sl_error error;
    char uid[SL_STORE_UID], folder[600], command[1600];
    sl_store *store = made_store();
    add(store, 1, uid);
    sign(store, uid, false, "dry");
    sign(store, uid, true, "and late");
    snprintf(folder, sizeof folder, "%s/out", made_root);
    if (sl_store_export(store, uid, folder, &error) != SL_OK)
        fail_msg("%s", error.text);
    assert_int_equal(sl_store_export(store, uid, folder, &error), SL_IO);
    snprintf(command, sizeof command, "cd '%s' && cmp R1.mp4 ../1-R1.mp4 && grep -q 'L1.mp4,L-upper-anterior,12.5,' exam.csv && grep -q "
             "'wet or dry' exam-info.json && grep -q 'and late' signed-2-addendum/report.pdf && grep -q statement_sha256 "
             "signed-1-report/signature.json && grep -q 'strandline test' readings.json", folder);
    assert_int_equal(system(command), 0);
    sl_store_close(store);
}

/* ---- what goes wrong ---- */

static void expect_open(sl_status status, const char *part)
{
    sl_store *store;
    sl_error error;
    assert_int_equal(sl_store_open(&(sl_store_options){.folder = made_place, .make = true}, &store, &error), status);
    assert_null(store);
    if (!strstr(error.text, part))
        fail_msg("%s", error.text);
}

static void broken_stores(void **state)
{
    (void)state;
    sl_error error;
    char uid[SL_STORE_UID], command[2400], *path;
    sl_store *store;
    sl_arena arena = {0};
    sl_store_exam_all all;
    assert_int_equal(sl_store_open(&(sl_store_options){.folder = made_place}, &store, &error), SL_IO);
    assert_non_null(strstr(error.text, "no store"));
    store = made_store();
    add(store, 1, uid);
    assert_int_equal(sl_store_exam_of(store, uid, &arena, &all, &error), SL_OK);
    assert_int_equal(sl_store_path(store, all.clip[0].hash, &arena, &path, &error), SL_OK);
    /* a clip that vanished, a clip that changed, a file that does not belong */
    snprintf(command, sizeof command, "mv '%s' '%s/aside'", path, made_root);
    assert_int_equal(system(command), 0);
    check(store, 1, "R1.mp4 of");
    char folder[600];
    snprintf(folder, sizeof folder, "%s/backup", made_root);
    assert_int_equal(sl_store_backup(store, folder, &error), SL_IO);
    assert_int_equal(sl_store_export(store, uid, folder, &error), SL_IO);
    snprintf(command, sizeof command, "cp '%s/aside' '%s' && printf x >> '%s'", made_root, path, path);
    assert_int_equal(system(command), 0);
    check(store, 1, "its content has changed");
    snprintf(command, sizeof command, "cp -f '%s/aside' '%s' && mkdir -p '%s/files/00' && touch '%s/files/00/x'", made_root, path, made_place, made_place);
    assert_int_equal(system(command), 0);
    check(store, 1, "does not belong");
    sl_store_close(store);
    /* a newer version's */
    assert_string_equal(outside("PRAGMA user_version = 99"), "");
    expect_open(SL_UNSUPPORTED, "newer version");
    assert_string_equal(outside("DROP TABLE object"), ""); /* one of the first format is brought to this one */
    assert_string_equal(outside("PRAGMA user_version = 1"), "");
    /* another program's */
    assert_string_equal(outside("PRAGMA application_id = 7"), "");
    expect_open(SL_FORMAT, "another program");
    assert_string_equal(outside("PRAGMA application_id = 1397511028"), "");
    store = made_store();
    sl_store_close(store);
    /* damaged in the middle: opens or not, it is said and nothing crashes */
    snprintf(command, sizeof command, "dd if=/dev/urandom of='%s/store.db' bs=4096 seek=3 count=8 conv=notrunc 2>/dev/null", made_place);
    assert_int_equal(system(command), 0);
    sl_store_state found;
    char said[2100] = "";
    sl_status status = sl_store_open(&(sl_store_options){.folder = made_place}, &store, &error);
    if (status == SL_OK)
        status = sl_store_check(store, print_problem, said, &found, &error);
    assert_int_equal(status, SL_FORMAT);
    assert_true(strstr(said, "damaged") || strstr(error.text, "damaged"));
    sl_store_close(store);
    snprintf(command, sizeof command, "printf 'this is no database, only a text that is long enough to be looked at' > '%s/store.db'; rm -f '%s'/store.db-*", made_place, made_place);
    assert_int_equal(system(command), 0);
    expect_open(SL_FORMAT, "damaged");
    sl_arena_free(&arena);
}

static void two_programs(void **state)
{
    (void)state;
    char uid[SL_STORE_UID];
    sl_store *store = made_store();
    add(store, 100, uid);
    pid_t child[2];
    for (int c = 0; c < 2; c++) {
        child[c] = fork();
        if (!child[c]) {
            sl_store *own;
            sl_error error;
            made_exam made;
            bool known;
            int bad = sl_store_open(&(sl_store_options){.folder = made_place, .make = true}, &own, &error) != SL_OK;
            for (unsigned i = 0; i < 10 && !bad; i++) {
                make_exam(made_root, 200 + (unsigned)c * 20 + i, &made);
                bad = sl_store_add(own, &made.in, uid, &known, &error) != SL_OK;
            }
            sl_store_close(own);
            _exit(bad);
        }
    }
    for (int c = 0; c < 2; c++) {
        int status = 1;
        waitpid(child[c], &status, 0);
        assert_int_equal(status, 0);
    }
    const sl_store_exam *exam;
    sl_arena arena = {0};
    sl_error error;
    int count;
    assert_int_equal(sl_store_exams(store, NULL, &arena, &exam, &count, &error), SL_OK);
    assert_int_equal(count, 21);
    check(store, 0, NULL);
    sl_store_close(store);
    sl_arena_free(&arena);
}

static void no_room(void **state)
{
    (void)state;
    char uid[SL_STORE_UID], command[3000];
    sl_store *store = made_store();
    add(store, 1, uid);
    sl_store_close(store);
    /* a disk of 400 kB in a name space of its own; the worker says what happened */
    snprintf(command, sizeof command, "unshare -rm sh -c 'mount -t tmpfs -o size=700k none \"%s\" && \"%s\" \"%s/kept\" 60 > \"%s.said\" "
             "2>&1; test $? = 3 && \"%s\" \"%s/kept\" check >> \"%s.said\"' 2>/dev/null", made_root, getenv("STORE_WORKER"), made_root, made_root,
             getenv("STORE_WORKER"), made_root, made_root);
    int status = system("unshare -rm true 2>/dev/null");
    if (status) {
        print_message("no disk of its own could be made here: left out\n");
        return;
    }
    status = system(command);
    char said[4000] = "", path[500];
    snprintf(path, sizeof path, "%s.said", made_root);
    FILE *file = fopen(path, "r");
    size_t length = file ? fread(said, 1, sizeof said - 1, file) : 0;
    said[length] = 0;
    if (file)
        fclose(file);
    unlink(path);
    if (status || !strstr(said, "Free some") || !strstr(said, "whole"))
        fail_msg("a full disk: %d %s", status, said);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define ONE(name) cmocka_unit_test_setup_teardown(name, made_set_up, made_tear_down)
        ONE(in_and_out), ONE(signing), ONE(outside_hands), ONE(forgetting), ONE(backup_and_restore), ONE(exporting),
        ONE(broken_stores), ONE(two_programs), ONE(no_room),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
