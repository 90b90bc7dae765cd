/* The table of runs: columns in any order, defaults, units, and rows that contradict themselves. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static lay_run_table table;

static const lay_run_spec *read_good(const char *text, size_t rows) {
    lay_error err = {0};
    lay_run_table_free(&table);
    if (lay_run_table_parse(text, strlen(text), "jobs/one/runs.csv", &table, &err) != LAY_OK)
        fail_msg("%d:%d: %s", err.line, err.column, err.message);
    assert_int_equal(table.count, rows);
    return table.runs;
}

static lay_error refuse(const char *text) {
    lay_error err = {0};
    lay_run_table_free(&table);
    assert_int_equal(lay_run_table_parse(text, strlen(text), "runs.csv", &table, &err), LAY_BAD_INPUT);
    assert_null(table.runs);
    assert_int_equal(table.count, 0);
    return err;
}

static void all_columns(void **state) {
    (void)state;
    const lay_run_spec *run = read_good(
        "Notes,unit,FULL_SCALE,sensor,channel,rpm_log,tach_on,pulses_per_rev,tach channel,rpm,load,gear,file,rate\n"
        "\"cold, first\",g,50,accel,1+3,logs/a.csv,countershaft,60,2,1200-3200,Drive,3,rec/a.wav,\n",
        1);
    assert_string_equal(run->file, "rec/a.wav");
    assert_string_equal(run->path, "jobs/one/rec/a.wav");
    assert_string_equal(run->gear, "3");
    assert_int_equal(run->load, LAY_LOAD_DRIVE);
    assert_close(run->rpm_low, 1200, 0, 0);
    assert_close(run->rpm_high, 3200, 0, 0);
    assert_int_equal(run->tach_channel, 2);
    assert_close(run->pulses_per_rev, 60, 0, 0);
    assert_string_equal(run->tach_on, "countershaft");
    assert_string_equal(run->rpm_log, "jobs/one/logs/a.csv");
    assert_int_equal(run->channel_count, 2);
    assert_int_equal(run->channels[0], 1);
    assert_int_equal(run->channels[1], 3);
    assert_int_equal(run->sensor, LAY_SENSOR_ACCEL);
    assert_close(run->full_scale, 490.3325, 1e-9, 0); /* 50 x 9.80665, ISO 80000-3 */
    assert_int_equal(run->quantity, LAY_ACCELERATION);
    assert_string_equal(run->notes, "Notes=cold, first");
    assert_int_equal(run->line, 2);
}

static void defaults(void **state) {
    (void)state;
    const lay_run_spec *run = read_good("file\n/tmp/a.wav\n", 1);
    lay_run_spec alone;
    assert_string_equal(run->path, "/tmp/a.wav");
    assert_int_equal(lay_run_spec_default("/tmp/a.wav", &alone, NULL), LAY_OK);
    const lay_run_spec *both[] = {run, &alone};
    for (int i = 0; i < 2; i++) {
        assert_string_equal(both[i]->file, "/tmp/a.wav");
        assert_string_equal(both[i]->gear, "");
        assert_string_equal(both[i]->tach_on, "");
        assert_string_equal(both[i]->rpm_log, "");
        assert_string_equal(both[i]->notes, "");
        assert_int_equal(both[i]->load, LAY_LOAD_UNKNOWN);
        assert_int_equal(both[i]->sensor, LAY_SENSOR_UNKNOWN);
        assert_int_equal(both[i]->quantity, LAY_FULL_SCALE);
        assert_int_equal(both[i]->tach_channel, 0);
        assert_int_equal(both[i]->channel_count, 0);
        assert_close(both[i]->rpm_low, 0, 0, 0);
        assert_close(both[i]->rpm_high, 0, 0, 0);
        assert_close(both[i]->pulses_per_rev, 1, 0, 0);
        assert_close(both[i]->full_scale, 1, 0, 0);
        assert_close(both[i]->csv_rate, 0, 0, 0);
        assert_close(both[i]->road_speed_ms, 0, 0, 0);
    }
    lay_run_spec_free(&alone);
    lay_run_spec_free(&alone);
    lay_run_spec_free(NULL);
}

