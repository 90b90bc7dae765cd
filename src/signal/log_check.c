/* What only a whole rpm log shows: whether its times rise, its units fit, and the shaft turns. */
#include "log_check.h"

#include <layshaft/dsp.h>
#include <math.h>
#include <stdlib.h>

/* A few slips are left out; more of them mean that the log as a whole is not what it seems. */
static bool are_many(const lay_log_draft *d, lay_log_trouble trouble) {
    return trouble.count > 5 && (double)trouble.count > 0.05 * (double)d->rows;
}

static lay_status fail_line(const lay_log_draft *d, int line, lay_error *err, const char *why) {
    return lay_fail_at(err, LAY_BAD_INPUT, d->path, line, 1, 0, "", "%s", why);
}

static void warn(const lay_log_draft *d, lay_log_trouble trouble, const char *what, lay_text *warnings) {
    if (trouble.count == 0 || warnings == NULL) return;
    lay_text_add(warnings, "rpm log %s, line %d: %zu %s %s\n", d->path, trouble.line, trouble.count,
                 trouble.count == 1 ? "row" : "rows", what);
}

static void say(const lay_log_draft *d, const char *what, lay_text *warnings) {
    if (warnings != NULL) lay_text_add(warnings, "rpm log %s, line %d: %s\n", d->path, d->heading_line, what);
}

static lay_status check_rows(const lay_log_draft *d, lay_text *warnings, lay_error *err) {
    if (are_many(d, d->backward) || (d->count < 2 && d->backward.count > 0))
        return lay_fail_at(
            err, LAY_BAD_INPUT, d->path, d->backward.line, 1, 0, "",
            "times go back here and in %zu of %zu rows in all: the log is reversed or its rows are mixed "
            "up; export it again in order of time",
            d->backward.count, d->rows);
    if (are_many(d, d->absurd) || (d->count < 2 && d->absurd.count > 0))
        return lay_fail_at(
            err, LAY_BAD_INPUT, d->path, d->absurd.line, 1, 0, "",
            "this is no speed a shaft can have, and %zu of %zu rows are like it: a speed is 0 to %d rpm; "
            "correct the unit in the heading or export another column",
            d->absurd.count, d->rows, LAY_LOG_MOST_RPM);
    if (d->count == 0)
        return fail_line(d, d->heading_line, err, "there are no readings below these headings; export the log again");
    if (d->count < 2)
        return fail_line(
            d, d->heading_line, err,
            "all readings bear one and the same time, so the log tells no course of speed; export it with a "
            "time for each reading");
    warn(d, d->backward, "go back in time and were left out", warnings);
    warn(d, d->repeated, "repeat the time of the row before; their readings were averaged", warnings);
    warn(d, d->absurd, "hold no possible speed and were left out", warnings);
    return LAY_OK;
}

/* ---- time ---- */

