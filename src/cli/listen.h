/* What the files of `layshaft listen` share. */
#ifndef LAYSHAFT_CLI_LISTEN_H
#define LAYSHAFT_CLI_LISTEN_H

#include <layshaft/report.h>

#include "options.h"
#include "single.h"

#define LAY_LISTEN_LOUDEST 0.89 /* of full scale, 1 dB below: no lifted or played sample is louder */

typedef struct lay_listen_options {
    const char *unit, *part, *without, *output, *device;
    lay_single single;
    double order, width, lift;
    bool order_given, width_given, no_play, devices;
    int colour;
    lay_common common;
} lay_listen_options;

/* The job, the run, what it says, and what is taken out of it. */
typedef struct lay_listening {
    lay_job job;
    size_t row;
    lay_run_evidence run;
    bool analysed;
    lay_alone_choice choice;
    lay_listen_result result;
    char *path;
} lay_listening;

/* listen_choose.c: what is taken out of the analysed run: fills choice. */
lay_status lay_listen_choose(const lay_listen_options *o, lay_listening *w, lay_error *err);

/* listen_file.c: write the part or the rest: fills path and what result says of levels. `folder` is the job; a file of
 * an earlier call under JOB/report is replaced when the new one is complete, any other file never. */
lay_status lay_listen_write(const lay_listen_options *o, const char *folder, lay_listening *w, lay_error *err);

/* listen_play.c: play the file; without a device `why` says so and all is well. Ctrl-C ends playing only. */
lay_status lay_listen_play(const lay_listen_options *o, lay_listening *w, char *why, size_t room, lay_error *err);

#endif