static void separators_notes_and_line_ends(void **state) {
    (void)state;
    static const char *const texts[] = {
        "file,gear,load,rpm\na.wav,2,coast,2110.5\nb.wav,R,,\n",
        "\xEF\xBB\xBF# bench\r\n\r\nfile;gear;load;rpm\r\na.wav;2;coast;2110,5\r\n\r\n# pause\r\n;;;\r\nb.wav;R\r\n",
        "file\tgear\tload\trpm\na.wav\t2\tcoast\t2110,5\nb.wav\tR\t\t",
        "\"file\" , \"gear\" ,load,rpm\r \"a.wav\" , 2 ,COAST, 2110.5 \rb.wav,R,\r",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        const lay_run_spec *run = read_good(texts[i], 2);
        assert_string_equal(run[0].file, "a.wav");
        assert_string_equal(run[0].gear, "2");
        assert_int_equal(run[0].load, LAY_LOAD_COAST);
        assert_close(run[0].rpm_low, 2110.5, 0, 0);
        assert_close(run[0].rpm_high, 2110.5, 0, 0);
        assert_string_equal(run[1].gear, "R");
        assert_close(run[1].rpm_low, 0, 0, 0);
    }
}

/* RFC 4180: quotation marks double, fields may hold separators and line ends; the next row's line still counts. */
static void quoting(void **state) {
    (void)state;
    const lay_run_spec *run =
        read_good("file,remark,load\n\"a \"\"1\"\", hot.wav\",\"two\nlines\",none\nb.wav,,steady\n", 2);
    assert_string_equal(run[0].file, "a \"1\", hot.wav");
    assert_string_equal(run[0].notes, "remark=two\nlines");
    assert_int_equal(run[0].load, LAY_LOAD_NONE);
    assert_int_equal(run[1].line, 4);
    assert_int_equal(refuse("file,remark,load\n\"a.wav\",\"two\nlines\",nope\n").line, 3);
}

static void units(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double full_scale;
        lay_quantity quantity;
        lay_sensor sensor;
    } cases[] = {{"490.3,m/s2", 490.3, LAY_ACCELERATION, LAY_SENSOR_ACCEL},
                 {"490.3,m/s^2", 490.3, LAY_ACCELERATION, LAY_SENSOR_ACCEL},
                 {"490.3,m/s\xC2\xB2", 490.3, LAY_ACCELERATION, LAY_SENSOR_ACCEL},
                 {"5000,mm/s2", 5, LAY_ACCELERATION, LAY_SENSOR_ACCEL},
                 {"2,G", 19.6133, LAY_ACCELERATION, LAY_SENSOR_ACCEL},
                 {"63.2,pa", 63.2, LAY_PRESSURE, LAY_SENSOR_MIC},
                 {",", 1, LAY_FULL_SCALE, LAY_SENSOR_UNKNOWN}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[80] = "file,full_scale,unit\na.wav,";
        const lay_run_spec *run = read_good(strcat(text, cases[i].text), 1);
        assert_close(run->full_scale, cases[i].full_scale, 0, 1e-12);
        assert_int_equal(run->quantity, cases[i].quantity);
        assert_int_equal(run->sensor, cases[i].sensor);
    }
}

/* One full scale for each channel; the first is the run's own. */
static void full_scale_of_each_channel(void **state) {
    (void)state;
    const lay_run_spec *run = read_good("file,channel,full_scale,unit\na.wav,1+3,490.3+980.6,m/s2\n", 1);
    assert_close(run->full_scale, 490.3, 1e-12, 0);
    assert_int_equal(run->gain_count, 2);
    assert_close(run->gains[0], 1, 0, 0);
    assert_close(run->gains[1], 2, 1e-12, 0);
    run = read_good("file,full_scale,unit\na.wav,+4.9e+2,m/s2\n", 1);
    assert_close(run->full_scale, 490, 1e-12, 0);
    assert_int_equal(run->gain_count, 0);
    run = read_good("file,full_scale,unit\na.wav,1e+1+2E+1,g\n", 1);
    assert_close(run->full_scale, 98.0665, 1e-9, 0);
    assert_close(run->gains[1], 2, 1e-12, 0);
    assert_non_null(strstr(refuse("file,full_scale,unit\na.wav,490+,g\n").message, "one for each channel"));
    assert_non_null(strstr(refuse("file,full_scale,unit\na.wav,490+x,g\n").message, "one for each channel"));
    assert_non_null(
        strstr(refuse("file,channel,full_scale,unit\na.wav,1+2,1+2+3,g\n").message, "one for each of the channels"));
}

