/* CSV after RFC 4180 (its section 2 examples), paths, arenas. */
#include "core/text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void csv_quotes(void **state)
{
    (void)state;
    /* RFC 4180 section 2, rules 5 to 7 */
    static const char bytes[] = "\xef\xbb\xbf" "aaa,\"b \r\nbb\",\"c\"\"c\"\r\nzzz,yyy,\n\nlast,1,2";
    sl_arena arena = {0};
    sl_csv csv;
    assert_int_equal(sl_csv_parse(bytes, sizeof bytes - 1, "test", &arena, &csv, NULL), SL_OK);
    assert_int_equal(csv.rows, 3);
    assert_int_equal(csv.fields[0], 3);
    assert_string_equal(csv.field[0][1], "b \r\nbb");
    assert_string_equal(csv.field[0][2], "c\"c");
    assert_string_equal(csv.field[1][2], "");
    assert_string_equal(sl_csv_get(&csv, 2, 2), "2");
    assert_string_equal(sl_csv_get(&csv, 2, 3), "");
    assert_int_equal(sl_csv_column(&csv, "AAA"), 0);
    assert_int_equal(sl_csv_column(&csv, "nothing"), -1);
    sl_arena_free(&arena);
}

static void csv_broken(void **state)
{
    (void)state;
    sl_arena arena = {0};
    sl_csv csv;
    sl_error error;
    assert_int_equal(sl_csv_parse("a,\"b\nc", 6, "exam.csv", &arena, &csv, &error), SL_FORMAT);
    assert_non_null(strstr(error.text, "exam.csv, row 1"));
    assert_int_equal(sl_csv_parse("a\0b", 3, "exam.csv", &arena, &csv, &error), SL_FORMAT);
    sl_arena_free(&arena);
}

static void csv_round_trip(void **state)
{
    (void)state;
    static const char *const fields[] = {"plain", "with, comma", "with \"quotes\"", "two\nlines", "", " blank "};
    sl_text text = {0};
    for (int i = 0; i < 6; i++)
        sl_csv_add(&text, fields[i], i == 0);
    sl_arena arena = {0};
    sl_csv csv;
    assert_int_equal(sl_csv_parse(text.bytes, text.length, "test", &arena, &csv, NULL), SL_OK);
    assert_int_equal(csv.rows, 1);
    for (int i = 0; i < 6; i++)
        assert_string_equal(csv.field[0][i], fields[i]);
    sl_arena_free(&arena);
    sl_text_free(&text);
}

static void arena_keeps(void **state)
{
    (void)state;
    sl_arena arena = {0};
    assert_null(sl_arena_alloc(&arena, SIZE_MAX / 2, 8));
    for (int i = 0; i < 1000; i++) {
        unsigned char *piece = sl_arena_alloc(&arena, (size_t)(i * 97 % 200000), 1);
        assert_non_null(piece);
        assert_int_equal((uintptr_t)piece % 64, 0);
        assert_int_equal(piece[0], 0);
        memset(piece, 0xff, (size_t)(i * 97 % 200000));
    }
    assert_string_equal(sl_path_name(sl_path_join(&arena, "a/b/", "c.mp4")), "c.mp4");
    assert_string_equal(sl_path_extension("x.d/e"), "");
    sl_arena_free(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(csv_quotes), cmocka_unit_test(csv_broken),
                                       cmocka_unit_test(csv_round_trip), cmocka_unit_test(arena_keeps)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
