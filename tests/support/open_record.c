#include "support/open_record.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define COLUMNS_MAX 16

static const char deep_groove[] =
    "[unit]\nname = Bearing rig\ndriven by = shaft\n[gear 1]\n[bearing bearing]\ninner = shaft\nouter = case\n"
    "rolling elements = 9\nelement diameter = 0.3126 in\npitch diameter = 1.537 in\ncontact angle = 0 deg\n";
static const char eight_elements[] =
    "[unit]\nname = Bearing rig\ndriven by = shaft\n[gear 1]\n[bearing bearing]\ninner = shaft\nouter = case\n"
    "rolling elements = 8\n";
/* The count of the bench's wheel is not published, so 47 is invented. It moves no mesh line, only sidebands. */
static const char gear_bench[] = "[unit]\nname = Gear bench\ndriven by = pinion shaft\noutput = wheel shaft\n"
                                 "[mesh pair]\ndriver = pinion shaft, 23\ndriven = wheel shaft, 47\n[gear 1]\n";
/* The rig's counts are not published; its lines lie at 32 and 32/3 of the input shaft, as these wheels make them. */
static const char gear_rig[] = "[unit]\nname = Gear rig\ndriven by = input shaft\noutput = output shaft\n"
                               "[mesh first stage]\ndriver = input shaft, 32\ndriven = layshaft, 96\n"
                               "[mesh second stage]\ndriver = layshaft, 32\ndriven = output shaft, 64\n[gear 1]\n";

static const struct rig {
    const char *set, *unit;
    bool bearing;
    bool graded;     /* published grades tell which faults show */
    const char *rpm; /* where the row gives none: what the rate in the recording's header assumes */
} rigs[] = {
    {"cwru", deep_groove, true, true, ""},        {"hit_sm", deep_groove, true, false, ""},
    {"adi", eight_elements, true, false, ""},     {"uestc", eight_elements, true, false, ""},
    {"gear_bench", gear_bench, false, false, ""}, {"sq_gearbox", gear_rig, false, false, "1800"},
};

static const struct rig *rig_of(const char *set) {
    for (size_t i = 0; i < sizeof rigs / sizeof *rigs; i++)
        if (strcmp(rigs[i].set, set) == 0) return &rigs[i];
    return NULL;
}

const char *open_truth_name(open_truth truth) {
    static const char *const names[OPEN_TRUTH_COUNT] = {"not stated", "sound", "inner", "outer", "element"};
    return names[truth];
}

const char *open_mark_name(open_mark mark) {
    static const char *const names[OPEN_MARK_COUNT] = {"-", "right", "missed", "wrong", "accused"};
    return names[mark];
}

/* Unbalance, misalignment and a bent shaft of a rig leave its bearing sound. */
static open_truth truth_of(const char *said) {
    static const struct {
        const char *begins;
        open_truth truth;
    } words[] = {{"normal", OPEN_SOUND}, {"GoB", OPEN_SOUND}, {"IR", OPEN_INNER},   {"HIR", OPEN_INNER},
                 {"OR", OPEN_OUTER},     {"HOR", OPEN_OUTER}, {"B ", OPEN_ELEMENT}, {"HBF", OPEN_ELEMENT}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strncmp(said, words[i].begins, strlen(words[i].begins)) == 0) return words[i].truth;
    return OPEN_NOT_STATED;
}

/* ---- labels.csv ---- */

const char *open_data_folder(void) {
    const char *folder = getenv("LAYSHAFT_DATA");
    return folder ? folder : LAYSHAFT_SOURCE_DIR "/../shared/data";
}

bool open_data_present(void) {
    char *path = lay_path_join(open_data_folder(), "labels.csv");
    bool present = path && access(path, R_OK) == 0;
    free(path);
    return present;
}

/* Split a line in place at the commas outside quotation marks; the marks around a field are taken off. */
static size_t split(char *line, char *field[COLUMNS_MAX]) {
    size_t count = 0;
    for (char *at = line; count < COLUMNS_MAX;) {
        bool quoted = *at == '"';
        field[count++] = quoted ? ++at : at;
        at += strcspn(at, quoted ? "\"" : ",\r");
        if (quoted && *at) *at++ = '\0';
        bool more = *at == ',';
        if (*at) *at++ = '\0';
        if (!more) break;
    }
    return count;
}

/* The field under a column's name, "" when the row has none. */
static const char *named(char *const *head, size_t columns, char *const *field, size_t count, const char *name) {
    for (size_t i = 0; i < columns && i < count; i++)
        if (strcmp(head[i], name) == 0) return field[i];
    return "";
}

