#include "single.h"

#include <stdlib.h>
#include <string.h>

/* "2110" or "1200-3200". */
static lay_status parse_rpm(const char *text, double *low, double *high, lay_error *err) {
    char first[32];
    size_t n = strcspn(text, "-");
    bool good = n > 0 && n < sizeof first;
    if (good) {
        memcpy(first, text, n);
        first[n] = 0;
        good = lay_parse_number(first, low);
        *high = *low;
        if (good && text[n] == '-') good = lay_parse_number(text + n + 1, high);
    }
    if (good && *low > 0.0 && *high >= *low && *high < 1e6) return LAY_OK;
    return lay_fail(err, LAY_BAD_USAGE, "--rpm takes a speed or a range in rpm such as 2110 or 1200-3200, not '%.60s'",
                    text);
}

/* "1" or "1+3". */
static lay_status parse_channels(const char *text, lay_run_spec *run, lay_error *err) {
    size_t count = 0;
    free(run->channels);
    run->channels = lay_calloc(strlen(text) + 1, sizeof *run->channels);
    if (run->channels == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (const char *at = text;; at++) {
        char *end;
        long channel = *at >= '0' && *at <= '9' ? strtol(at, &end, 10) : 0;
        if (channel < 1 || channel > 1024 || (*end != 0 && *end != '+')) break;
        run->channels[count++] = (int)channel;
        at = end;
        if (*at != 0) continue;
        run->channel_count = count;
        return LAY_OK;
    }
    return lay_fail(err, LAY_BAD_USAGE, "--channel takes channel numbers such as 1 or 1+3, not '%.60s'", text);
}

static lay_status parse_sensor(const char *text, lay_sensor *out, lay_error *err) {
    if (strcmp(text, "accel") == 0)
        *out = LAY_SENSOR_ACCEL;
    else if (strcmp(text, "mic") == 0)
        *out = LAY_SENSOR_MIC;
    else
        return lay_fail(err, LAY_BAD_USAGE, "--sensor takes accel or mic, not '%.60s'", text);
    return LAY_OK;
}

static lay_status replace(char **text, const char *with, lay_error *err) {
    char *copy = lay_strdup(with);
    if (copy == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    free(*text);
    *text = copy;
    return LAY_OK;
}

static lay_status fill(const lay_single *s, lay_run_spec *run, lay_error *err) {
    lay_status status = LAY_OK;
    if (s->gear != NULL) status = replace(&run->gear, s->gear, err);
    if (status == LAY_OK && s->tach_on != NULL) status = replace(&run->tach_on, s->tach_on, err);
    if (status == LAY_OK && s->load != NULL && !lay_load_parse(s->load, &run->load))
        status = lay_fail(err, LAY_BAD_USAGE, "--load takes drive, coast, steady or none, not '%.60s'", s->load);
    if (status == LAY_OK && s->rpm != NULL) status = parse_rpm(s->rpm, &run->rpm_low, &run->rpm_high, err);
    if (status == LAY_OK && s->channel != NULL) status = parse_channels(s->channel, run, err);
    if (status == LAY_OK && s->sensor != NULL) status = parse_sensor(s->sensor, &run->sensor, err);
    run->tach_channel = s->tach_channel;
    if (s->pulses_per_rev > 0.0) run->pulses_per_rev = s->pulses_per_rev;
    if (s->csv_rate > 0.0) run->csv_rate = s->csv_rate;
    return status;
}

void lay_single_options(lay_single *s, lay_option rows[LAY_SINGLE_ROWS]) {
    const lay_option own[LAY_SINGLE_ROWS] = {
        {"gear", LAY_OPTION_TEXT, &s->gear, "GEAR", "gear they were made in", 0, 0, NULL},
        {"load", LAY_OPTION_TEXT, &s->load, "LOAD", "drive, coast, steady or none", 0, 0, NULL},
        {"rpm", LAY_OPTION_TEXT, &s->rpm, "RPM", "speed of the reference shaft, about: 2110 or 1200-3200", 0, 0, NULL},
        {"tach-channel", LAY_OPTION_COUNT, &s->tach_channel, "N", "channel that holds tach pulses, from 1", 1, 1024,
         NULL},
        {"pulses-per-rev", LAY_OPTION_NUMBER, &s->pulses_per_rev, "P", "tach pulses per turn (default 1)", 0.01, 10000,
         NULL},
        {"tach-on", LAY_OPTION_TEXT, &s->tach_on, "BODY", "body the tach looks at (default the reference)", 0, 0, NULL},
        {"channel", LAY_OPTION_TEXT, &s->channel, "C", "channels to analyse: 1 or 1+3 (default all but the tach)", 0, 0,
         NULL},
        {"sensor", LAY_OPTION_TEXT, &s->sensor, "SENSOR", "accel or mic", 0, 0, NULL},
        {"csv-rate", LAY_OPTION_NUMBER, &s->csv_rate, "HZ", "sample rate of CSV recordings without a time column", 1,
         1e7, NULL},
    };
    memcpy(rows, own, sizeof own);
}

const char *lay_single_stray(const lay_single *s) {
    return s->gear != NULL           ? "gear"
           : s->load != NULL         ? "load"
           : s->rpm != NULL          ? "rpm"
           : s->tach_channel != 0    ? "tach-channel"
           : s->pulses_per_rev > 0.0 ? "pulses-per-rev"
           : s->tach_on != NULL      ? "tach-on"
           : s->channel != NULL      ? "channel"
           : s->sensor != NULL       ? "sensor"
           : s->csv_rate > 0.0       ? "csv-rate"
                                     : NULL;
}

lay_status lay_single_table(const lay_single *single, char *const *files, size_t count, lay_run_table *out,
                            lay_error *err) {
    lay_status status = LAY_OK;
    *out = (lay_run_table){0};
    out->runs = lay_calloc(count, sizeof *out->runs);
    if (out->runs == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; i < count && status == LAY_OK; i++) {
        status = lay_run_spec_default(files[i], &out->runs[i], err);
        out->count = i + 1;
        if (status == LAY_OK) status = fill(single, &out->runs[i], err);
    }
    if (status != LAY_OK) lay_run_table_free(out);
    return status;
}
