/* layshaft listen: one part of a recording alone, or the recording without it, as a file and to the ear. */
#include <layshaft/report.h>

#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "commands.h"
#include "options.h"
#include "run_name.h"
#include "single.h"
#include "terminal.h"

#define LOUDEST 0.89 /* of full scale, when lifted: 1 dB below */

typedef struct listen_options {
    const char *unit, *part, *without, *output, *device;
    lay_single single;
    double order, width, lift;
    bool order_given, width_given, no_play, devices;
    int colour;
    lay_common common;
} listen_options;

/* The job, the run, what it says, and what is taken out of it. */
typedef struct work {
    lay_job job;
    size_t row;
    lay_run_evidence run;
    bool analysed;
    lay_part_orders orders;
    double values[LAY_PART_ORDERS_MAX];
    lay_alone_options alone;
    lay_listen_result result;
    char *path;
} work;

static void work_free(work *w) {
    if (w->analysed) lay_run_evidence_free(&w->run);
    lay_job_free(&w->job);
    free(w->path);
}

/* ---- what is asked for ---- */

static lay_status load(const listen_options *o, char **operands, work *w, lay_error *err) {
    lay_status status;
    if (o->unit) {
        status = lay_unit_load(o->unit, &w->job.unit, err);
        if (status == LAY_OK) status = lay_single_table(&o->single, operands, 1, &w->job.table, err);
    } else {
        status = lay_job_load(operands[0], &w->job, err);
        if (status == LAY_OK) status = lay_cli_find_run(&w->job.table, operands[1], &w->row, err);
    }
    return status;
}

static const char *wanted(const listen_options *o) {
    return o->part ? o->part : o->without;
}

static const lay_expected *bearing_named(const work *w, const char *name) {
    for (size_t i = 0; i < w->run.expected_count; i++)
        if (w->run.expected[i].type == LAY_PART_BEARING && strcasecmp(w->run.expected[i].name, name) == 0)
            return &w->run.expected[i];
    return NULL;
}

static lay_status choose(const listen_options *o, work *w, lay_error *err) {
    const char *name = wanted(o);
    const lay_expected *bearing = name ? bearing_named(w, name) : NULL;
    w->orders.body = -1;
    w->alone.width = o->width_given ? o->width : lay_run_order_width(&w->run);
    if (bearing) {
        if (!lay_run_ring_band(&w->run, bearing, &w->alone.low_hz, &w->alone.high_hz))
            return lay_fail(err, LAY_BAD_INPUT, "'%s' does not turn in this run, or its blows cannot be looked for",
                            name);
        w->result.name = bearing->name;
        return LAY_OK;
    }
    if (name) {
        lay_status status = lay_run_part_orders(w->job.unit, &w->run, name, &w->orders, err);
        if (status != LAY_OK) return status;
        w->result.name = w->orders.part ? w->orders.part->name : w->job.unit->bodies[w->orders.body].name;
    } else {
        w->orders.items[0] = (lay_part_order){.order = o->order, .harmonic = 1, .body = -1, .above_floor_db = NAN};
        w->orders.count = 1;
    }
    for (size_t i = 0; i < w->orders.count; i++) w->values[i] = w->orders.items[i].order;
    w->alone.orders = w->values;
    w->alone.order_count = w->orders.count;
    return LAY_OK;
}

static lay_status analyse(work *w, lay_error *err) {
    lay_status status = lay_run_analyse(w->job.unit, &w->job.table.runs[w->row], w->job.table.path, NULL, &w->run, err);
    if (status != LAY_OK) return status;
    w->analysed = true;
    if (w->run.usable) return LAY_OK;
    return lay_fail_file(err, LAY_BAD_INPUT, w->job.table.runs[w->row].file,
                         "no part can be told from the rest here: %s",
                         w->run.warnings.text ? w->run.warnings.text : "");
}

/* ---- where it goes ---- */

