/* The job that is recorded into. */
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "record.h"
#include "terminal.h"

/* The unit file may still be missing: the drive does not wait for it. One that is wrong is said, no more. */
static lay_status load_unit(lay_record_job *job, lay_error *err) {
    char *path = lay_path_join(job->folder, "unit.ini");
    lay_error why = {0};
    if (!path) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (access(path, F_OK) == 0 && lay_unit_load(path, &job->unit, &why) != LAY_OK) {
        char text[2048];
        lay_error_format(&why, text, sizeof text);
        fprintf(stderr, "%sthe recording goes on without the unit file; correct it before you diagnose\n", text);
    } else if (!job->unit && !job->options->common.quiet)
        fprintf(stderr, "%s: there is no unit.ini yet, so gears are taken as you name them\n", job->folder);
    free(path);
    return LAY_OK;
}

lay_status lay_record_open(lay_record_job *job, lay_error *err) {
    struct stat info;
    if (stat(job->folder, &info) != 0 || !S_ISDIR(info.st_mode))
        return lay_fail_file(
            err, LAY_BAD_INPUT, job->folder,
            "there is no such folder; make one for the job (mkdir), with the unit file unit.ini in it");
    job->table = lay_path_join(job->folder, "runs.csv");
    job->calibrations = lay_path_join(job->folder, "calibration.csv");
    if (!job->table || !job->calibrations) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    job->screen = lay_terminal_screen() && !job->options->common.quiet ? stderr : NULL;
    return load_unit(job, err);
}

void lay_record_close(lay_record_job *job) {
    free(job->table);
    free(job->calibrations);
    lay_unit_free(job->unit);
}

void lay_record_cautions(const lay_record_job *job, FILE *to) {
    lay_text text = {0};
    if (job->options->common.quiet) return;
    if (lay_report_cautions(lay_terminal_colour((lay_colour)job->options->colour), lay_terminal_width(), &text) ==
        LAY_OK)
        fprintf(to, "%s\n", text.text);
    fflush(to);
    lay_text_free(&text);
}
