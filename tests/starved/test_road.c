/* Memory that runs out at any allocation of the whole road: an error that says so or, where something can be done
 * without, a result; never a crash, and nothing stays behind (the address sanitizer of the CI looks at that).
 *
 * The linker puts the functions below in place of malloc, calloc and realloc in everything that is ours. Every one of
 * the first allocations is refused once, of the rest some hundred; with LAYSHAFT_STARVED=all in the environment each.
 */
#include <layshaft/judge.h>
#include <layshaft/report.h>
#include <layshaft/sim.h>

#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST 50 /* allocations that are refused one by one */
#define SOME 40  /* of the rest */
#define RUNS 2

static long left = -1; /* allocations until one is refused; -1: none will be */
static long asked;     /* for memory so far */
static bool armed, refused;

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

static bool refuse(void) {
    if (!armed) return false;
    asked++;
    if (left < 0 || left-- > 0) return false;
    refused = true;
    return true;
}

void *__wrap_malloc(size_t size) {
    return refuse() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size) {
    return refuse() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *old, size_t size) {
    return refuse() ? NULL : __real_realloc(old, size);
}

/* ---- roads ---- */

static const char *folder, *other;

/* The first runs of a job: more show nothing more. */
static lay_status load(const char *path, lay_job *job, lay_error *err) {
    lay_status status = lay_job_load(path, job, err);
    lay_run_table *table = &job->table;
    for (; status == LAY_OK && table->count > RUNS; table->count--) lay_run_spec_free(&table->runs[table->count - 1]);
    return status;
}

static lay_status diagnose(lay_error *err) {
    lay_job job = {0};
    lay_diagnosis d = {0};
    lay_text text = {0}, json = {0};
    lay_analysis_options options = {.threads = 1};
    lay_status status = load(folder, &job, err);
    if (status == LAY_OK) status = lay_diagnose(job.unit, &job.table, &options, NULL, NULL, &d, err);
    if (status == LAY_OK && (status = lay_report_text(job.unit, &job.table, &d, false, 80, &text)) != LAY_OK)
        lay_fail(err, status, "text");
    if (status == LAY_OK && (status = lay_report_json(job.unit, &job.table, &d, true, &json)) != LAY_OK)
        lay_fail(err, status, "json");
    lay_text_free(&text);
    lay_text_free(&json);
    lay_diagnosis_free(&d);
    lay_job_free(&job);
    return status;
}

static lay_status measure(const char *path, lay_job *job, lay_measured *m, lay_error *err) {
    lay_status status = load(path, job, err);
    if (status == LAY_OK) status = lay_measure(job->unit, &job->table, 1, NULL, NULL, m, err);
    return status;
}

static lay_status compare(lay_error *err) {
    lay_job jobs[2] = {0};
    lay_measured m[2] = {0};
    lay_comparison x = {0};
    lay_status status = measure(folder, &jobs[0], &m[0], err);
    if (status == LAY_OK) status = measure(other, &jobs[1], &m[1], err);
    if (status == LAY_OK) status = lay_compare(&m[0], &m[1], LAY_MATCH_NONE, &x, err);
    lay_comparison_free(&x);
    for (int k = 0; k < 2; k++) {
        lay_measured_free(&m[k]);
        lay_job_free(&jobs[k]);
    }
    return status;
}

/* Three units that are one and the same, and that one against them; measured beforehand, with memory. */
static lay_job known_job;
static lay_measured known;

static lay_status accept(lay_error *err) {
    static const char *const names[] = {"a", "b", "c"};
    lay_baseline *b = lay_baseline_new(), *again = NULL;
    lay_limits limits = {0};
    lay_verification v = {0};
    lay_text text = {0};
    lay_status status = b ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (int k = 0; k < 3 && status == LAY_OK; k++) status = lay_baseline_add(b, &known, names[k], err);
    if (status == LAY_OK && (status = lay_report_baseline_file(b, &text)) != LAY_OK) lay_fail(err, status, "file");
    if (status == LAY_OK) status = lay_report_baseline_parse(text.text, text.length, "b.json", &again, err);
    if (status == LAY_OK) status = lay_limits_find(again, &limits, err);
    if (status == LAY_OK) status = lay_verify(again, &known, &v, err);
    lay_verification_free(&v);
    lay_limits_free(&limits);
    lay_text_free(&text);
    lay_baseline_free(again);
    lay_baseline_free(b);
    return status;
}

/* ---- refusing ---- */

typedef lay_status (*road)(lay_error *err);

static void refuse_one(road way, long at) {
    lay_error err = {0};
    left = at;
    refused = false;
    armed = true;
    lay_status status = way(&err);
    armed = false;
    left = -1;
    assert_true(refused);
    if (status != LAY_OK && status != LAY_NO_MEMORY) fail_msg("allocation %ld: status %d, %s", at, status, err.message);
    if (status == LAY_NO_MEMORY) assert_true(err.message[0] != 0);
}

static void refuse_along(road way) {
    lay_error err = {0};
    asked = 0;
    armed = true;
    assert_int_equal(way(&err), LAY_OK);
    armed = false;
    long all = asked;
    const char *wish = getenv("LAYSHAFT_STARVED");
    bool each = wish && strcmp(wish, "all") == 0;
    long step = each || all < FIRST + SOME ? 1 : (all - FIRST) / SOME;
    for (long at = 0; at < all; at += at < FIRST ? 1 : step) refuse_one(way, at);
    print_message("%ld allocations\n", all);
}

static void test_diagnose(void **state) {
    (void)state;
    refuse_along(diagnose);
}

static void test_compare(void **state) {
    (void)state;
    refuse_along(compare);
}

static void test_baseline_and_verify(void **state) {
    (void)state;
    lay_error err = {0};
    if (measure(folder, &known_job, &known, &err) != LAY_OK) fail_msg("%s", err.message);
    refuse_along(accept);
    lay_measured_free(&known);
    lay_job_free(&known_job);
}

/* ---- the jobs ---- */

static void make_job(const char *path, uint64_t occasion) {
    lay_sim_options sim = {
        .seed = 3, .occasion = occasion, .world = LAY_WORLD_STAND, .tach = true, .rate = 8000, .seconds = 4};
    lay_error err = {0};
    if (lay_sim_job(path, NULL, &sim, NULL, NULL, &err) != LAY_OK) fail_msg("%s", err.message);
}

static int setup(void **state) {
    scratch_setup(state);
    folder = scratch_path("one");
    other = scratch_path("two");
    make_job(folder, 0);
    make_job(other, 1);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_diagnose),
        cmocka_unit_test(test_compare),
        cmocka_unit_test(test_baseline_and_verify),
    };
    return cmocka_run_group_tests(tests, setup, scratch_teardown);
}
