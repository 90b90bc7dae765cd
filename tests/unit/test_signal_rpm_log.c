/* Rpm logs: headings, units and times in every usual wording, and logs that must not be believed. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <stdlib.h>
#include <string.h>

static lay_text warnings;

static lay_rpm_log read_good(const char *text) {
    lay_rpm_log log;
    lay_error err = {0};
    lay_text_free(&warnings);
    warnings = (lay_text){0};
    if (lay_rpm_log_load(scratch_text("log.csv", text), &log, &warnings, &err) != LAY_OK)
        fail_msg("%d:%d: %s\n%s", err.line, err.column, err.message, text);
    return log;
}

static void expect_warning(const char *words) {
    if (words == NULL ? warnings.length > 0 : warnings.text == NULL || strstr(warnings.text, words) == NULL)
        fail_msg("wanted the warning '%s', got '%s'", words ? words : "none", warnings.text ? warnings.text : "none");
}

static void refuse(const char *text, int line, const char *words) {
    lay_rpm_log log;
    lay_error err = {0};
    const char *path = scratch_text("log.csv", text);
    lay_status status = lay_rpm_log_load(path, &log, NULL, &err);
    assert_null(log.time);
    assert_int_equal(log.count, 0);
    if (status != LAY_BAD_INPUT || err.line != line || strstr(err.message, words) == NULL ||
        strcmp(err.file, path) != 0)
        fail_msg("wanted line %d '%s', got status %d, %s:%d: '%s'\n%s", line, words, (int)status, err.file, err.line,
                 err.message, text);
}

/* `row` with its T and V replaced by numbers. */
static void add_row(lay_text *text, const char *row, double t, double v) {
    for (; *row != 0; row++) {
        if (*row == 'T' || *row == 'V')
            lay_text_add(text, "%.15g", *row == 'T' ? t : v);
        else
            lay_text_add(text, "%c", *row);
    }
    lay_text_add(text, "\n");
}

