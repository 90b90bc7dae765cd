/* layshaft listen: one part of a recording alone, or the recording without it, as a file and to the ear. */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "listen.h"
#include "run_name.h"
#include "sound.h"
#include "terminal.h"

static void listening_free(lay_listening *w) {
    if (w->analysed) lay_run_evidence_free(&w->run);
    lay_job_free(&w->job);
    free(w->path);
}

static lay_status load(const lay_listen_options *o, char **operands, lay_listening *w, lay_error *err) {
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

/* The warnings, one a line, as one sentence. */
static void join(const char *lines, lay_text *out) {
    for (const char *at = lines; at && *at; at += strspn(at, "\n")) {
        size_t n = strcspn(at, "\n");
        lay_text_add(out, "%s%.*s", out->length > 0 ? "; " : "", (int)n, at);
        at += n;
    }
}

static lay_status unusable(const lay_listening *w, lay_error *err) {
    lay_text why = {0};
    join(w->run.warnings.text, &why);
    lay_fail_file(err, LAY_BAD_INPUT, w->job.table.runs[w->row].file, "no part can be told from the rest here: %s",
                  why.text && !why.failed ? why.text : "the recording cannot be used");
    lay_text_free(&why);
    return LAY_BAD_INPUT;
}

static lay_status analyse(const lay_listen_options *o, lay_listening *w, lay_error *err) {
    const lay_run_spec *spec = &w->job.table.runs[w->row];
    if (!o->common.quiet) lay_terminal_note("reading the recording");
    lay_status status = lay_run_analyse(w->job.unit, spec, w->job.table.path, NULL, &w->run, err);
    if (!o->common.quiet) lay_terminal_note(NULL);
    if (status != LAY_OK) return status;
    w->analysed = true;
    return w->run.usable ? LAY_OK : unusable(w, err);
}

/* ---- the answer ---- */

static void describe(const lay_listen_options *o, lay_listening *w) {
    w->result.spec = &w->job.table.runs[w->row];
    w->result.number = w->row + 1;
    w->result.name = w->choice.name;
    w->result.without = o->without != NULL;
    w->result.unsure = !lay_run_trusted(&w->run);
    w->result.orders = &w->choice.orders;
    w->result.ring = &w->choice.ring;
    w->result.width = w->choice.options.width;
    w->result.mean_hz = w->run.mean_hz;
    w->result.file = w->path;
}

/* Text comes before it is played, so that one knows what one hears; JSON after. */
static lay_status answer(const lay_listen_options *o, lay_listening *w, bool played, lay_text *out) {
    bool colour = lay_terminal_colour((lay_colour)o->colour);
    if (o->common.json) return played ? lay_report_listen_json(w->job.unit, &w->result, false, out) : LAY_OK;
    if (o->common.quiet) {
        if (!played) lay_text_add(out, "%s\n", w->path);
        return out->failed ? LAY_NO_MEMORY : LAY_OK;
    }
    return played ? lay_report_listen_played(&w->result, colour, lay_terminal_width(), out)
                  : lay_report_listen_text(&w->result, colour, lay_terminal_width(), out);
}

static lay_status say(const lay_listen_options *o, lay_listening *w, bool played, int *exit_status) {
    lay_text out = {0};
    lay_status status = answer(o, w, played, &out);
    if (status == LAY_OK && out.length > 0) *exit_status = lay_cli_print(&out);
    lay_text_free(&out);
    return status;
}

static int run(const lay_listen_options *o, char **operands) {
    lay_listening w = {0};
    lay_error err = {0};
    char why[256] = "";
    int exit_status = 0;
    lay_status status = load(o, operands, &w, &err);
    if (status == LAY_OK) status = analyse(o, &w, &err);
    if (status == LAY_OK) status = lay_listen_choose(o, &w, &err);
    if (status == LAY_OK) status = lay_listen_write(o, operands[0], &w, &err);
    if (status == LAY_OK) describe(o, &w);
    if (status == LAY_OK) status = say(o, &w, false, &exit_status);
    if (status == LAY_OK && exit_status == 0) status = lay_listen_play(o, &w, why, sizeof why, &err);
    if (status == LAY_OK && exit_status == 0) status = say(o, &w, true, &exit_status);
    if (status != LAY_OK) exit_status = lay_cli_finish(status, &err);
    listening_free(&w);
    return exit_status;
}

static const char about[] =
    "Writes a recording with only one part in it, or all but that part, and plays it where there is a sound device, so "
    "that a customer can say 'that is the noise' or 'that is not it'. RUN is a row of runs.csv, by its number or file "
    "name; a part is a mesh, a wheel or shaft, a bearing, the engine, the axle or another rotor of the unit file. "
    "Tones are taken along the orders they follow, so everything else stays as it is; of a bearing, which has no tone, "
    "the band is taken in which its blows ring. The part and the recording without it add up to the recording. The "
    "file goes to JOB/report. Start with the volume down.";
static const char examples[] = "  layshaft listen bench-five-speed 2 --part 'third pair'\n"
                               "  layshaft listen bench-five-speed 2 --without 'third pair'\n"
                               "  layshaft listen bench-five-speed third.wav --order 17.25 --lift 20 --no-play\n";

/* What does not go together; NULL when all is well. */
static const char *conflict(const lay_listen_options *o, int count) {
    int chosen = (o->part != NULL) + (o->without != NULL) + o->order_given;
    if (!o->unit && count == 0) return "JOB and RUN are missing";
    if (!o->unit && count == 1) return "RUN is missing: the number or file name of a row of runs.csv";
    if (!o->unit && count > 2) return "one run at a time";
    if (o->unit && count != 1) return count ? "one recording at a time" : "name the recording after the options";
    if (chosen == 0) return "say what to listen to: --part PART, --without PART or --order N";
    if (chosen > 1) return "--part, --without and --order exclude each other";
    if (o->no_play && o->device) return "--device is for playing; --no-play plays nothing";
    return NULL;
}

#define OWN_ROWS 11 /* before those that single recordings share */

int lay_cmd_listen(int argc, char **argv) {
    lay_listen_options o = {0};
    lay_single *s = &o.single;
    lay_option options[OWN_ROWS + LAY_SINGLE_ROWS] = {
        {"part", LAY_OPTION_TEXT, &o.part, "PART", "only this part of the unit", 0, 0, NULL},
        {"without", LAY_OPTION_TEXT, &o.without, "PART",
         "the recording without this part, or without an order: a number", 0, 0, NULL},
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
    if (o.devices) return lay_sound_print_devices(false);
    if (o.unit == NULL && lay_single_stray(s) != NULL)
        return lay_cli_usage_error(&usage, "--%s is for recordings named with --unit; in a job runs.csv says it",
                                   lay_single_stray(s));
    const char *wrong = conflict(&o, count);
    return wrong != NULL ? lay_cli_usage_error(&usage, "%s", wrong) : run(&o, operands);
}