static void add_name(const char *name, lay_text *out) {
    for (; *name; name++) {
        bool plain = (*name >= 'a' && *name <= 'z') || (*name >= 'A' && *name <= 'Z') || (*name >= '0' && *name <= '9');
        lay_text_add(out, "%c", plain ? *name : '-');
    }
}

/* JOB/report/listen-NN-part.wav; what an earlier call left there is ours and goes. */
static lay_status make_path(const listen_options *o, char **operands, work *w, lay_error *err) {
    lay_text name = {0};
    lay_status status = LAY_OK;
    if (o->output) {
        w->path = lay_strdup(o->output);
    } else {
        char *folder = o->unit ? lay_strdup(".") : lay_path_join(operands[0], "report");
        if (folder && !o->unit) status = lay_make_folder(folder, err);
        lay_text_add(&name, "listen-%02zu-%s", w->row + 1, o->without ? "without-" : "");
        if (w->result.name)
            add_name(w->result.name, &name);
        else
            lay_text_add(&name, "order-%g", o->order);
        lay_text_add(&name, ".wav");
        w->path = folder && !name.failed ? lay_path_join(folder, name.text) : NULL;
        if (w->path && status == LAY_OK && !o->unit) unlink(w->path);
        free(folder);
    }
    lay_text_free(&name);
    if (!w->path && status == LAY_OK) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    return status;
}

typedef struct output {
    lay_writer *writer; /* NULL: only the level is taken */
    bool without;
    double gain, peak, part, whole; /* power sums */
    size_t channels;
    double *scaled;
    size_t room;
} output;

static lay_status write_block(const double *part, const double *rest, size_t frames, void *user, lay_error *err) {
    output *out = user;
    size_t n = frames * out->channels;
    const double *from = out->without ? rest : part;
    if (n > out->room) {
        double *more = realloc(out->scaled, n * sizeof *more);
        if (!more) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
        out->scaled = more;
        out->room = n;
    }
    for (size_t i = 0; i < n; i++) {
        out->scaled[i] = out->gain * from[i];
        out->peak = fmax(out->peak, fabs(out->scaled[i]));
        out->part += part[i] * part[i];
        out->whole += (part[i] + rest[i]) * (part[i] + rest[i]);
    }
    return out->writer ? lay_writer_write(out->writer, out->scaled, frames, err) : LAY_OK;
}

static lay_status pass(work *w, output *out, lay_error *err) {
    out->peak = out->part = out->whole = 0;
    return lay_run_alone(w->job.unit, &w->job.table.runs[w->row], w->job.table.path, &w->run, &w->alone, write_block,
                         out, err);
}

/* Lifting asks for the peak first, so that nothing is overdriven. */
static lay_status find_gain(const listen_options *o, work *w, output *out, lay_error *err) {
    out->gain = pow(10, o->lift / 20);
    if (!(o->lift > 0)) return LAY_OK;
    lay_status status = pass(w, out, err);
    w->result.turned_down = out->peak > LOUDEST;
    if (w->result.turned_down) out->gain *= LOUDEST / out->peak;
    return status;
}

static lay_status stream_shape(work *w, double *rate, size_t *channels, lay_error *err) {
    lay_run_stream *stream = NULL;
    lay_status status = lay_run_stream_open(w->job.unit, &w->job.table.runs[w->row], w->job.table.path, &stream, err);
    if (status == LAY_OK) *rate = lay_run_stream_rate(stream);
    if (status == LAY_OK) *channels = (size_t)lay_run_stream_channels(stream);
    lay_run_stream_close(stream);
    return status;
}