static lay_status median_step(const lay_log_draft *d, double *out, lay_error *err) {
    double *steps = lay_calloc(d->count, sizeof *steps);
    if (steps == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the rpm log");
    for (size_t i = 1; i < d->count; i++) steps[i - 1] = d->time[i] - d->time[i - 1];
    *out = lay_quantile(steps, d->count - 1, 0.5);
    free(steps);
    return LAY_OK;
}

/* Logs hold 1 to 20 readings per second; a step of 50 to 1000 without a unit is milliseconds, a thousand times that
 * microseconds. */
static double settle_time_unit(lay_log_draft *d, double step, lay_text *warnings) {
    if (d->kind != LAY_LOG_TIME_NUMBER) return 1;
    if (d->columns.time_unit > 0) return d->columns.time_unit;
    if (step < 15) return 1;
    if (step < 15000) {
        say(d, "the times bear no unit and were taken as milliseconds", warnings);
        return 1e-3;
    }
    say(d, "the times bear no unit and were taken as microseconds", warnings);
    return 1e-6;
}

static const double longest_s = 30.0 * 86400;

/* Seconds from the first reading. Steps lost in rounding are dropped, so that time rises strictly. */
static void from_zero(lay_log_draft *d, double first, double unit) {
    size_t kept = 0;
    for (size_t i = 0; i < d->count; i++) {
        double time = (d->time[i] - first) * unit;
        if (kept > 0 && !(time > d->time[kept - 1])) continue;
        d->time[kept] = time;
        d->rpm[kept++] = d->rpm[i];
    }
    d->count = kept;
}

static lay_status settle_time(lay_log_draft *d, double *step_s, lay_text *warnings, lay_error *err) {
    double step = 0, first = d->time[0];
    lay_status status = median_step(d, &step, err);
    if (status != LAY_OK) return status;
    double unit = settle_time_unit(d, step, warnings);
    *step_s = step * unit;
    if (*step_s > 10)
        return lay_fail_at(
            err, LAY_BAD_INPUT, d->path, d->heading_line, 1, 0, "",
            "the readings are %.3g s apart, too far to follow a shaft: export at least one per second, or "
            "correct the unit of time in the heading",
            *step_s);
    if (*step_s < 5e-4)
        return lay_fail_at(err, LAY_BAD_INPUT, d->path, d->heading_line, 1, 0, "",
                           "the readings would be only %.3g ms apart: correct the unit of time in the heading",
                           *step_s * 1000);
    double span = (d->time[d->count - 1] - first) * unit;
    if (!(span <= longest_s))
        return lay_fail_at(err, LAY_BAD_INPUT, d->path, d->heading_line, 1, 0, "",
                           "the log would last %.3g days: a time is wrong, or the unit of time in the heading",
                           span / 86400);
    from_zero(d, first, unit);
    return LAY_OK;
}

/* ---- speed ---- */

static double largest(const lay_log_draft *d) {
    double most = 0;
    for (size_t i = 0; i < d->count; i++) most = fmax(most, d->rpm[i]);
    return most;
}

/* No shaft is listened to below 100 rpm, so smaller readings are another unit. */
static lay_status fail_slow(const lay_log_draft *d, double most, lay_error *err) {
    const char *guess = most < 12 ? "thousands of rpm: write `rpm x1000` as the heading"
                                  : "turns per second: write `speed [Hz]` as the heading";
    if (d->columns.rpm_unit != 0 && d->columns.rpm_unit != 1) guess = "another unit: correct the heading";
    return lay_fail_at(err, LAY_BAD_INPUT, d->path, d->heading_line, 1, 0, "",
                       "no reading reaches 100 rpm (the largest is %.4g rpm); they look like %s", most, guess);
}

static lay_status settle_speed(lay_log_draft *d, lay_error *err) {
    double most = largest(d), unit = d->columns.rpm_unit;
    if (!(most > 0))
        return fail_line(d, d->heading_line, err,
                         "the shaft stands still in the whole log; log while the engine runs, or name another column");
    if (most < 100) return fail_slow(d, most, err);
    if (unit != 0 && unit != 1 && most > 30000)
        return lay_fail_at(
            err, LAY_BAD_INPUT, d->path, d->heading_line, 1, 0, "",
            "with the unit in the heading the shaft would turn at %.4g rpm: the readings probably are rpm "
            "already; correct the heading",
            most);
    return LAY_OK;
}

/* A shaft does not stop and turn again within one reading: such a 0 is a gap of the logger. */
static void drop_lone_zeros(lay_log_draft *d, lay_text *warnings) {
    size_t kept = 0, dropped = 0;
    double before = 0;
    for (size_t i = 0; i < d->count; i++) {
        bool lone = d->rpm[i] == 0 && before > 0 && i + 1 < d->count && d->rpm[i + 1] > 0;
        before = d->rpm[i];
        dropped += lone;
        if (lone) continue;
        d->time[kept] = d->time[i];
        d->rpm[kept++] = d->rpm[i];
    }
    d->count = kept;
    if (dropped > 0 && warnings != NULL)
        lay_text_add(warnings, "rpm log %s: %zu single readings of 0 between turning ones were left out\n", d->path,
                     dropped);
}

lay_status lay_log_check(lay_log_draft *draft, double *step_s, lay_text *warnings, lay_error *err) {
    lay_status status = check_rows(draft, warnings, err);
    if (status == LAY_OK) status = settle_time(draft, step_s, warnings, err);
    if (status == LAY_OK) status = settle_speed(draft, err);
    if (status != LAY_OK) return status;
    drop_lone_zeros(draft, warnings);
    if (draft->columns.other_body)
        say(draft, "the heading names another body; its speed was taken as that of the reference shaft", warnings);
    return LAY_OK;
}
