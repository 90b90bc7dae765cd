/* Bearing records of others with known truth (origins in the README beside the data): which element the verdict names.
 * The published grades are those of Smith and Randall, Mech. Syst. Signal Process. 64-65 (2015) 100-131, table B2. */
#include "support/open_record.h"

#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <stdio.h>
#include <string.h>

#define RECORDS_MAX 256

/* Diagnose every record that `wanted` picks, and fail at the end, so that all that is wrong is seen at once. */
static size_t check(bool (*wanted)(const open_record *)) {
    static open_record records[RECORDS_MAX];
    size_t count = 0, seen = 0, wrong = 0;
    lay_error err = {0};
    if (open_records_load(records, RECORDS_MAX, &count, &err) != LAY_OK) fail_msg("%s", err.message);
    for (size_t i = 0; i < count; i++) {
        const open_record *record = &records[i];
        open_answer answer;
        if (!wanted(record)) continue;
        const char *folder = scratch_path(record->file);
        if (open_record_diagnose(record, folder, &answer, &err) != LAY_OK)
            fail_msg("%s: %s", record->file, err.message);
        const lay_verdict *verdict = &answer.diagnosis.verdict;
        open_mark mark = open_record_mark(record, verdict);
        bool named = verdict->suspect_count > 0;
        if (mark != OPEN_RIGHT) {
            print_error("%s (%s): %s: %s, %s\n", record->file, open_truth_name(record->truth), open_mark_name(mark),
                        lay_outcome_name(verdict->outcome),
                        named ? lay_kind_name(verdict->suspects[0].kind) : "nobody");
            wrong++;
        }
        open_answer_free(&answer);
        open_job_remove(folder);
        seen++;
    }
    if (wrong > 0) fail_msg("%zu of %zu records are judged wrongly", wrong, seen);
    return seen;
}

static bool is_sound(const open_record *record) {
    return record->truth == OPEN_SOUND;
}

static void clear_faults_are_named(void **state) {
    (void)state;
    assert_int_equal(check(open_record_is_clear), 23);
}

static void sound_bearings_accuse_nothing(void **state) {
    (void)state;
    assert_int_equal(check(is_sound), 15);
}

int main(void) {
    if (!open_data_present()) {
        printf("skipped: open data not present\n");
        return 77;
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clear_faults_are_named),
        cmocka_unit_test(sound_bearings_accuse_nothing),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
