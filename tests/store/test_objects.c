/* Objects that came from machines: kept once, beside another of their UID, found by the matching rules of PS3.4 C.2.2.2, and gone
 * without a trace when they or their person are to go. Many processes at once put the same and different ones. */
#include "made.h"

#include "store/objects.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { HEAD = 10 };

/* An object of `study`: `head` is what differs from sender to sender. */
static sl_status put(sl_store *store, const char *uid, const char *study, const char *date, const char *name, const char *head, const char *data,
                     sl_store_fate *fate)
{
    char part[4096], text[300];
    sl_error error;
    assert_int_equal(strlen(head), HEAD);
    assert_int_equal(sl_store_object_part(store, part, sizeof part, &error), SL_OK);
    snprintf(text, sizeof text, "%s%s", head, data);
    make_file(part, text);
    const sl_store_object object = {.uid = uid, .class_uid = "1.2.840.10008.5.1.4.1.1.3.1", .syntax = "1.2.840.10008.1.2.1", .series_uid = "9.1",
                                    .study_uid = study, .from = "SCANNER", .modality = "US", .patient_id = "INV-7", .patient_name = name,
                                    .birth_date = "", .sex = "", .study_date = date, .study_time = "", .study_id = "", .study_description = "",
                                    .accession = "A[1]", .referring = "", .series_number = "2", .series_description = "", .body_part = "CHEST",
                                    .instance_number = "10", .frames = 3, .rows = 40, .columns = 50};
    sl_status status = sl_store_object_put(store, part, HEAD, &object, fate, &error);
    assert_int_equal(access(part, F_OK), -1); /* consumed, whatever happened */
    return status;
}

static int found(sl_store *store, sl_store_object_query query)
{
    sl_arena arena = {0};
    const sl_store_object *object;
    int count;
    sl_error error;
    if (sl_store_objects(store, &query, &arena, &object, &count, &error) != SL_OK)
        fail_msg("%s", error.text);
    sl_arena_free(&arena);
    return count;
}

static int files_kept(void)
{
    char command[1300];
    int count = -1;
    snprintf(command, sizeof command, "find '%s/files' '%s/arriving' -type f | wc -l", made_place, made_place);
    FILE *pipe = popen(command, "r");
    if (!pipe || fscanf(pipe, "%d", &count) != 1)
        count = -1;
    if (pipe)
        pclose(pipe);
    return count;
}

static void put_once(void **state)
{
    (void)state;
    sl_store *store = made_store();
    sl_store_fate fate;
    assert_int_equal(put(store, "1.1", "5.1", "20310228", "Gull^Ada", "sender A.0", "pixels", &fate), SL_OK);
    assert_int_equal(fate, SL_FATE_KEPT);
    assert_int_equal(put(store, "1.1", "5.1", "20310228", "Gull^Ada", "sender B.0", "pixels", &fate), SL_OK);
    assert_int_equal(fate, SL_FATE_KNOWN); /* the same data set, whoever sent it */
    assert_int_equal(put(store, "1.1", "5.1", "20310228", "Gull^Ada", "sender A.0", "other pixels", &fate), SL_OK);
    assert_int_equal(fate, SL_FATE_BESIDE);
    assert_int_equal(found(store, (sl_store_object_query){.uid = "1.1"}), 2);
    assert_int_equal(files_kept(), 2);
    sl_store_state whole;
    sl_error error;
    assert_int_equal(sl_store_check(store, NULL, NULL, &whole, &error), SL_OK);
    assert_int_equal(whole.objects, 2);
    sl_store_close(store);
}

static void matching(void **state)
{
    (void)state;
    sl_store *store = made_store();
    sl_store_fate fate;
    put(store, "1.1", "5.1", "20310228", "Gull^Ada", "sender A.0", "a", &fate);
    put(store, "1.2", "5.1", "20310228", "Gull^Ada", "sender A.0", "b", &fate);
    put(store, "1.3", "5.2", "20310305", "T\xc3\xa4ucher^Bo", "sender A.0", "c", &fate);
    assert_int_equal(found(store, (sl_store_object_query){0}), 3);
    assert_int_equal(found(store, (sl_store_object_query){.study_uid = "5.1"}), 2);
    assert_int_equal(found(store, (sl_store_object_query){.study_uid = "5.2\\5.1"}), 3);
    assert_int_equal(found(store, (sl_store_object_query){.study_uid = "5"}), 0);
    assert_int_equal(found(store, (sl_store_object_query){.patient_name = "gull*"}), 2);
    assert_int_equal(found(store, (sl_store_object_query){.patient_name = "T?ucher^Bo"}), 1); /* a letter, not a byte */
    assert_int_equal(found(store, (sl_store_object_query){.patient_name = "Gull"}), 0);
    assert_int_equal(found(store, (sl_store_object_query){.accession = "A[1]"}), 3);
    assert_int_equal(found(store, (sl_store_object_query){.accession = "A[12]"}), 0);
    assert_int_equal(found(store, (sl_store_object_query){.study_date = "20310301-20310331"}), 1);
    assert_int_equal(found(store, (sl_store_object_query){.study_date = "-20310228"}), 2);
    assert_int_equal(found(store, (sl_store_object_query){.study_date = "20310301-"}), 1);
    assert_int_equal(found(store, (sl_store_object_query){.study_date = "20310305", .modality = "US", .patient_id = "INV-7"}), 1);
    sl_arena arena = {0};
    const sl_store_object *object;
    int count;
    sl_error error;
    assert_int_equal(sl_store_objects(store, &(sl_store_object_query){0}, &arena, &object, &count, &error), SL_OK);
    assert_string_equal(object[0].uid, "1.3"); /* newest study first */
    assert_int_equal(object[0].bytes, HEAD + 1);
    assert_int_equal(object[0].columns, 50);
    assert_string_equal(object[0].from, "SCANNER");
    sl_arena_free(&arena);
    sl_store_close(store);
}

