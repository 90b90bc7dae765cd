/* What a crash left in a job: recordings longer than their header tells, and recordings without a row. */
#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "record.h"

typedef struct rescue {
    const lay_record_job *job;
    lay_text said; /* a sentence a line */
    int longer, added;
} rescue;

static bool is_wav(const char *name) {
    size_t length = strlen(name);
    return length > 4 && strcasecmp(name + length - 4, ".wav") == 0;
}

static bool has_row(const lay_run_table *table, const char *name) {
    for (size_t i = 0; i < table->count; i++)
        if (strcmp(table->runs[i].file, name) == 0) return true;
    return false;
}

static lay_status add_row(rescue *r, const char *name, const char *comment, lay_error *err) {
    lay_run_entry cells[LAY_RECORD_CELLS];
    size_t count = 0;
    char *text = lay_strdup(comment);
    lay_status status = text ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && lay_record_row_read(text, name, cells, &count)) {
        status = lay_run_table_add(r->job->table, cells, count, err);
        if (status == LAY_OK) lay_text_add(&r->said, "%s: has a row in runs.csv again\n", name);
        r->added += status == LAY_OK;
    } else if (status == LAY_OK)
        lay_text_add(&r->said, "%s: has no row in runs.csv and does not tell its gear and load; add the row by hand\n",
                     name);
    free(text);
    return status;
}

/* A recording of ours that a crash ended, made whole; only what layshaft wrote is touched. */
static lay_status rescue_file(rescue *r, const lay_run_table *table, const char *name, lay_error *err) {
    lay_recording *rec = NULL;
    lay_error why = {0};
    int64_t frames = 0;
    char *path = lay_path_join(r->job->folder, name);
    if (!path) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_status status = LAY_OK;
    if (lay_recording_open(path, 0, &rec, &why) != LAY_OK)
        lay_text_add(&r->said, "%s: %s\n", name, why.message);
    else {
        char *comment = lay_strdup(lay_recording_comment(rec));
        double rate = lay_recording_get_info(rec)->rate;
        bool ours = comment && strncmp(comment, "layshaft", 8) == 0;
        lay_recording_close(rec);
        if (ours) status = lay_recording_rescue(path, &frames, err);
        if (frames > 0) lay_text_add(&r->said, "%s: %.2f s more than its header told\n", name, (double)frames / rate);
        r->longer += frames > 0;
        bool calibration = comment && strncmp(comment, "layshaft calibration", 20) == 0; /* has no row of its own */
        if (status == LAY_OK && comment && !calibration && !has_row(table, name))
            status = add_row(r, name, comment, err);
        free(comment);
    }
    free(path);
    return status;
}

static int by_name(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static lay_status list_folder(const char *folder, char ***names, size_t *count, lay_error *err) {
    size_t capacity = 0;
    DIR *dir = opendir(folder);
    if (!dir) return lay_fail_open(err, folder);
    lay_status status = LAY_OK;
    for (struct dirent *entry; status == LAY_OK && (entry = readdir(dir));) {
        if (!is_wav(entry->d_name)) continue;
        status = lay_grow((void **)names, &capacity, *count, sizeof **names, err);
        if (status == LAY_OK && ((*names)[(*count)++] = lay_strdup(entry->d_name)) == NULL)
            status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    }
    closedir(dir);
    if (*count > 1) qsort(*names, *count, sizeof **names, by_name);
    return status;
}

static void tell_of_missing(rescue *r, const lay_run_table *table) {
    for (size_t i = 0; i < table->count; i++)
        if (access(table->runs[i].path, F_OK) != 0)
            lay_text_add(&r->said, "row %zu of runs.csv names %s, which is not there: bring it, or take the row out\n",
                         i + 1, table->runs[i].file);
}

static lay_status say(const rescue *r, lay_text *out, lay_error *err) {
    if (r->job->options->common.json)
        lay_report_rescue_json(r->job->unit, r->longer, r->added, &r->said, out);
    else
        lay_text_add(out, "%s", r->said.text ? r->said.text : "nothing to rescue\n");
    return out->failed || r->said.failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory") : LAY_OK;
}

lay_status lay_record_rescue(const lay_record_job *job, lay_text *out, lay_error *err) {
    rescue r = {.job = job};
    lay_run_table table = {0};
    char **names = NULL;
    size_t count = 0;
    lay_status status = LAY_OK;
    if (access(job->table, F_OK) == 0) {
        lay_error why = {0};
        status = lay_run_table_load(job->table, &table, &why);
        if (status != LAY_OK && why.line == 0) status = LAY_OK; /* a table without rows is none */
        if (status != LAY_OK) *err = why;
    }
    if (status == LAY_OK) status = list_folder(job->folder, &names, &count, err);
    for (size_t i = 0; status == LAY_OK && i < count; i++) status = rescue_file(&r, &table, names[i], err);
    if (status == LAY_OK) tell_of_missing(&r, &table);
    if (status == LAY_OK) status = say(&r, out, err);
    for (size_t i = 0; i < count; i++) free(names[i]);
    free(names);
    lay_run_table_free(&table);
    lay_text_free(&r.said);
    return status;
}
