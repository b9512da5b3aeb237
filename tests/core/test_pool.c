/* Every item once, whatever the number of workers. */
#include "core/pool.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void count(void *context, int item, int worker)
{
    (void)worker;
    ((int *)context)[item] += item + 1;
}

static void each_item_once(void **state)
{
    (void)state;
    for (int workers = 0; workers < 9; workers++) {
        int seen[501] = {0};
        sl_pool_run(workers, 500, count, seen);
        for (int i = 0; i < 500; i++)
            assert_int_equal(seen[i], i + 1);
        assert_int_equal(seen[500], 0);
    }
    sl_pool_run(3, 0, count, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_item_once)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
