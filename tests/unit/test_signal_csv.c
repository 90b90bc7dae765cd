/* Sample CSV: separators, decimal commas, time columns, and the place of every mistake. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static lay_recording *open_text(const char *text, double rate) {
    lay_recording *rec = NULL;
    lay_error err = {0};
    if (lay_recording_open(scratch_text("samples.csv", text), rate, &rec, &err) != LAY_OK)
        fail_msg("%s (line %d)", err.message, err.line);
    return rec;
}

static lay_error refuse_text(const char *text, double rate) {
    lay_recording *rec = NULL;
    lay_error err = {0};
    assert_int_equal(lay_recording_open(scratch_text("samples.csv", text), rate, &rec, &err), LAY_BAD_INPUT);
    assert_null(rec);
    return err;
}

static void check_rows(lay_recording *rec, double rate, int channels, const double *values, size_t rows) {
    double x[64];
    size_t got;
    const lay_recording_info *info = lay_recording_get_info(rec);
    assert_close(info->rate, rate, 0, 1e-12);
    assert_int_equal(info->channels, channels);
    assert_int_equal(info->frames, rows);
    for (int pass = 0; pass < 2; pass++) {
        assert_int_equal(lay_recording_read(rec, x, 20, &got, NULL), LAY_OK);
        assert_int_equal(got, rows);
        for (size_t i = 0; i < rows * (size_t)channels; i++) assert_close(x[i], values[i], 0, 0);
        assert_int_equal(lay_recording_rewind(rec, NULL), LAY_OK);
    }
    lay_recording_close(rec);
}

static void separators_and_headers(void **state) {
    (void)state;
    const double values[] = {1.5, -2, 2.5, -3, 3.5e-3, -4};
    static const char *const texts[] = {
        "time,a,b\n0,1.5,-2\n0.001,2.5,-3\n0.002,3.5e-3,-4\n",
        "t;a;b\r\n0;1,5;-2\r\n0,001;2,5;-3\r\n0,002;3,5e-3;-4",
        "seconds\ta\tb\n0\t1.5\t-2\n.001\t2.5\t-3\n.002\t.0035\t-4\n\n",
        "time_s a b\n  0   1.5 -2\n0.001 2.5  -3\n0.002 3.5E-3 -4  \n",
        "\xEF\xBB\xBF# bench 2\n\n\"time [s]\",\"a [m/s2]\",b\n\"0\",\"1.5\",-2\n0.001,2.5,-3\n#\n0.002,+0.35e-2,-4\n",
        "Time [ms],a,b\n0,1.5,-2\n1,2.5,-3\n2,3.5e-3,-4\n",
        "a,T (us),b\n1.5,0,-2\n2.5,1000,-3\n3.5e-3,2000,-4\n",
        "time,a,b,\n0,1.5,-2,\n0.001,2.5,-3,\n0.002,3.5e-3,-4,\n",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) check_rows(open_text(texts[i], 0), 1000, 2, values, 3);
}

static void rate_from_outside(void **state) {
    (void)state;
    const double values[] = {5, 4, 6, 2, 8, 1};
    check_rows(open_text("5,4\n6,2\n8,1\n", 25600), 25600, 2, values, 3);
    check_rows(open_text("left right\n5 4\n6 2\n8 1\n", 48000), 48000, 2, values, 3);
    assert_non_null(strstr(refuse_text("5,4\n6,2\n8,1\n", 0).message, "per second"));
}

/* An unnamed first column that rises evenly is time below a step of 1, else a count of samples. */
static void unnamed_first_column(void **state) {
    (void)state;
    const double values[] = {3, 1, 4, 1, 5, 9, 2, 6};
    check_rows(open_text("0,3\n.01,1\n.02,4\n.03,1\n.04,5\n.05,9\n.06,2\n.07,6\n", 0), 100, 1, values, 8);
    check_rows(open_text("1,3\n2,1\n3,4\n4,1\n5,5\n6,9\n7,2\n8,6\n", 8000), 8000, 1, values, 8);
    assert_non_null(strstr(refuse_text("1,3\n2,1\n3,4\n4,1\n5,5\n6,9\n7,2\n8,6\n", 0).message, "per second"));
}

/* Times at 48 kHz printed with six decimals step by 20 or 21 us: the rate is still exact. */
static void rounded_times(void **state) {
    (void)state;
    FILE *file = fopen(scratch_path("long.csv"), "w");
    fprintf(file, "time,x\n");
    for (int i = 0; i < 5000; i++) fprintf(file, "%.6f,%d\n", i / 48000.0, i % 7);
    fclose(file);
    lay_recording *rec = NULL;
    lay_error err = {0};
    assert_int_equal(lay_recording_open(scratch_path("long.csv"), 0, &rec, &err), LAY_OK);
    assert_close(lay_recording_get_info(rec)->rate, 48000, 0, 0);
    lay_recording_close(rec);
}