static bool read_row(char *const *head, size_t columns, char *row, open_record *out) {
    char *field[COLUMNS_MAX];
    size_t count = split(row, field);
    *out = (open_record){0};
    snprintf(out->file, sizeof out->file, "%s", named(head, columns, field, count, "file"));
    snprintf(out->set, sizeof out->set, "%s", named(head, columns, field, count, "set"));
    snprintf(out->said, sizeof out->said, "%s", named(head, columns, field, count, "truth"));
    snprintf(out->grade, sizeof out->grade, "%s", named(head, columns, field, count, "smith_randall_m1_m2_m3"));
    snprintf(out->rpm, sizeof out->rpm, "%s", named(head, columns, field, count, "speed_rpm_given"));
    out->microphone = strncmp(named(head, columns, field, count, "note"), "microphone", 10) == 0;
    const struct rig *rig = rig_of(out->set);
    if (!rig) return false;
    if (!*out->rpm) snprintf(out->rpm, sizeof out->rpm, "%s", rig->rpm);
    out->truth = rig->bearing ? truth_of(out->said) : OPEN_NOT_STATED;
    return *out->file && *out->rpm;
}

lay_status open_records_load(open_record *out, size_t most, size_t *count, lay_error *err) {
    char *path = lay_path_join(open_data_folder(), "labels.csv"), *text = NULL, *rest = NULL, *head[COLUMNS_MAX];
    size_t length = 0;
    *count = 0;
    if (!path) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = lay_read_file(path, 1u << 20, &text, &length, err);
    char *first = status == LAY_OK ? strtok_r(text, "\n", &rest) : NULL;
    size_t columns = first ? split(first, head) : 0;
    for (char *row; columns > 0 && *count < most && (row = strtok_r(NULL, "\n", &rest)) != NULL;)
        if (read_row(head, columns, row, &out[*count])) ++*count;
    if (status == LAY_OK && *count == 0) status = lay_fail_file(err, LAY_BAD_INPUT, path, "it names no known record");
    free(text);
    free(path);
    return status;
}

bool open_record_is_clear(const open_record *record) {
    const struct rig *rig = rig_of(record->set);
    if (record->truth == OPEN_NOT_STATED || record->truth == OPEN_SOUND) return false;
    if (rig->graded) return strchr(record->grade, 'Y') != NULL;
    return record->truth != OPEN_ELEMENT;
}

/* ---- its job ---- */

static lay_status write_into(const char *folder, const char *name, const char *text, lay_error *err) {
    char *path = lay_path_join(folder, name);
    lay_status status =
        path ? lay_write_file(path, text, strlen(text), err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    free(path);
    return status;
}

/* Names in a table are relative to its folder, so the recording is named from the root. */
static lay_status write_table(const open_record *record, const char *folder, lay_error *err) {
    char here[1024] = "";
    if (!getcwd(here, sizeof here)) return lay_fail(err, LAY_IO, "the working folder cannot be told");
    char *data = lay_path_join(here, open_data_folder()), *recording = data ? lay_path_join(data, record->file) : NULL;
    lay_text table = {0};
    lay_text_add(&table, "file,gear,rpm,sensor\n\"%s\",1,%s,%s\n", recording ? recording : "", record->rpm,
                 record->microphone ? "mic" : "accel");
    lay_status status = recording && !table.failed ? write_into(folder, "runs.csv", table.text, err)
                                                   : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_text_free(&table);
    free(recording);
    free(data);
    return status;
}

static lay_status make_job(const open_record *record, const char *folder, lay_error *err) {
    if (mkdir(folder, 0777) != 0 && errno != EEXIST)
        return lay_fail_file(err, LAY_IO, folder, "the folder of the job cannot be made");
    lay_status status = write_into(folder, "unit.ini", rig_of(record->set)->unit, err);
    return status == LAY_OK ? write_table(record, folder, err) : status;
}

lay_status open_record_diagnose(const open_record *record, const char *folder, open_answer *out, lay_error *err) {
    *out = (open_answer){0};
    lay_status status = make_job(record, folder, err);
    if (status == LAY_OK) status = lay_job_load(folder, &out->job, err);
    if (status == LAY_OK) status = lay_diagnose(out->job.unit, &out->job.table, NULL, NULL, NULL, &out->diagnosis, err);
    return status;
}

void open_answer_free(open_answer *answer) {
    lay_diagnosis_free(&answer->diagnosis); /* borrows names from the unit */
    lay_job_free(&answer->job);
}

void open_job_remove(const char *folder) {
    static const char *const names[] = {"unit.ini", "runs.csv"};
    for (size_t i = 0; i < 2; i++) {
        char *path = lay_path_join(folder, names[i]);
        if (path) unlink(path);
        free(path);
    }
    rmdir(folder);
}

/* ---- is a verdict on it right? ---- */

open_mark open_record_mark(const open_record *record, const lay_verdict *verdict) {
    static const lay_kind kinds[OPEN_TRUTH_COUNT] = {
        [OPEN_INNER] = LAY_KIND_INNER, [OPEN_OUTER] = LAY_KIND_OUTER, [OPEN_ELEMENT] = LAY_KIND_ELEMENT};
    bool accused = verdict->outcome == LAY_ATTENTION;
    if (record->truth == OPEN_NOT_STATED) return OPEN_SHOWN;
    if (record->truth == OPEN_SOUND) return accused ? OPEN_ACCUSED : OPEN_RIGHT;
    if (!accused) return OPEN_MISSED;
    bool right = verdict->suspect_count > 0 && verdict->suspects[0].kind == kinds[record->truth];
    return right ? OPEN_RIGHT : OPEN_WRONG;
}
