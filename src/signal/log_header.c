/* The names above the columns of an rpm log. Scan tools, data loggers and spreadsheets all word them differently, so a
 * heading is cut into words and a unit, and the words are looked up. */
#include "log_header.h"

#include <ctype.h>
#include <string.h>

enum { MOST_WORDS = 8, LONGEST_WORD = 24 };

/* "Engine speed (1/min)" -> words engine, speed; unit 1/min. */
typedef struct heading {
    char words[MOST_WORDS][LONGEST_WORD];
    int count;
    char unit[LONGEST_WORD];
} heading;

typedef struct named {
    const char *name;
    double value;
} named;

/* ---- units ---- */

static const named time_units[] = {
    {"s", 1},
    {"sec", 1},
    {"secs", 1},
    {"second", 1},
    {"seconds", 1},
    {"ms", 1e-3},
    {"msec", 1e-3},
    {"millis", 1e-3},
    {"us", 1e-6},
    {"usec", 1e-6},
    {"milliseconds", 1e-3},
    {"\xC2\xB5s", 1e-6},
    {"\xCE\xBCs", 1e-6},
    {"min", 60},
    {"minutes", 60},
    {"microseconds", 1e-6},
    {"ns", 1e-9},
    {NULL, 0},
};

/* To turns per minute. */
static const named rpm_units[] = {
    {"rpm", 1},
    {"r/min", 1},
    {"1/min", 1},
    {"/min", 1},
    {"min-1", 1},
    {"min^-1", 1},
    {"rev/min", 1},
    {"revs/min", 1},
    {"hz", 60},
    {"1/s", 60},
    {"/s", 60},
    {"s-1", 60},
    {"s^-1", 60},
    {"rev/s", 60},
    {"revs/s", 60},
    {"rps", 60},
    {"r/s", 60},
    {"rev/sec", 60},
    {"krpm", 1000},
    {"x1000", 1000},
    {"x1000rpm", 1000},
    {"1000rpm", 1000},
    {"rpmx1000", 1000},
    {"x1000r/min", 1000},
    {"1000r/min", 1000},
    {"rad/s", 30 / LAY_PI},
    {"rad/sec", 30 / LAY_PI},
    {"min\xE2\x81\xBB\xC2\xB9", 1},
    {"s\xE2\x81\xBB\xC2\xB9", 60},
    {NULL, 0},
};

static double look_up(const char *word, const named *table) {
    for (; table->name != NULL; table++)
        if (strcmp(word, table->name) == 0) return table->value;
    return 0;
}

/* Lower case without blanks, dots and brackets. */
static void copy_unit(const char *text, size_t length, char *out) {
    size_t n = 0;
    for (size_t i = 0; i < length && n + 1 < LONGEST_WORD; i++)
        if (strchr(" \t.()[]{}", text[i]) == NULL) out[n++] = (char)tolower((unsigned char)text[i]);
    out[n] = 0;
}

double lay_log_time_unit(lay_slice cell) {
    char unit[LONGEST_WORD];
    copy_unit(cell.text, cell.length, unit);
    return look_up(unit, time_units);
}

double lay_log_rpm_unit(lay_slice cell) {
    char unit[LONGEST_WORD];
    copy_unit(cell.text, cell.length, unit);
    return look_up(unit, rpm_units);
}

/* ---- words ---- */

/* Signs that belong to a word: 1/min, min^-1; a hyphen only before a digit, so that time-stamp is two words. */
static bool is_word_sign(const char *text, size_t i, size_t length) {
    unsigned char c = (unsigned char)text[i];
    if (isalnum(c) || c >= 0x80 || c == '/' || c == '^') return true;
    return c == '-' && i + 1 < length && isdigit((unsigned char)text[i + 1]);
}

static void add_words(heading *h, const char *text, size_t length) {
    for (size_t i = 0; i < length && h->count < MOST_WORDS;) {
        size_t n = 0;
        for (; i < length && is_word_sign(text, i, length); i++)
            if (n + 1 < LONGEST_WORD) h->words[h->count][n++] = (char)tolower((unsigned char)text[i]);
        if (n > 0)
            h->words[h->count++][n] = 0;
        else
            i++;
    }
}

static bool ends_with(const heading *h, const char *a, const char *b) {
    return h->count >= 2 && strcmp(h->words[h->count - 2], a) == 0 && strcmp(h->words[h->count - 1], b) == 0;
}

/* Without brackets the last word may be the unit: time_s, engine rpm, elapsed ms, revs per minute. */
static void take_last_word(heading *h) {
    const char *last = h->count > 0 ? h->words[h->count - 1] : "";
    if (ends_with(h, "per", "minute") || ends_with(h, "per", "min")) {
        strcpy(h->unit, "rpm");
        h->count -= 2;
    } else if (ends_with(h, "per", "second")) {
        strcpy(h->unit, "rps");
        h->count -= 2;
    } else if (look_up(last, time_units) > 0 || look_up(last, rpm_units) > 0) {
        strcpy(h->unit, last);
        h->count--;
    }
    if (h->count > 0 && strcmp(h->words[h->count - 1], "in") == 0) h->count--;
}

static size_t bracket_in(lay_slice name) {
    for (size_t i = name.length; i-- > 0;)
        if (name.text[i] == '(' || name.text[i] == '[' || name.text[i] == '{') return i;
    return name.length;
}

