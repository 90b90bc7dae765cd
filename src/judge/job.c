#include <layshaft/judge.h>

#include <stdlib.h>
#include <sys/stat.h>

static bool exists(const char *path) {
    struct stat info;
    return stat(path, &info) == 0;
}

/* The file of a job, or an error that says how to make it. Caller frees. */
static char *job_file(const char *folder, const char *name, const char *remedy, lay_error *err) {
    char *path = lay_path_join(folder, name);
    if (!path) {
        lay_fail(err, LAY_NO_MEMORY, "not enough memory");
        return NULL;
    }
    if (exists(path)) return path;
    lay_fail_file(err, LAY_BAD_INPUT, folder, "the job has no %s: %s", name, remedy);
    free(path);
    return NULL;
}

lay_status lay_job_load(const char *folder, lay_job *out, lay_error *err) {
    *out = (lay_job){0};
    struct stat info;
    if (stat(folder, &info) != 0)
        return lay_fail_file(err, LAY_BAD_INPUT, folder,
                             "there is no such folder; a job is a folder with unit.ini, runs.csv and recordings");
    if (!S_ISDIR(info.st_mode))
        return lay_fail_file(err, LAY_BAD_INPUT, folder,
                             "this is a file; a job is a folder with unit.ini and runs.csv (for single recordings use "
                             "--unit and --gear)");
    char *unit = job_file(folder, "unit.ini", "write the shafts, tooth counts and gears of the unit into it", err);
    char *table =
        unit ? job_file(folder, "runs.csv", "write a line 'file,gear,load,rpm' and a line for each recording", err)
             : NULL;
    lay_status status = unit && table ? LAY_OK : (err ? err->code : LAY_BAD_INPUT);
    if (status == LAY_OK) status = lay_unit_load(unit, &out->unit, err);
    if (status == LAY_OK) status = lay_run_table_load(table, &out->table, err);
    if (status == LAY_OK && !(out->folder = lay_strdup(folder)))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    free(unit);
    free(table);
    if (status != LAY_OK) lay_job_free(out);
    return status;
}

void lay_job_free(lay_job *job) {
    if (!job) return;
    free(job->folder);
    lay_unit_free(job->unit);
    lay_run_table_free(&job->table);
    *job = (lay_job){0};
}