static lay_status make_file(const listen_options *o, work *w, lay_error *err) {
    output out = {.without = o->without != NULL};
    double rate = 0;
    lay_status status = stream_shape(w, &rate, &out.channels, err);
    if (status == LAY_OK) status = find_gain(o, w, &out, err);
    if (status == LAY_OK)
        status = lay_writer_open(w->path, LAY_FILE_WAV_FLOAT, rate, (int)out.channels, &out.writer, err);
    if (status == LAY_OK) status = pass(w, &out, err);
    if (status == LAY_OK)
        status = lay_writer_close(out.writer, err);
    else if (out.writer)
        lay_writer_discard(out.writer);
    free(out.scaled);
    w->result.peak = out.peak;
    w->result.lift_db = 20 * log10(out.gain);
    w->result.share_db = out.part > 0 && out.whole > 0 ? 10 * log10(out.part / out.whole) : NAN;
    return status;
}

/* ---- to the ear ---- */

static volatile sig_atomic_t interrupted;

static void interrupt(int number) {
    (void)number;
    interrupted = 1;
}

static bool stop(void *user) {
    (void)user;
    return interrupted != 0;
}

/* The sound system writes of its own troubles to standard error; ours says it in plain words. */
static int hush(void) {
    fflush(stderr);
    int kept = dup(STDERR_FILENO), none = open("/dev/null", O_WRONLY);
    if (none >= 0) {
        dup2(none, STDERR_FILENO);
        close(none);
    }
    return kept;
}

static void speak(int kept) {
    if (kept < 0) return;
    dup2(kept, STDERR_FILENO);
    close(kept);
}

/* A missing device is no failure: the file is there. A named one that is missing is. */
static lay_status play(const listen_options *o, work *w, char *why, size_t room, lay_error *err) {
    if (o->no_play) return LAY_OK;
    struct sigaction act = {.sa_handler = interrupt}, before;
    lay_error failed = {0};
    int kept = hush();
    sigaction(SIGINT, &act, &before);
    double gain = w->result.peak > LOUDEST ? LOUDEST / w->result.peak : 1;
    lay_status status = lay_sound_play(w->path, o->device, gain, stop, NULL, &failed);
    sigaction(SIGINT, &before, NULL);
    speak(kept);
    w->result.played = status == LAY_OK;
    if (status == LAY_OK) return LAY_OK;
    snprintf(why, room, "%.200s", failed.message);
    w->result.silent = why;
    if (status == LAY_BAD_INPUT) {
        if (err) *err = failed;
        return status;
    }
    return LAY_OK;
}

static int list_devices(void) {
    lay_text out = {0};
    lay_error err = {0};
    int kept = hush();
    lay_status status = lay_sound_devices(&out, &err);
    speak(kept);
    if (status == LAY_OK && out.length == 0)
        lay_text_add(&out, "%s\n", lay_sound_built() ? "no sound device" : "built without PortAudio: no sound devices");
    int exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    return exit_status;
}

/* ---- the command ---- */

static lay_status answer(const listen_options *o, work *w, lay_text *out) {
    w->result.spec = &w->job.table.runs[w->row];
    w->result.number = w->row + 1;
    w->result.without = o->without != NULL;
    w->result.orders = &w->orders;
    w->result.low_hz = w->alone.low_hz;
    w->result.high_hz = w->alone.high_hz;
    w->result.width = w->alone.width;
    w->result.mean_hz = w->run.mean_hz;
    w->result.file = w->path;
    if (o->common.json) return lay_report_listen_json(w->job.unit, &w->result, false, out);
    if (o->common.quiet) return LAY_OK;
    return lay_report_listen_text(w->job.unit, &w->result, lay_terminal_colour((lay_colour)o->colour),
                                  lay_terminal_width(), out);
}

static int run(const listen_options *o, char **operands) {
    work w = {0};
    lay_text out = {0};
    lay_error err = {0};
    char why[256] = "";
    lay_status status = load(o, operands, &w, &err);
    if (status == LAY_OK) status = analyse(&w, &err);
    if (status == LAY_OK) status = choose(o, &w, &err);
    if (status == LAY_OK) status = make_path(o, operands, &w, &err);
    if (status == LAY_OK) status = make_file(o, &w, &err);
    if (status == LAY_OK) status = play(o, &w, why, sizeof why, &err);
    if (status == LAY_OK) status = answer(o, &w, &out);
    int exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    work_free(&w);
    return exit_status;
}

