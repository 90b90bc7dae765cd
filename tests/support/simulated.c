#include "simulated.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cmocka_all.h"
#include "scratch.h"

static void remove_folder(const char *folder) {
    DIR *dir = opendir(folder);
    if (!dir) return;
    for (const struct dirent *e = readdir(dir); e; e = readdir(dir)) {
        char *path = lay_path_join(folder, e->d_name);
        if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0) unlink(path);
        free(path);
    }
    closedir(dir);
    rmdir(folder);
}

void simulated_diagnosis(const lay_unit *unit, const lay_sim_options *options, const char *read_as, lay_diagnosis *out,
                         lay_unit **used) {
    char folder[] = "/tmp/layshaft-test-XXXXXX";
    lay_error err = {0};
    lay_job job = {0};
    assert_non_null(mkdtemp(folder));
    lay_status status = lay_sim_job(folder, unit, options, NULL, NULL, &err);
    if (status == LAY_OK) status = lay_job_load(folder, &job, &err);
    if (status == LAY_OK && read_as) {
        lay_unit_free(job.unit);
        job.unit = NULL;
        status = lay_unit_parse(read_as, strlen(read_as), "edited.ini", &job.unit, &err);
    }
    if (status == LAY_OK) status = lay_diagnose(job.unit, &job.table, NULL, NULL, NULL, out, &err);
    remove_folder(folder);
    if (status != LAY_OK) fail_msg("%s", err.message);
    *used = job.unit;
    job.unit = NULL;
    lay_job_free(&job);
}

json_t *simulated_job(const lay_sim_options *options) {
    lay_error err = {0};
    scratch_open();
    if (lay_sim_job(scratch_path("."), NULL, options, NULL, NULL, &err) != LAY_OK) fail_msg("%s", err.message);
    json_t *truth = json_load_file(scratch_path("truth.json"), 0, NULL);
    assert_non_null(truth);
    return truth;
}

double simulated_rpm(const json_t *run, const char *list, size_t k) {
    const json_t *value = json_array_get(json_object_get(json_object_get(run, "speed"), list), k);
    return json_is_null(value) ? 0 : json_number_value(value);
}
