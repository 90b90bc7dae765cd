/* Tasks side by side: each is done once, and what fails is told alike whatever the number of threads. */
#include <layshaft/base.h>

#include "support/cmocka_all.h"

#include <stdio.h>
#include <string.h>

#define TASKS 200

typedef struct record {
    int done[TASKS]; /* each written by one thread only */
    size_t fails[2];
    size_t told, last;
} record;

static lay_status count_one(size_t task, void *work, lay_error *err) {
    record *r = work;
    r->done[task]++;
    if (task == r->fails[0] || task == r->fails[1]) return lay_fail(err, LAY_BAD_INPUT, "task %zu", task);
    return LAY_OK;
}

static void tell(size_t done, size_t count, void *user) {
    record *r = user;
    assert_int_equal(count, TASKS);
    assert_int_equal(done, r->last + 1); /* one after the other */
    r->last = done;
    r->told++;
}

static void test_all_done_once(void **state) {
    (void)state;
    static const int threads[] = {0, 1, 2, 7, 256, 100000};
    for (size_t i = 0; i < sizeof threads / sizeof *threads; i++) {
        record r = {.fails = {TASKS, TASKS}};
        lay_error err = {0};
        lay_tasks tasks = {TASKS, threads[i], count_one, &r, tell, &r};
        assert_int_equal(lay_run_tasks(&tasks, &err), LAY_OK);
        for (int k = 0; k < TASKS; k++) assert_int_equal(r.done[k], 1);
        assert_int_equal(r.told, TASKS);
    }
}

static void test_first_failure_is_told(void **state) {
    (void)state;
    for (int threads = 1; threads <= 8; threads++)
        for (int again = 0; again < 20; again++) {
            record r = {.fails = {41, 40}};
            lay_error err = {0};
            lay_tasks tasks = {.count = TASKS, .threads = threads, .run = count_one, .work = &r};
            assert_int_equal(lay_run_tasks(&tasks, &err), LAY_BAD_INPUT);
            assert_string_equal(err.message, "task 40");
            for (int k = 0; k <= 40; k++) assert_int_equal(r.done[k], 1);
            for (int k = 41; k < TASKS && threads == 1; k++) assert_int_equal(r.done[k], 0);
        }
}

static void test_nothing_to_do(void **state) {
    (void)state;
    lay_tasks none = {.count = 0, .run = count_one};
    assert_int_equal(lay_run_tasks(&none, NULL), LAY_OK);
    assert_true(lay_processors() >= 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_all_done_once),
        cmocka_unit_test(test_first_failure_is_told),
        cmocka_unit_test(test_nothing_to_do),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
