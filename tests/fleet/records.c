/* records: what the verdict says of the open measurement data, record by record (origins in the README beside the
 * data).
 *
 *   records --only cwru --markdown
 *
 * Each record is a job of its own, with the speed as given; --keep leaves the job folders for `layshaft diagnose`. */
#include "support/open_record.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define RECORDS_MAX 256
#define SETS_MAX 16

typedef struct records_options {
    const char *only, *keep;
    bool markdown;
} records_options;

/* Of the records of one set, of one truth, or of all whose fault ought to be seen. */
typedef struct records_sum {
    const char *name; /* borrowed */
    int marks[OPEN_MARK_COUNT];
    int faulty, sound, failed;
} records_sum;

typedef struct records_tally {
    records_sum sets[SETS_MAX], truths[OPEN_TRUTH_COUNT], clear, all;
    size_t set_count;
} records_tally;

static const char usage[] = "usage: records [--only SUBSTRING] [--markdown] [--keep FOLDER]\n"
                            "  --only      only files whose name holds SUBSTRING\n"
                            "  --markdown  tables in Markdown\n"
                            "  --keep      make the job folders in FOLDER and leave them there\n";

/* ---- printing ---- */

static const int record_widths[] = {36, 10, 46, 9, 12, 13, 13, 7, 28};
static const char *const record_heads[] = {
    "file", "set", "truth", "published grade", "outcome", "first suspect", "second suspect", "mark", "speed"};
static const int sum_widths[] = {10, 7, 7, 7, 7, 7, 8, 7};
static const char *const sum_heads[] = {"records", "faulty", "right", "missed", "wrong", "sound", "accused", "failed"};

static void print_row(const records_options *o, const char *const *cells, const int *widths, int count) {
    if (o->markdown) printf("|");
    for (int i = 0; i < count; i++)
        if (o->markdown)
            printf(" %s |", cells[i]);
        else
            printf("%-*s%s", i < count - 1 ? widths[i] : 0, cells[i], i < count - 1 ? "  " : "");
    printf("\n");
    fflush(stdout);
}

static void print_head(const records_options *o, const char *const *heads, const int *widths, int count) {
    print_row(o, heads, widths, count);
    if (!o->markdown) return;
    printf("|");
    for (int i = 0; i < count; i++) printf("---|");
    printf("\n");
}

static void suspect_cell(const lay_verdict *verdict, size_t rank, char *out, size_t size) {
    if (rank >= verdict->suspect_count)
        snprintf(out, size, "-");
    else
        snprintf(out, size, "%s %.2f", lay_kind_name(verdict->suspects[rank].kind),
                 verdict->suspects[rank].probability);
}

static void print_record(const records_options *o, const open_record *record, const lay_diagnosis *d, open_mark mark) {
    char first[32], second[32], speed[64];
    const lay_run_evidence *run = &d->runs[0];
    suspect_cell(&d->verdict, 0, first, sizeof first);
    suspect_cell(&d->verdict, 1, second, sizeof second);
    if (run->usable)
        snprintf(speed, sizeof speed, "%s, %.1f rpm, %.2f", lay_speed_source_name(run->speed_source), 60 * run->mean_hz,
                 run->speed_confidence);
    else
        snprintf(speed, sizeof speed, "run not usable");
    const char *cells[] = {record->file,
                           record->set,
                           record->said,
                           *record->grade ? record->grade : "-",
                           lay_outcome_name(d->verdict.outcome),
                           first,
                           second,
                           open_mark_name(mark),
                           speed};
    print_row(o, cells, record_widths, 9);
}

static void print_sum(const records_options *o, const char *name, const records_sum *s) {
    char text[7][16];
    const int numbers[] = {s->faulty,
                           s->faulty - s->marks[OPEN_MISSED] - s->marks[OPEN_WRONG],
                           s->marks[OPEN_MISSED],
                           s->marks[OPEN_WRONG],
                           s->sound,
                           s->marks[OPEN_ACCUSED],
                           s->failed};
    const char *cells[8] = {name};
    if (s->faulty + s->sound + s->failed == 0) return;
    for (int i = 0; i < 7; i++) {
        snprintf(text[i], sizeof text[i], "%d", numbers[i]);
        cells[i + 1] = text[i];
    }
    print_row(o, cells, sum_widths, 8);
}

