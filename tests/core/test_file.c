/* Files and JSON: round trips, and the sentences when things are wrong. */
#include "core/file.h"
#include "core/json.h"
#include "core/units.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static char folder[] = "/tmp/strandline-core-XXXXXX";

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : 1;
}

static void write_and_read(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_error error;
    char path[256], *bytes;
    size_t length;
    snprintf(path, sizeof path, "%s/a/b é/c", folder);
    assert_int_equal(sl_folder_make(path, &error), SL_OK);
    assert_int_equal(sl_folder_make(path, &error), SL_OK);
    snprintf(path, sizeof path, "%s/a/b é/c/file", folder);
    assert_int_equal(sl_file_write(path, "tide", 4, &error), SL_OK);
    assert_int_equal(sl_file_write(path, "ebb\0", 4, &error), SL_OK);
    assert_int_equal(sl_file_read(path, 100, &arena, &bytes, &length, &error), SL_OK);
    assert_int_equal(length, 4);
    assert_string_equal(bytes, "ebb");
    assert_int_equal(sl_file_read(path, 3, &arena, &bytes, &length, &error), SL_LIMIT);
    assert_int_equal(sl_folder_make(path, &error), SL_IO);
    assert_int_equal(sl_file_read("/nonexistent/file", 3, &arena, &bytes, &length, &error), SL_IO);
    assert_non_null(strstr(error.text, "/nonexistent/file"));
    sl_arena_free(&arena);
}

static void full_disk(void **state)
{
    (void)state;
    sl_error error;
    if (access("/dev/full", W_OK))
        skip();
    /* The neighbour of /dev/full cannot be made by a user; a link in our folder leads the write there. */
    char link_path[256], path[256];
    snprintf(path, sizeof path, "%s/out", folder);
    snprintf(link_path, sizeof link_path, "%s/out.part", folder);
    assert_int_equal(symlink("/dev/full", link_path), 0);
    assert_int_equal(sl_file_write(path, "x", 1, &error), SL_IO);
    assert_non_null(strstr(error.text, "Free some space"));
    assert_int_not_equal(access(path, F_OK), 0);
}

static void json_numbers(void **state)
{
    (void)state;
    json_t *root = json_object();
    json_object_set_new(root, "a", sl_json_number(0.1234567, 3));
    json_object_set_new(root, "b", sl_json_number(NAN, 3));
    json_object_set_new(root, "c", sl_json_number(-1e-9, 3));
    json_object_set_new(root, "d", sl_json_number(2.6, 0));
    char *text = json_dumps(root, JSON_COMPACT | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
    assert_string_equal(text, "{\"a\":0.123,\"b\":null,\"c\":0.0,\"d\":3}");
    free(text);
    double value = 7;
    sl_error error;
    assert_int_equal(sl_json_real_in(root, "scan", "a", 0, 1, true, &value, &error), SL_OK);
    assert_true(value == 0.123);
    assert_int_equal(sl_json_real_in(root, "scan", "d", 0, 1, true, &value, &error), SL_FORMAT);
    assert_string_equal(error.text, "scan.d is 3: it must lie between 0 and 1.");
    assert_int_equal(sl_json_real_in(root, "scan", "b", 0, 1, true, &value, &error), SL_FORMAT);
    assert_int_equal(sl_json_real_in(root, "scan", "z", 0, 1, true, &value, &error), SL_FORMAT);
    assert_int_equal(sl_json_real_in(root, "scan", "z", 0, 1, false, &value, &error), SL_OK);
    char path[256];
    snprintf(path, sizeof path, "%s/x.json", folder);
    assert_int_equal(sl_json_save(root, path, &error), SL_OK);
    json_decref(root);
    root = sl_json_load(path, &error);
    assert_non_null(root);
    json_decref(root);
    assert_int_equal(sl_file_write(path, "{\"a\":", 5, &error), SL_OK);
    assert_null(sl_json_load(path, &error));
    assert_non_null(strstr(error.text, "not valid JSON: line 1"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(write_and_read), cmocka_unit_test(full_disk),
                                       cmocka_unit_test(json_numbers)};
    return cmocka_run_group_tests(tests, make_folder, NULL);
}