static heading read_heading(lay_slice name) {
    heading h = {.count = 0};
    size_t bracket = bracket_in(name);
    add_words(&h, name.text, bracket);
    if (bracket < name.length)
        copy_unit(name.text + bracket, name.length - bracket, h.unit);
    else
        take_last_word(&h);
    return h;
}

static bool is_any(const char *word, const char *const *list) {
    for (; *list != NULL; list++)
        if (strcmp(word, *list) == 0) return true;
    return false;
}

static int count_any(const heading *h, const char *const *list) {
    int n = 0;
    for (int i = 0; i < h->count; i++) n += is_any(h->words[i], list);
    return n;
}

/* ---- is it time? ---- */

/* "hh:mm:ss.sss", "UTC": how the cells are written, not a unit. */
static bool is_clock_format(const char *unit) {
    static const char *const words[] = {"utc", "gmt", "local", "iso", "iso8601", "date", "datetime", NULL};
    return strchr(unit, ':') != NULL || is_any(unit, words);
}

/* 0: no; the larger the likelier the one that is meant. */
static int time_score(const heading *h) {
    static const char *const core[] = {"time", "timestamp", "t", "elapsed", "datetime", "date/time", "clock", NULL};
    static const char *const beside[] = {"stamp",  "date",   "of",     "day",       "device",  "system",   "log",
                                         "logger", "sample", "record", "recording", "session", "relative", "absolute",
                                         "since",  "start",  "local",  "utc",       "total",   NULL};
    static const char *const worse[] = {"gps", "engine", "run", "running", NULL};
    bool unit = look_up(h->unit, time_units) > 0;
    if (h->unit[0] != 0 && !unit && !is_clock_format(h->unit)) return 0;
    if (h->count == 0) return unit ? 20 : 0;
    int known = count_any(h, core), bad = count_any(h, worse);
    if (known == 0 || known + count_any(h, beside) + bad < h->count) return 0;
    return 20 - h->count - 5 * bad;
}

/* ---- is it a shaft's speed? ---- */

/* With turns in the unit the words hardly matter; a speed in Hz or without a unit must say that something turns. */
static bool names_turning(const heading *h, bool unit_known) {
    static const char *const turning[] = {"rev",  "revs",       "revolutions", "rotation", "rotational", "rotations",
                                          "tach", "tachometer", "n",           "turns",    "rpm",        NULL};
    static const char *const speed[] = {"speed", "velocity", "frequency", NULL};
    static const char *const shafts[] = {"engine", "motor",   "crank",   "crankshaft", "shaft",
                                         "input",  "spindle", "angular", "reference",  NULL};
    if (count_any(h, turning) > 0) return true;
    if (count_any(h, speed) == 0) return false;
    return count_any(h, shafts) > 0 || (unit_known && h->count == 1);
}

/* Turns per minute per unit, 0 when nothing is said. */
static double heading_rpm_unit(const heading *h) {
    double unit = look_up(h->unit, rpm_units);
    for (int i = 0; unit == 0 && i < h->count; i++) unit = look_up(h->words[i], rpm_units);
    return unit;
}

static const char *const other_bodies[] = {"wheel",      "wheels",       "output", "turbine",    "turbo", "fan",
                                           "alternator", "pump",         "rear",   "front",      "axle",  "propshaft",
                                           "driveshaft", "countershaft", "prop",   "compressor", NULL};

static int rpm_score(const heading *h) {
    static const char *const refused[] = {
        "target",  "desired", "requested", "commanded", "setpoint",     "limit",    "max",      "maximum", "min",
        "minimum", "idle",    "peak",      "error",     "shift",        "redline",  "ratio",    "rate",    "change",
        "vehicle", "road",    "gps",       "ground",    "acceleration", "gradient", "sampling", NULL};
    static const char *const better[] = {"engine", "input", "reference", "crank", "crankshaft", NULL};
    double unit = heading_rpm_unit(h);
    if (count_any(h, refused) > 0) return 0;
    if (look_up(h->unit, time_units) > 0) return 0;
    bool plain = unit == 1 || unit == 1000;
    if (!plain && !names_turning(h, unit > 0)) return 0;
    return 30 + 3 * (count_any(h, better) > 0) - h->count - 15 * (count_any(h, other_bodies) > 0);
}

/* ---- the line ---- */

void lay_log_header(const char *line, lay_log_columns *out) {
    const char *cursor = line;
    lay_slice field;
    int best_time = 0, best_rpm = 0;
    *out = (lay_log_columns){.separator = lay_csv_separator(line), .time = -1, .rpm = -1};
    for (; lay_csv_field_next(&cursor, out->separator, &field); out->width++) {
        heading h = read_heading(field);
        int time = time_score(&h), rpm = time > 0 ? 0 : rpm_score(&h);
        if (time > best_time) {
            best_time = time;
            out->time = out->width;
            out->time_unit = look_up(h.unit, time_units);
        }
        if (rpm > best_rpm) {
            best_rpm = rpm;
            out->rpm = out->width;
            out->rpm_unit = heading_rpm_unit(&h);
            out->other_body = count_any(&h, other_bodies) > 0;
        }
    }
}