static void print_sums(const records_options *o, const records_tally *tally) {
    printf("\n");
    print_head(o, sum_heads, sum_widths, 8);
    for (size_t i = 0; i < tally->set_count; i++) print_sum(o, tally->sets[i].name, &tally->sets[i]);
    for (int t = OPEN_SOUND; t < OPEN_TRUTH_COUNT; t++) print_sum(o, open_truth_name((open_truth)t), &tally->truths[t]);
    print_sum(o, "to be seen", &tally->clear); /* open_record_is_clear */
    print_sum(o, "all", &tally->all);
}

/* ---- counting ---- */

static void count_into(records_sum *s, const open_record *record, open_mark mark, bool failed) {
    s->failed += failed;
    if (failed) return;
    s->marks[mark]++;
    s->sound += record->truth == OPEN_SOUND;
    s->faulty += record->truth != OPEN_SOUND && record->truth != OPEN_NOT_STATED;
}

static void count(records_tally *tally, const open_record *record, open_mark mark, bool failed) {
    size_t set = 0;
    while (set < tally->set_count && strcmp(tally->sets[set].name, record->set) != 0) set++;
    if (set == tally->set_count && set < SETS_MAX) tally->sets[tally->set_count++].name = record->set;
    if (set < SETS_MAX) count_into(&tally->sets[set], record, mark, failed);
    count_into(&tally->truths[record->truth], record, mark, failed);
    count_into(&tally->all, record, mark, failed);
    if (open_record_is_clear(record)) count_into(&tally->clear, record, mark, failed);
}

/* ---- the road of one record ---- */

/* The folder's name is the file's without its ending. */
static void run_one(const records_options *o, const char *base, const open_record *record, records_tally *tally) {
    char folder[700];
    open_answer answer;
    lay_error err = {0};
    snprintf(folder, sizeof folder, "%s/%.*s", base, (int)strcspn(record->file, "."), record->file);
    bool failed = open_record_diagnose(record, folder, &answer, &err) != LAY_OK;
    open_mark mark = failed ? OPEN_SHOWN : open_record_mark(record, &answer.diagnosis.verdict);
    if (failed)
        fprintf(stderr, "%s: %s\n", record->file, err.message);
    else
        print_record(o, record, &answer.diagnosis, mark);
    count(tally, record, mark, failed);
    open_answer_free(&answer);
    if (!o->keep) open_job_remove(folder);
}

static int run(const records_options *o, const char *base) {
    static open_record records[RECORDS_MAX];
    static records_tally tally;
    size_t found = 0;
    lay_error err = {0};
    if (open_records_load(records, RECORDS_MAX, &found, &err) != LAY_OK) {
        fprintf(stderr, "records: %s\n", err.message);
        return 2;
    }
    size_t seen = 0;
    print_head(o, record_heads, record_widths, 9);
    for (size_t i = 0; i < found; i++) {
        if (o->only && !strstr(records[i].file, o->only)) continue;
        run_one(o, base, &records[i], &tally);
        seen++;
    }
    print_sums(o, &tally);
    if (seen == 0) fprintf(stderr, "records: no file's name holds '%s'\n", o->only);
    return seen == 0 ? 2 : tally.all.failed > 0 ? 1 : 0;
}

static bool parse_option(int argc, char **argv, int *i, records_options *o) {
    const char *name = argv[*i];
    if (strcmp(name, "--markdown") == 0) return o->markdown = true;
    if (*i + 1 >= argc) return false;
    const char *value = argv[++*i];
    if (strcmp(name, "--only") == 0) return (o->only = value) != NULL;
    if (strcmp(name, "--keep") == 0) return (o->keep = value) != NULL;
    return false;
}

int main(int argc, char **argv) {
    records_options o = {0};
    for (int i = 1; i < argc; i++)
        if (!parse_option(argc, argv, &i, &o)) {
            fprintf(stderr, "%s", usage);
            return 2;
        }
    if (!open_data_present()) {
        fprintf(stderr, "records: open data not present in %s; LAYSHAFT_DATA names another folder\n",
                open_data_folder());
        return 2;
    }
    char made[] = "/tmp/layshaft-records-XXXXXX";
    const char *base = o.keep ? o.keep : mkdtemp(made);
    if (!base || (o.keep && mkdir(o.keep, 0777) != 0 && errno != EEXIST)) {
        perror("records");
        return 3;
    }
    int status = run(&o, base);
    if (!o.keep) rmdir(base);
    return status;
}