static const char about[] =
    "Writes a recording with only one part in it, or all but that part, and plays it where there is a sound device, so "
    "that a customer can say 'that is the noise' or 'that is not it'. RUN is a row of runs.csv, by its number or file "
    "name; a part is a mesh, a wheel or shaft, a bearing, the engine, the axle or another rotor of the unit file. "
    "Tones are "
    "taken along the orders they follow, so everything else stays as it is; of a bearing the band is taken in which "
    "its "
    "blows would ring. The file goes to JOB/report; the part and the recording without it add up to the recording. "
    "Start "
    "with the volume down.";
static const char examples[] = "  layshaft listen bench-five-speed 2 --part 'third pair'\n"
                               "  layshaft listen bench-five-speed 2 --without 'third pair'\n"
                               "  layshaft listen bench-five-speed third.wav --order 17.25 --lift 20 --no-play\n";

/* What does not go together; NULL when all is well. */
static const char *conflict(const listen_options *o, int count) {
    int chosen = (o->part != NULL) + (o->without != NULL) + o->order_given;
    if (chosen == 0) return "say what to listen to: --part PART, --without PART or --order N";
    if (chosen > 1) return "--part, --without and --order exclude each other";
    if (o->no_play && o->device) return "--device is for playing; --no-play plays nothing";
    if (o->unit && count != 1) return "name one recording after the options";
    if (!o->unit && count == 0) return "JOB and RUN are missing";
    if (!o->unit && count == 1) return "RUN is missing: the number or file name of a row of runs.csv";
    if (!o->unit && count > 2) return "one run at a time";
    return NULL;
}

#define OWN_ROWS 11 /* before those that single recordings share */

int lay_cmd_listen(int argc, char **argv) {
    listen_options o = {0};
    lay_single *s = &o.single;
    lay_option options[OWN_ROWS + LAY_SINGLE_ROWS] = {
        {"part", LAY_OPTION_TEXT, &o.part, "PART", "only this part of the unit", 0, 0, NULL},
        {"without", LAY_OPTION_TEXT, &o.without, "PART", "the recording without this part", 0, 0, NULL},
        {"order", LAY_OPTION_NUMBER, &o.order, "N", "only this order of the reference shaft", 0.01, 10000,
         &o.order_given},
        {"lift", LAY_OPTION_NUMBER, &o.lift, "DB", "louder by so many dB, as far as full scale allows", -120, 120,
         NULL},
        {"width", LAY_OPTION_NUMBER, &o.width, "ORDERS", "width of what is taken around each order", 0.005, 5,
         &o.width_given},
        {"output", LAY_OPTION_TEXT, &o.output, "FILE", "WAV file to write, a new one (default in JOB/report)", 0, 0,
         NULL},
        {"no-play", LAY_OPTION_FLAG, &o.no_play, NULL, "write the file and play nothing", 0, 0, NULL},
        {"device", LAY_OPTION_TEXT, &o.device, "NAME", "sound device, by its number or part of its name", 0, 0, NULL},
        {"devices", LAY_OPTION_FLAG, &o.devices, NULL, "list the sound devices and stop", 0, 0, NULL},
        {"unit", LAY_OPTION_TEXT, &o.unit, "UNIT", "unit file for a recording named by itself", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    lay_single_options(s, options + OWN_ROWS);
    const lay_usage usage = {.command = "listen",
                             .synopsis = "[options] JOB RUN\n[options] --unit UNIT FILE\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_high = -1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (o.devices) return list_devices();
    if (o.unit == NULL && lay_single_stray(s) != NULL)
        return lay_cli_usage_error(&usage, "--%s is for recordings named with --unit; in a job runs.csv says it",
                                   lay_single_stray(s));
    const char *wrong = conflict(&o, count);
    return wrong != NULL ? lay_cli_usage_error(&usage, "%s", wrong) : run(&o, operands);
}