static void dropped_and_forgotten(void **state)
{
    (void)state;
    sl_store *store = made_store();
    sl_store_fate fate;
    sl_error error;
    int objects, exams;
    char uid[SL_STORE_UID], path[4096];
    bool known;
    put(store, "1.1", "5.1", "20310228", "Gull^Ada", "sender A.0", "a", &fate);
    put(store, "1.2", "5.2", "20310305", "Tern^Bo", "sender A.0", "b", &fate);
    put(store, "1.3", "5.2", "20310305", "Tern^Bo", "sender A.0", "c", &fate);
    assert_int_equal(sl_store_object_drop(store, "5.1", &objects, &error), SL_OK);
    assert_int_equal(objects, 1);
    assert_int_equal(files_kept(), 2);
    /* one object of 5.2 becomes a clip of an examination; forgetting its person removes the whole study */
    snprintf(path, sizeof path, "%s/taken.dcm", made_root);
    make_file(path, "sender A.0b");
    const sl_store_clip_in clip = {.path = path, .name = "taken.dcm", .zone = "", .notes = ""};
    const sl_store_exam_in exam = {.person = "Harbour 3", .title = "invented", .date = "2031-03-05", .question = "", .protocol = "", .invented = true,
                                   .clips = 1, .clip = &clip};
    assert_int_equal(sl_store_add(store, &exam, uid, &known, &error), SL_OK);
    assert_int_equal(sl_store_forget(store, "Harbour 3", false, &exams, &error), SL_OK);
    assert_int_equal(found(store, (sl_store_object_query){0}), 0);
    assert_int_equal(files_kept(), 0);
    sl_store_state whole;
    assert_int_equal(sl_store_check(store, NULL, NULL, &whole, &error), SL_OK);
    sl_store_close(store);
    char command[1300]; /* nor does the name stand in the database's pages */
    snprintf(command, sizeof command, "grep -l 'Tern^Bo' '%s'/store.db* >/dev/null", made_place);
    assert_int_not_equal(system(command), 0);
}

static void many_at_once(void **state)
{
    (void)state;
    enum { PROCESSES = 8, EACH = 6 };
    sl_store_close(made_store());
    for (int p = 0; p < PROCESSES; p++)
        if (!fork()) {
            sl_store *store = made_store();
            sl_store_fate fate;
            int bad = 0;
            char uid[20], data[40];
            for (int i = 0; i < EACH; i++) { /* half of them the same from everyone */
                snprintf(uid, sizeof uid, "1.%d", i % 2 ? i : 100 + p * EACH + i);
                snprintf(data, sizeof data, "data %s", uid);
                bad += put(store, uid, "5.1", "20310228", "Gull^Ada", "sender A.0", data, &fate) != SL_OK;
            }
            sl_store_close(store);
            _exit(bad);
        }
    for (int p = 0; p < PROCESSES; p++) {
        int result;
        wait(&result);
        assert_int_equal(result, 0);
    }
    sl_store *store = made_store();
    assert_int_equal(found(store, (sl_store_object_query){0}), PROCESSES * EACH / 2 + EACH / 2);
    assert_int_equal(files_kept(), PROCESSES * EACH / 2 + EACH / 2);
    sl_store_close(store);
}

static void what_is_gone_leaves_no_part(void **state)
{
    (void)state;
    sl_store *store = made_store();
    char part[4096];
    sl_error error;
    pid_t child = fork();
    if (!child) {
        sl_store_object_part(store, part, sizeof part, &error);
        make_file(part, "half");
        _exit(0);
    }
    waitpid(child, NULL, 0);
    assert_int_equal(files_kept(), 1);
    sl_store_object_tidy(store);
    assert_int_equal(files_kept(), 0);
    sl_store_close(store);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(put_once, made_set_up, made_tear_down),
        cmocka_unit_test_setup_teardown(matching, made_set_up, made_tear_down),
        cmocka_unit_test_setup_teardown(dropped_and_forgotten, made_set_up, made_tear_down),
        cmocka_unit_test_setup_teardown(many_at_once, made_set_up, made_tear_down),
        cmocka_unit_test_setup_teardown(what_is_gone_leaves_no_part, made_set_up, made_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
