/* Records at hand: loaded once, again when the file changed, errors not kept, a record in use outlives its place being wanted, and many threads
 * that want more records than there are places. */
#include "../report/fake_exam.h"
#include "core/units.h"
#include "serve/records.h"

#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

enum { FILES = SL_AT_HAND + 3, THREADS = 8, TURNS = 40 };

static char folder[] = "/tmp/strandline-records-XXXXXX";
static char path[FILES][300];
static sl_arena arena;
static sl_exam exam;

/* Told apart by the depth that was stated. */
static sl_status save(int file, double depth_cm)
{
    const sl_record_key key = {.content = 7, .depth_cm = depth_cm};
    sl_error error;
    return sl_record_save(path[file], &key, &exam.clip[0].result, &error);
}

static int begin(void **state)
{
    (void)state;
    fake_exam(&arena, 1, &exam);
    if (!mkdtemp(folder))
        return 1;
    for (int i = 0; i < FILES; i++) {
        snprintf(path[i], sizeof path[i], "%s/%d.record", folder, i);
        if (save(i, i + 1) != SL_OK)
            return 1;
    }
    return 0;
}

static int end(void **state)
{
    (void)state;
    for (int i = 0; i < FILES; i++)
        unlink(path[i]);
    sl_arena_free(&arena);
    return rmdir(folder);
}

static void loaded_once_and_again_when_changed(void **state)
{
    (void)state;
    sl_error error;
    sl_at_hand *all = sl_records_new();
    const sl_record *first, *again, *changed;
    assert_int_equal(sl_records_take(all, path[0], &first, &error), SL_OK);
    assert_int_equal(sl_records_take(all, path[0], &again, &error), SL_OK);
    assert_ptr_equal(first, again);
    assert_true(first->key.depth_cm == 1 && first->result.reading);
    sl_records_give(all, again);
    assert_int_equal(save(0, 20), SL_OK);
    assert_int_equal(sl_records_take(all, path[0], &changed, &error), SL_OK);
    assert_true(changed->key.depth_cm == 20 && first->key.depth_cm == 1); /* who has the older one keeps it */
    sl_records_give(all, changed);
    sl_records_give(all, first);
    sl_records_give(all, NULL);
    assert_int_equal(save(0, 1), SL_OK);
    sl_at_hand_free(&all);
    assert_null(all);
}

static void the_least_used_goes(void **state)
{
    (void)state;
    sl_error error;
    sl_at_hand *all = sl_records_new();
    const sl_record *held, *r;
    assert_int_equal(sl_records_take(all, path[0], &held, &error), SL_OK);
    for (int i = 1; i < FILES; i++) {
        assert_int_equal(sl_records_take(all, path[i], &r, &error), SL_OK);
        assert_true(r->key.depth_cm == i + 1 && r != held);
        sl_records_give(all, r);
    }
    assert_true(held->key.depth_cm == 1);
    sl_records_give(all, held);
    sl_at_hand_free(&all);
}

static void what_cannot_be_loaded(void **state)
{
    (void)state;
    char none[400], bad[400];
    sl_error error;
    sl_at_hand *all = sl_records_new();
    const sl_record *r;
    snprintf(none, sizeof none, "%s/none", folder);
    snprintf(bad, sizeof bad, "%s/bad", folder);
    assert_int_equal(sl_records_take(all, none, &r, &error), SL_IO);
    assert_null(r);
    FILE *file = fopen(bad, "w");
    fputs("strandline record 1\nnothing", file);
    fclose(file);
    for (int i = 0; i < 2 * SL_AT_HAND; i++) {
        assert_int_equal(sl_records_take(all, bad, &r, &error), SL_FORMAT);
        assert_null(r);
    }
    assert_non_null(strstr(error.text, bad));
    assert_int_equal(sl_records_take(all, path[0], &r, &error), SL_OK);
    sl_records_give(all, r);
    unlink(bad);
    sl_at_hand_free(&all);
}

typedef struct hand {
    sl_at_hand *all;
    unsigned seed;
    int wrong;
} hand;

static void *ask(void *data)
{
    hand *h = data;
    for (int i = 0; i < TURNS; i++) {
        const sl_record *r;
        sl_error error;
        h->seed = h->seed * 1103515245u + 12345u;
        int file = (int)(h->seed >> 16) % FILES;
        if (sl_records_take(h->all, path[file], &r, &error) != SL_OK) {
            h->wrong++;
            continue;
        }
        nanosleep(&(struct timespec){.tv_nsec = 200000}, NULL);
        h->wrong += r->key.depth_cm != file + 1 || !r->result.reading || r->result.trace.columns < 1;
        sl_records_give(h->all, r);
    }
    return NULL;
}

static void many_at_once(void **state)
{
    (void)state;
    sl_at_hand *all = sl_records_new();
    pthread_t thread[THREADS];
    hand h[THREADS];
    for (int i = 0; i < THREADS; i++) {
        h[i] = (hand){all, (unsigned)i + 1, 0};
        assert_int_equal(pthread_create(&thread[i], NULL, ask, &h[i]), 0);
    }
    for (int i = 0; i < THREADS; i++) {
        pthread_join(thread[i], NULL);
        assert_int_equal(h[i].wrong, 0);
    }
    sl_at_hand_free(&all);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(loaded_once_and_again_when_changed), cmocka_unit_test(the_least_used_goes),
                                       cmocka_unit_test(what_cannot_be_loaded), cmocka_unit_test(many_at_once)};
    return cmocka_run_group_tests(tests, begin, end);
}
