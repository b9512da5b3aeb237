/* Records: the motion trace and what its texture rests on come back as they were; records of before there were traces are read; what is
 * damaged is refused with a sentence. Usage: test_record (in a folder of its own under /tmp) */
#include "fake_exam.h"

#include "core/file.h"
#include "core/units.h"
#include "report/record.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static char path[] = "/tmp/strandline-record-XXXXXX";
static sl_arena arena;
static sl_exam exam;

static int begin(void **state)
{
    (void)state;
    int file = mkstemp(path);
    if (file >= 0)
        close(file);
    fake_exam(&arena, 3, &exam);
    return file < 0;
}

static int end(void **state)
{
    (void)state;
    unlink(path);
    sl_arena_free(&arena);
    return 0;
}

static void save(const sl_clip_result *result)
{
    const sl_record_key key = {.content = 7, .depth_cm = 12};
    sl_error error;
    assert_int_equal(sl_record_save(path, &key, result, &error), SL_OK);
}

static void comes_back(void **state)
{
    (void)state;
    for (int i = 0; i < 3; i++) {
        const sl_motion_trace *due = &exam.clip[i].result.trace;
        sl_record record;
        sl_error error;
        const sl_trace_piece piece[] = {{0, 0, 0.5}, {17, 0, 0.25}}; /* the third clip's trace in two pieces */
        sl_clip_result result = exam.clip[i].result;
        result.trace.pieces = i == 2 ? 2 : 0;
        result.trace.piece = piece;
        save(&result);
        assert_int_equal(sl_record_load(path, &arena, &record, &error), SL_OK);
        assert_int_equal(record.result.trace.pieces, result.trace.pieces);
        assert_true(i != 2 || (record.result.trace.piece[1].first == 17 && record.result.trace.piece[1].beam == 0.25));
        const sl_motion_trace *got = &record.result.trace;
        assert_true(due->columns > 40 && got->columns == due->columns && got->rows == due->rows && got->points == due->points);
        assert_memory_equal(got->grey, due->grey, (size_t)due->columns * (size_t)due->rows);
        assert_memory_equal(got->time_s, due->time_s, (size_t)due->columns * sizeof(double));
        assert_memory_equal(got->source, due->source, (size_t)due->columns * sizeof(int));
        assert_memory_equal(got->beam, due->beam, 2 * sizeof(double));
        assert_memory_equal(got->depth, due->depth, 2 * sizeof(double));
        assert_memory_equal(record.result.texture, exam.clip[i].result.texture, sizeof(sl_texture_beams));
        assert_true(record.picture.length > 1000 && record.cell.length > 1000);
    }
    sl_clip_result none = exam.clip[0].result;
    none.trace = (sl_motion_trace){0};
    none.texture = NULL;
    sl_record record;
    save(&none);
    assert_int_equal(sl_record_load(path, &arena, &record, NULL), SL_OK);
    assert_true(record.result.trace.columns == 0 && !record.result.texture && record.result.reading);
}

/* The file as it is; where its line of sizes ends and the trace's size in it begins. */
static char *bytes;
static size_t length, stop, last, trace;

static void look(void)
{
    assert_int_equal(sl_file_read(path, (size_t)16 << 20, &arena, &bytes, &length, NULL), SL_OK);
    size_t line = 0;
    for (stop = 0; stop < length && line < 3; stop++)
        line += bytes[stop] == '\n';
    stop--;
    for (last = stop; bytes[last] != ' ';)
        last--;
    trace = strtoul(bytes + last, NULL, 10);
    assert_true(trace > 5000 && trace < 100000);
}

static void of_an_older_program(void **state)
{
    (void)state;
    sl_record record;
    save(&exam.clip[0].result);
    look();
    FILE *file = fopen(path, "wb"); /* seven sizes and no trace at the end */
    assert_non_null(file);
    fwrite(bytes, 1, last, file);
    fwrite(bytes + stop, 1, length - trace - stop, file);
    fclose(file);
    assert_int_equal(sl_record_load(path, &arena, &record, NULL), SL_OK);
    assert_true(record.result.trace.columns == 0 && !record.result.texture && record.cell.length > 1000);
}

static void damaged(void **state)
{
    (void)state;
    save(&exam.clip[0].result);
    look();
    /* each of the trace's counts made impossible, its end cut off */
    for (int k = 0; k < 5; k++) {
        const int32_t wrong = k == 3 ? 2 : 1 << 30;
        FILE *file = fopen(path, "wb");
        assert_non_null(file);
        fwrite(bytes, 1, length - (k == 4 ? 10 : 0), file);
        if (k < 4) {
            fseek(file, (long)(length - trace) + 4 * k, SEEK_SET);
            fwrite(&wrong, 4, 1, file);
        }
        fclose(file);
        sl_record record;
        sl_error error = {0};
        assert_int_equal(sl_record_load(path, &arena, &record, &error), SL_FORMAT);
        assert_non_null(strstr(error.text, "is damaged."));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(comes_back), cmocka_unit_test(of_an_older_program), cmocka_unit_test(damaged)};
    return cmocka_run_group_tests(tests, begin, end);
}
