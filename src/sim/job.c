/* A whole job folder: unit file, table, recordings, truth. */
#include "render.h"
#include "rpm_log.h"
#include "table.h"
#include "truth.h"

#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static lay_status make_folder(const char *folder, lay_error *err) {
    if (mkdir(folder, 0777) == 0) return LAY_OK;
    if (errno != EEXIST) return lay_fail_file(err, LAY_IO, folder, "the folder cannot be made: %s", strerror(errno));
    DIR *dir = opendir(folder);
    if (!dir) return lay_fail_file(err, LAY_IO, folder, "this is no folder that can be opened: choose another name");
    bool empty = true;
    for (const struct dirent *e = readdir(dir); e; e = readdir(dir))
        if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0) empty = false;
    closedir(dir);
    if (empty) return LAY_OK;
    return lay_fail_file(err, LAY_BAD_INPUT, folder,
                         "the folder is not empty: give a new name, nothing is overwritten");
}

static lay_status check_options(const lay_sim_options *o, lay_error *err) {
    if ((unsigned)o->world >= LAY_WORLD_COUNT)
        return lay_fail(err, LAY_BAD_INPUT, "the world must be one of those listed");
    if (!(o->rate == 0 || (o->rate >= 8000 && o->rate <= 384000)))
        return lay_fail(err, LAY_BAD_INPUT, "the sample rate must lie between 8000 and 384000 Hz");
    if (!(o->seconds == 0 || (o->seconds >= 1 && o->seconds <= 86400)))
        return lay_fail(err, LAY_BAD_INPUT, "a run must last between 1 second and a day");
    if (!(o->strength_low_db <= o->strength_high_db) || !(fabs(o->strength_low_db) <= 100) ||
        !(fabs(o->strength_high_db) <= 100))
        return lay_fail(err, LAY_BAD_INPUT, "the range of strengths must rise and lie within -100..100 dB");
    if (!(fabs(o->engine_db) <= 60)) return lay_fail(err, LAY_BAD_INPUT, "the engine can be changed by at most 60 dB");
    if ((unsigned)o->speed_given >= LAY_GIVEN_COUNT)
        return lay_fail(err, LAY_BAD_INPUT, "what is given of the speed must be one of the words listed");
    if (o->tach && o->speed_given != LAY_GIVEN_STATED)
        return lay_fail(err, LAY_BAD_INPUT, "with a tach nothing else is given of the speed: leave the tach out");
    return LAY_OK;
}

static void name_files(lay_sim_scene *scene) {
    bool flac = scene->options.format == LAY_FILE_FLAC16 || scene->options.format == LAY_FILE_FLAC24;
    for (size_t i = 0; i < scene->run_count; i++)
        strncat(scene->runs[i].file, flac ? ".flac" : ".wav",
                sizeof scene->runs[i].file - strlen(scene->runs[i].file) - 1);
}

/* Write `text` as folder/name and free it. */
static lay_status save(const char *folder, const char *name, lay_text *text, lay_error *err) {
    char *path = lay_path_join(folder, name);
    lay_status status = path && !text->failed ? lay_write_file(path, text->text, text->length, err)
                                              : lay_fail(err, LAY_NO_MEMORY, "no memory to write %s", name);
    free(path);
    lay_text_free(text);
    return status;
}

/* The pickup of a job stays where it is: pulses have the same shape in every run. */
static void keep_shape(const lay_sim_pulses *first, lay_sim_pulses *pulses) {
    pulses->duty = first->duty;
    pulses->low = first->low;
    pulses->high = first->high;
    pulses->jitter = first->jitter;
}

static lay_status render_runs(lay_sim_scene *scene, const lay_sim_tach *tach, const char *folder, lay_error *err) {
    lay_status status = LAY_OK;
    lay_sim_pulses pulses, first = {0};
    for (size_t i = 0; i < scene->run_count && status == LAY_OK; i++) {
        const lay_sim_run *run = &scene->runs[i];
        if (tach->body >= 0)
            lay_sim_pulses_draw(&scene->random, tach->per_turn, fabs(run->kinematics.speed[tach->body].value), &pulses);
        if (tach->body >= 0 && i == 0) first = pulses;
        if (tach->body >= 0) keep_shape(&first, &pulses);
        char *path = lay_path_join(folder, run->file);
        status = path ? lay_sim_render(scene, run, tach->body >= 0 ? &pulses : NULL, path, err)
                      : lay_fail(err, LAY_NO_MEMORY, "no memory for a file name");
        free(path);
    }
    return status;
}

static lay_status save_logs(const lay_sim_scene *scene, const char *folder, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < scene->run_count && status == LAY_OK; i++) {
        if (scene->runs[i].given.kind != LAY_GIVEN_LOG) continue;
        lay_text log = {0};
        lay_sim_log_write(&scene->runs[i], &log);
        status = save(folder, scene->runs[i].given.log_file, &log, err);
    }
    return status;
}

static lay_status write_job(lay_sim_scene *scene, const char *folder, lay_error *err) {
    lay_text unit = {0}, table = {0}, truth = {0};
    lay_sim_tach tach = {.body = -1};
    scene->random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_TABLE);
    if (scene->options.tach) scene->tach = tach = lay_sim_tach_draw(scene);
    name_files(scene);
    if (!scene->options.tach) lay_sim_scene_given(scene);
    lay_sim_unit_text(scene, &unit);
    lay_sim_table_write(scene, &tach, &table);
    lay_sim_truth_write(scene, &truth);
    lay_status status = make_folder(folder, err);
    if (status == LAY_OK) status = render_runs(scene, &tach, folder, err);
    if (status == LAY_OK) status = save_logs(scene, folder, err);
    if (status == LAY_OK) status = save(folder, "unit.ini", &unit, err);
    if (status == LAY_OK) status = save(folder, "runs.csv", &table, err);
    if (status == LAY_OK) status = save(folder, "truth.json", &truth, err);
    lay_text_free(&unit);
    lay_text_free(&table);
    lay_text_free(&truth);
    return status;
}

lay_status lay_sim_job(const char *folder, const lay_unit *unit, const lay_sim_options *options, lay_fault *drawn,
                       size_t *drawn_count, lay_error *err) {
    lay_unit *own = NULL;
    lay_sim_scene *scene = NULL;
    if (drawn_count) *drawn_count = 0;
    lay_status status = check_options(options, err);
    if (status == LAY_OK && !unit) status = lay_sim_unit(options->seed, &own, err);
    if (status != LAY_OK) return status;
    scene = lay_calloc(1, sizeof *scene);
    if (!scene) {
        status = lay_fail(err, LAY_NO_MEMORY, "no memory for a simulated job");
        goto done;
    }
    status = lay_sim_scene_build(scene, unit ? unit : own, options, err);
    if (status == LAY_OK) status = write_job(scene, folder, err);
    for (size_t i = 0; i < scene->fault_count && drawn && status == LAY_OK; i++) drawn[i] = scene->faults[i];
    if (drawn_count && status == LAY_OK) *drawn_count = scene->fault_count;
done:
    if (scene) lay_sim_scene_free(scene);
    free(scene);
    lay_unit_free(own);
    return status;
}