static void ranges(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double low, high;
    } cases[] = {{"900", 900, 900},
                 {"1200-3200", 1200, 3200},
                 {"3200 - 1200", 1200, 3200},
                 {"1e3", 1000, 1000},
                 {"1200\xE2\x80\x93"
                  "3200.5",
                  1200, 3200.5}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[80] = "file,rpm\na.wav,";
        const lay_run_spec *run = read_good(strcat(text, cases[i].text), 1);
        assert_close(run->rpm_low, cases[i].low, 0, 0);
        assert_close(run->rpm_high, cases[i].high, 0, 0);
    }
}

static void words(void **state) {
    (void)state;
    for (int i = 0; i < LAY_LOAD_COUNT; i++) {
        lay_load load = LAY_LOAD_COUNT;
        assert_true(lay_load_parse(lay_load_name((lay_load)i), &load));
        assert_int_equal(load, i);
    }
    lay_load load;
    assert_false(lay_load_parse("pull", &load));
    assert_string_equal(lay_load_name((lay_load)99), "");
    assert_int_equal(read_good("file,sensor\na.wav,Microphone\n", 1)->sensor, LAY_SENSOR_MIC);
}

/* 1 km/h = 1000 m / 3600 s; the international mile is 1609.344 m. */
static void road_speeds(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double ms;
    } cases[] = {{"62 km/h", 62 / 3.6},
                 {"62km/h", 62 / 3.6},
                 {"62 KMH", 62 / 3.6},
                 {"62 kph", 62 / 3.6},
                 {"17.2 m/s", 17.2},
                 {"17.2  m/s ", 17.2},
                 {"38 mph", 38 * 1609.344 / 3600},
                 {"", 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[80];
        snprintf(text, sizeof text, "file,road_speed\na.wav,%s\n", cases[i].text);
        assert_close(read_good(text, 1)->road_speed_ms, cases[i].ms, 1e-12, 0);
    }
    assert_close(read_good("file;Road Speed\na.wav;62,5 km/h\n", 1)->road_speed_ms, 62.5 / 3.6, 1e-12, 0);
}

static void slips_and_notes_among_columns(void **state) {
    (void)state;
    lay_error err = refuse("file,tach_chanel\na.wav,2\n");
    assert_non_null(strstr(err.message, "did you mean 'tach_channel'"));
    assert_int_equal(err.line, 1);
    assert_int_equal(err.column, 6);
    assert_int_equal(err.span, 11);
    assert_string_equal(err.excerpt, "file,tach_chanel");
    static const char *const slips[] = {"laod",         "gaer",   "rpms",    "fulscale",
                                        "puls_per_rev", "chanel", "sensors", "units"};
    for (size_t i = 0; i < sizeof slips / sizeof slips[0]; i++) {
        char text[80] = "file,";
        err = refuse(strcat(strcat(text, slips[i]), "\na.wav,1\n"));
        if (strstr(err.message, "did you mean") == NULL) fail_msg("%s: %s", slips[i], err.message);
    }
    const lay_run_spec *run = read_good("date,year,time,name,gearbox,weather,file\n1,2,3,4,5,6,a.wav\n", 1);
    assert_string_equal(run->notes, "date=1; year=2; time=3; name=4; gearbox=5; weather=6");
}

static void from_a_file(void **state) {
    (void)state;
    lay_error err = {0};
    lay_run_table_free(&table);
    assert_int_equal(lay_run_table_load(scratch_text("runs.csv", "file\na.wav\na.wav\n"), &table, &err), LAY_OK);
    assert_int_equal(table.count, 2); /* one recording may serve two rows */
    assert_string_equal(table.runs[0].path, scratch_path("a.wav"));
    assert_string_equal(table.path, scratch_path("runs.csv"));
    lay_run_table_free(&table);
    assert_int_equal(lay_run_table_load(scratch_path("none.csv"), &table, &err), LAY_BAD_INPUT);
    assert_null(table.runs);
    lay_run_table_free(NULL);
}

static int close_folder(void **state) {
    (void)state;
    lay_run_table_free(&table);
    scratch_close();
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_columns), cmocka_unit_test(defaults),    cmocka_unit_test(separators_notes_and_line_ends),
        cmocka_unit_test(quoting),     cmocka_unit_test(units),       cmocka_unit_test(ranges),
        cmocka_unit_test(words),       cmocka_unit_test(road_speeds), cmocka_unit_test(slips_and_notes_among_columns),
        cmocka_unit_test(from_a_file), cmocka_unit_test(full_scale_of_each_channel),
    };
    return cmocka_run_group_tests(tests, scratch_setup, close_folder);
}