/* Each line of headings with rows of 0, 0.1, 0.2 s and 1200, 1300, 1400 rpm in its own units and columns. */
static void headings(void **state) {
    (void)state;
    static const struct {
        const char *head, *row;
        double time_factor, speed_factor;
    } cases[] = {
        {"time,rpm", "T,V", 1, 1},
        {"Time (s),Engine RPM", "T,V", 1, 1},
        {"RPM;Time", "V;T", 1, 1},
        {"timestamp\tload %\tEngine speed (1/min)", "T\t55\tV", 1, 1},
        {"Elapsed ms,n [rpm]", "T,V", 1e3, 1},
        {"time_ms,engine_rpm", "T,V", 1e3, 1},
        {"\"Device Time\",\"Vehicle speed (km/h)\",\"Engine RPM(rpm)\"", "T,61.5,V", 1, 1},
        {"t,n", "T,V", 1, 1},
        {"seconds,revs per minute", "T,V", 1, 1},
        {"Elapsed time [sec],Target rpm,Max rpm,Engine RPM (SAE)", "T,1,2,V", 1, 1},
        {"Time,Output shaft rpm,Input shaft rpm", "T,3,V", 1, 1},
        {"Time,Wheel speed [rpm],Engine speed [rpm]", "T,3,V", 1, 1},
        {"time [\xC2\xB5s],crankshaft speed [min-1]", "T,V", 1e6, 1},
        {"GPS Time,Time,Coil charge time (ms),RPM", "x,T,3,V", 1, 1},
        {"Time,Shaft speed [Hz]", "T,V", 1, 1.0 / 60},
        {"Time,RPM (Hz)", "T,V", 1, 1.0 / 60},
        {"Time,rotational speed (rev/s)", "T,V", 1, 1.0 / 60},
        {"Time,angular velocity [rad/s]", "T,V", 1, 2 * LAY_PI / 60},
        {"Time,rpm x1000", "T,V", 1, 1e-3},
        {"Time,RPM (x1000)", "T,V", 1, 1e-3},
        {"Time,Tach", "T,V", 1, 1},
        {"# Time, RPM", "T,V", 1, 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lay_text text = {0};
        lay_text_add(&text, "%s\n", cases[i].head);
        for (int k = 0; k < 3; k++)
            add_row(&text, cases[i].row, 0.1 * k * cases[i].time_factor, (1200 + 100 * k) * cases[i].speed_factor);
        lay_rpm_log log = read_good(text.text);
        assert_int_equal(log.count, 3);
        for (int k = 0; k < 3; k++) {
            assert_close(log.time[k], 0.1 * k, 1e-9, 0);
            assert_close(log.rpm[k], 1200 + 100 * k, 1e-6, 0);
        }
        assert_close(log.step_s, 0.1, 1e-9, 0);
        expect_warning(NULL);
        lay_rpm_log_free(&log);
        lay_text_free(&text);
    }
}

static void expect_times(const char *text, const double *times, size_t count) {
    lay_rpm_log log = read_good(text);
    assert_int_equal(log.count, count);
    for (size_t i = 0; i < count; i++) assert_close(log.time[i], times[i], 1e-6, 0);
    lay_rpm_log_free(&log);
}

static void ways_to_write_time(void **state) {
    (void)state;
    static const double half[] = {0, 0.5, 1.25};
    expect_times("Time,RPM\n10:20:30,800\n10:20:30.5,820\n10:20:31.25,840\n", half, 3);
    expect_times("Time;RPM\n10:20:30;800\n10:20:30,5;820\n10:20:31,25;840\n", half, 3);
    expect_times("Time (hh:mm:ss.sss),RPM\n0:00:00,800\n0:00:00.500,820\n00:00:01.250,840\n", half, 3);
    expect_times("Time,RPM\n09:59.75,800\n10:00.25,820\n10:01.0,840\n", half, 3);
    expect_times("Time,RPM\n2026-11-25T10:20:30Z,800\n2026-11-25T10:20:30.5Z,820\n2026-11-25T11:20:31.25+01:00,840\n",
                 half, 3);
    expect_times("Time;RPM\n2026-11-25 10:20:30;800\n2026-11-25 10:20:30,5;820\n2026-11-25 10:20:31,25;840\n", half, 3);
    expect_times("Time,RPM\n25.11.2026 11:59:59 PM,800\n25.11.2026 11:59:59.5 PM,820\n26.11.2026 12:00:00.25 AM,840\n",
                 half, 3);
    expect_times("Time,RPM\n23:59:59.0,800\n23:59:59.5,820\n00:00:00.25,840\n", half, 3); /* over midnight */
    static const double day[] = {0, 1, 2};
    /* 2028 is a leap year, 2100 is none */
    expect_times("Time,RPM\n2028-02-29 23:59:59,800\n2028-03-01 00:00:00,820\n2028-03-01 00:00:01,840\n", day, 3);
    expect_times("Time,RPM\n2100-02-28 23:59:59,800\n2100-03-01 00:00:00,820\n2100-03-01 00:00:01,840\n", day, 3);
    expect_times("time [s],rpm\n-1,800\n0,820\n1,840\n", day, 3);
}

static void units_guessed_are_said(void **state) {
    (void)state;
    static const double half[] = {0, 0.5, 1};
    expect_times("time,rpm\n1763900000000,800\n1763900000500,820\n1763900001000,840\n", half, 3);
    expect_warning("taken as milliseconds");
    expect_times("time,rpm\n0,800\n500000,820\n1000000,840\n", half, 3);
    expect_warning("taken as microseconds");
    lay_rpm_log log = read_good("Time,Wheel RPM\n0,800\n1,810\n");
    expect_warning("names another body");
    lay_rpm_log_free(&log);
}

static void lines_around_and_empty_cells(void **state) {
    (void)state;
    lay_rpm_log log = read_good("\xEF\xBB\xBFLog of a road test\r\nVehicle;none\r\nRate;10\r\n\r\n"
                                "Time;Throttle;Engine RPM;\r\n[s];[%];[1/min];\r\n"
                                "0,0;12;;\r\n0,1;12;812,5;\r\n0,2;;-;\r\n0,3;;N/A;\r\n# mark\r\n;;;\r\n"
                                "0,4;12;850;\r\n0,5;12;16383,75;\r\n0,6;12;nan;\r\n0,7\r\n0,9;12;900;\r\n");
    expect_warning(NULL);
    assert_int_equal(log.count, 3);
    assert_close(log.rpm[0], 812.5, 0, 0);
    assert_close(log.time[1], 0.3, 1e-9, 0);
    assert_close(log.time[2], 0.8, 1e-9, 0);
    assert_close(log.rpm[2], 900, 0, 0);
    lay_rpm_log_free(&log);
    log = read_good("Time,RPM\nms,1/s\n0,20\n500,25\n"); /* units in a line of their own */
    assert_close(log.rpm[1], 1500, 0, 1e-12);
    assert_close(log.time[1], 0.5, 0, 1e-12);
    lay_rpm_log_free(&log);
}

static void slips_are_left_out_and_said(void **state) {
    (void)state;
    lay_rpm_log log = read_good("time,rpm\n0,800\n0.5,810\n0.2,9\n1,820\n1,840\n1,860\n1.5,-3\n2,1e9\n2.5,0\n3,900\n");
    assert_int_equal(log.count, 4);
    assert_close(log.rpm[2], 840, 1e-9, 0); /* three readings at 1 s */
    assert_close(log.rpm[3], 900, 0, 0);
    expect_warning("line 4: 1 row go");
    expect_warning("line 6: 2 rows repeat");
    expect_warning("line 8: 2 rows hold no possible speed");
    expect_warning("1 single readings of 0");
    lay_rpm_log_free(&log);
    lay_rpm_log_free(&log);
    lay_rpm_log_free(NULL);
}

static void logs_that_tell_nothing(void **state) {
    (void)state;
    refuse("", 0, "is empty");
    refuse("\n# note\n\n", 0, "is empty");
    refuse("time,rpm\n", 1, "no readings");
    refuse("time,rpm\n1,800\n", 1, "one and the same time");
    refuse("time,rpm\n1,800\n1,900\n", 1, "one and the same time");
    refuse("time,rpm\n0,0\n1,0\n2,0\n", 1, "stands still");
    refuse("0,800\n1,810\n", 1, "no headings");
    refuse("10:20:30,800\n10:20:31,810\n", 1, "no headings");
    refuse("My log\nTime,Coolant,Load\n0,80,3\n", 2, "no column of rpm among the headings 'Time', 'Coolant', 'Load'");
    refuse("Stamp,RPM\n0,800\n", 1, "no column of time among the headings 'Stamp', 'RPM'");
    refuse("Time,Target RPM,Vehicle speed\n0,800,3\n", 1, "no column of rpm");
    refuse("time,rpm\n0,many\n", 2, "not a number");
    refuse("time,rpm\nsoon,800\n", 2, "not a time");
    refuse("time,rpm\n0,800\n10:20:30,900\n", 3, "another way");
    refuse("time,rpm\n0,05,812\n0,10,830\n", 2, "separated by semicolons");
}

static void wrong_units(void **state) {
    (void)state;
    refuse("time,rpm\n0,20.5\n1,25\n2,53.4\n", 1, "turns per second");
    refuse("time,speed of the engine in rpm\n0,0.8\n1,2.5\n2,3.1\n", 1, "thousands of rpm");
    refuse("time,speed [Hz]\n0,800\n1,1500\n", 1, "probably are rpm already");
    refuse("time [s],rpm\n0,800\n50,1500\n100,1600\n", 1, "correct the unit of time");
    refuse("time [ms],rpm\n0,800\n0.1,1500\n0.2,1600\n", 1, "correct the unit of time");
    refuse("time,rpm\n0,800\n1,900\n2,950\n1e300,1500\n", 1, "would last");
}

static void reversed_and_absurd(void **state) {
    (void)state;
    lay_text reversed = {0}, negative = {0};
    lay_text_add(&reversed, "time,rpm\n");
    lay_text_add(&negative, "time,rpm\n0,900\n");
    for (int i = 0; i < 50; i++) {
        lay_text_add(&reversed, "%g,%d\n", 10 - 0.1 * i, 800 + i);
        lay_text_add(&negative, "%g,%d\n", 0.1 + 0.1 * i, -800 - i);
    }
    refuse(reversed.text, 3, "times go back here and in 49 of 50 rows");
    refuse(negative.text, 3, "no speed a shaft can have, and 50 of 51");
    lay_text_free(&reversed);
    lay_text_free(&negative);
}

/* Whole seconds at ten readings a second, as many scan tools write: one reading per second remains. */
static void whole_seconds(void **state) {
    (void)state;
    lay_text text = {0};
    lay_text_add(&text, "Time,RPM\n");
    for (int i = 0; i < 100; i++) lay_text_add(&text, "10:00:%02d,%d\n", i / 10, 1000 + i);
    lay_rpm_log log = read_good(text.text);
    assert_int_equal(log.count, 10);
    assert_close(log.rpm[3], 1034.5, 1e-9, 0);
    expect_warning("90 rows repeat");
    lay_rpm_log_free(&log);
    lay_text_free(&text);
}

static void missing_file(void **state) {
    (void)state;
    lay_rpm_log log;
    lay_error err = {0};
    assert_int_equal(lay_rpm_log_load("/nonexistent/log.csv", &log, NULL, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "no such file"));
    assert_null(log.time);
}

static int close_folder(void **state) {
    (void)state;
    lay_text_free(&warnings);
    scratch_close();
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(headings),
        cmocka_unit_test(ways_to_write_time),
        cmocka_unit_test(units_guessed_are_said),
        cmocka_unit_test(lines_around_and_empty_cells),
        cmocka_unit_test(slips_are_left_out_and_said),
        cmocka_unit_test(logs_that_tell_nothing),
        cmocka_unit_test(wrong_units),
        cmocka_unit_test(reversed_and_absurd),
        cmocka_unit_test(whole_seconds),
        cmocka_unit_test(missing_file),
    };
    return cmocka_run_group_tests(tests, scratch_setup, close_folder);
}