static void uneven_times(void **state) {
    (void)state;
    lay_error err = refuse_text("time,x\n0,1\n0.0010000,2\n0.0020000,3\n0.0030000,4\n0.0050000,5\n0.0060000,6\n", 0);
    assert_int_equal(err.line, 6);
    assert_non_null(strstr(err.message, "missing"));
    err = refuse_text("time,x\n0,1\n0.0010000,2\n0.0020300,3\n0.0030000,4\n", 0); /* 3 % late */
    assert_int_equal(err.line, 4);
    err = refuse_text("0,1\n.01,1\n.02,1\n.03,1\n.04,5\n.06,9\n.07,2\n.08,6\n.09,6\n", 0); /* no header */
    assert_int_equal(err.line, 6);
    assert_non_null(strstr(refuse_text("time,x\n0,1\n0,2\n", 0).message, "does not rise"));
    assert_int_equal(refuse_text("time,x\n0,1\n1e-3,2\n1e-3,3\n", 0).line, 4);
    assert_int_equal(refuse_text("time,x\n0,1\n1e-3,2\nnan,3\n", 0).line, 4);
    lay_recording_close(open_text("time,x\n0,1\n0.0010000,2\n0.0020050,3\n0.0030000,4\n", 0)); /* 0.5 % late */
}

static void places_of_mistakes(void **state) {
    (void)state;
    lay_error err = refuse_text("time,x\n0,1\n0.001,1.2.3\n", 0);
    assert_int_equal(err.line, 3);
    assert_int_equal(err.column, 7);
    assert_int_equal(err.span, 5);
    assert_string_equal(err.excerpt, "0.001,1.2.3");
    assert_non_null(strstr(err.file, "samples.csv"));
    err = refuse_text("time,x\n0,1\n0.001\n", 0);
    assert_int_equal(err.line, 3);
    assert_non_null(strstr(err.message, "columns"));
    assert_int_equal(refuse_text("time,x\n0,1\n0.001,2,3\n", 0).line, 3);
    assert_int_equal(refuse_text("time,x\n0,1\n0.001,\n", 0).column, 7);
    assert_non_null(strstr(refuse_text("time,x\n", 0).message, "no samples"));
    assert_non_null(strstr(refuse_text("time\n0\n0.1\n0.2\n", 0).message, "no samples beside"));
    assert_non_null(strstr(refuse_text("time,t\n0,1\n1,2\n", 0).message, "second column"));
}

static void missing_numbers_are_delivered(void **state) {
    (void)state;
    lay_recording *rec = open_text("time,x\n0,nan\n0.001,-INF\n0.002,NaN\n", 0);
    double x[3];
    size_t got;
    assert_int_equal(lay_recording_read(rec, x, 3, &got, NULL), LAY_OK);
    assert_true(isnan(x[0]) && isinf(x[1]) && x[1] < 0 && isnan(x[2]));
    lay_recording_close(rec);
}

/* Numbers read as the C library reads them, to the last bit. */
static void numbers_to_the_last_bit(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 11);
    for (int round = 0; round < 200; round++) {
        char text[2000];
        double values[20], x[20];
        size_t at = 0, got;
        for (int i = 0; i < 20; i++) {
            char number[64];
            int digits = lay_random_int(&r, 1, 18);
            snprintf(number, sizeof number, "%.*g", digits,
                     lay_random_normal(&r) * pow(10, lay_random_int(&r, -30, 30)));
            values[i] = strtod(number, NULL);
            at += (size_t)snprintf(text + at, sizeof text - at, "%s\n", number);
        }
        lay_recording *rec = open_text(text, 1);
        assert_int_equal(lay_recording_read(rec, x, 20, &got, NULL), LAY_OK);
        assert_int_equal(got, 20);
        for (int i = 0; i < 20; i++) assert_close(x[i], values[i], 0, 0);
        lay_recording_close(rec);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(separators_and_headers),
        cmocka_unit_test(rate_from_outside),
        cmocka_unit_test(unnamed_first_column),
        cmocka_unit_test(rounded_times),
        cmocka_unit_test(uneven_times),
        cmocka_unit_test(places_of_mistakes),
        cmocka_unit_test(missing_numbers_are_delivered),
        cmocka_unit_test(numbers_to_the_last_bit),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
