/* Times as logs write them.
 *
 * [ISO8601] ISO 8601-1:2019: 2026-11-25T10:20:30.5Z, with an offset +01:00, a comma or a point before the fraction; a
 * blank for the T is common practice. */
#include "log_time.h"

#include <math.h>
#include <string.h>
#include <strings.h>

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

/* Up to `most` digits; *at stays where it is when there are none. */
static bool take_digits(const char **at, const char *end, int most, double *out) {
    const char *start = *at;
    *out = 0;
    while (*at < end && is_digit(**at) && *at - start < most) *out = *out * 10 + (*(*at)++ - '0');
    return *at > start;
}

static bool take(const char **at, const char *end, char wanted) {
    if (*at >= end || **at != wanted) return false;
    (*at)++;
    return true;
}

/* ---- the clock ---- */

static double take_fraction(const char **at, const char *end) {
    double value = 0, worth = 0.1;
    if (*at + 1 < end && (**at == '.' || **at == ',') && is_digit((*at)[1]))
        for ((*at)++; *at < end && is_digit(**at); (*at)++, worth /= 10) value += worth * (**at - '0');
    return value;
}

/* hh:mm:ss.sss, or mm:ss.s where only one colon stands. */
static bool take_clock(const char **at, const char *end, double *seconds) {
    double a, b, c;
    if (!take_digits(at, end, 4, &a) || !take(at, end, ':') || !take_digits(at, end, 2, &b) || b >= 60) return false;
    if (take(at, end, ':')) {
        if (!take_digits(at, end, 2, &c) || c > 60) return false; /* 60: a leap second */
        *seconds = (a * 60 + b) * 60 + c;
    } else {
        *seconds = a * 60 + b;
    }
    *seconds += take_fraction(at, end);
    return true;
}

/* AM, PM, Z, +hh:mm, +hhmm or nothing. */
static bool take_suffix(const char *at, const char *end, double *seconds) {
    while (at < end && *at == ' ') at++;
    if (at == end) return true;
    if (end - at == 2 && (strncasecmp(at, "am", 2) == 0 || strncasecmp(at, "pm", 2) == 0)) {
        bool noon = *seconds >= 12 * 3600;
        if (noon) *seconds -= 12 * 3600;
        if (*at == 'p' || *at == 'P') *seconds += 12 * 3600;
        return true;
    }
    if (end - at == 1) return *at == 'Z' || *at == 'z';
    double hours, minutes = 0, sign = *at == '-' ? 1 : -1;
    if (*at != '+' && *at != '-') return false;
    at++;
    if (!take_digits(&at, end, 2, &hours)) return false;
    (void)take(&at, end, ':');
    (void)take_digits(&at, end, 2, &minutes);
    *seconds += sign * (hours * 60 + minutes) * 60;
    return at == end;
}

/* ---- the date ---- */

/* Days from 1970-01-01 in the Gregorian calendar: whole 400-year cycles of 146097 days, years that begin in March. */
static double days_of(double year, double month, double day) {
    double y = month <= 2 ? year - 1 : year, m = month <= 2 ? month + 9 : month - 3;
    double leap_days = floor(y / 4) - floor(y / 100) + floor(y / 400);
    return 365 * y + leap_days + floor((153 * m + 2) / 5) + day - 1 - 719468;
}

/* yyyy-mm-dd and the T or blank behind it. */
static bool take_date(const char **at, const char *end, double *days) {
    const char *p = *at;
    double year, month, day;
    if (!take_digits(&p, end, 4, &year) || p - *at != 4 || !take(&p, end, '-')) return false;
    if (!take_digits(&p, end, 2, &month) || !take(&p, end, '-') || !take_digits(&p, end, 2, &day)) return false;
    if (month < 1 || month > 12 || day < 1 || day > 31) return false;
    if (!take(&p, end, 'T') && !take(&p, end, ' ')) return false;
    while (take(&p, end, ' ')) continue;
    *days = days_of(year, month, day);
    *at = p;
    return true;
}

/* Skips a date in another order, such as 25.11.2026 or 11/25/26, up to the blank before the time. */
static void skip_date(const char **at, const char *end) {
    const char *p = *at;
    int marks = 0;
    for (; p < end && (is_digit(*p) || strchr("./-", *p) != NULL); p++) marks += !is_digit(*p);
    if (marks != 2 || p >= end || (*p != ' ' && *p != ',')) return;
    while (p < end && (*p == ' ' || *p == ',')) p++;
    *at = p;
}

bool lay_log_time(lay_slice cell, bool decimal_comma, lay_log_time_kind *kind, double *value) {
    const char *at = cell.text, *end = cell.text + cell.length;
    double days = 0, seconds;
    if (lay_csv_number(cell, decimal_comma, value, NULL)) {
        *kind = LAY_LOG_TIME_NUMBER;
        return isfinite(*value);
    }
    bool dated = take_date(&at, end, &days);
    if (!dated) skip_date(&at, end);
    if (!take_clock(&at, end, &seconds) || !take_suffix(at, end, &seconds)) return false;
    *kind = dated ? LAY_LOG_TIME_DATED : LAY_LOG_TIME_CLOCK;
    *value = days * 86400 + seconds;
    return true;
}
