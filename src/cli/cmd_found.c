/* layshaft found: what the teardown showed, noted beside the verdict. */
#include <layshaft/report.h>

#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "clock.h"
#include "commands.h"
#include "options.h"
#include "terminal.h"
#include "unit_name.h"

typedef struct found_options {
    const char *part, *body, *note, *word;
    lay_found_what what; /* that `word` means */
    int colour;
    lay_common common;
} found_options;

typedef struct finding {
    lay_unit *unit;
    const char *part; /* as the unit file spells it, or as given for something outside */
    const char *body;
    lay_told told;
} finding;

/* ---- which part ---- */

static const char *part_of_unit(const lay_unit *u, const char *name, lay_part_type *type) {
    static const char engine[] = "engine", axle[] = "axle";
    for (size_t i = 0; i < u->mesh_count; i++)
        if (strcasecmp(u->meshes[i].name, name) == 0) return *type = LAY_PART_MESH, u->meshes[i].name;
    for (size_t i = 0; i < u->bearing_count; i++)
        if (strcasecmp(u->bearings[i].name, name) == 0) return *type = LAY_PART_BEARING, u->bearings[i].name;
    for (size_t i = 0; i < u->rotor_count; i++)
        if (strcasecmp(u->rotors[i].name, name) == 0) return *type = LAY_PART_ROTOR, u->rotors[i].name;
    if (u->engine.present && strcasecmp(name, engine) == 0) return *type = LAY_PART_ENGINE, engine;
    if (u->axle.present && strcasecmp(name, axle) == 0) return *type = LAY_PART_AXLE, axle;
    return NULL;
}

static lay_status unknown_part(const lay_unit *u, const char *name, lay_error *err) {
    const char **names = lay_calloc(u->mesh_count + u->bearing_count + 1, sizeof *names);
    size_t count = 0;
    if (!names) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; i < u->mesh_count; i++) names[count++] = u->meshes[i].name;
    for (size_t i = 0; i < u->bearing_count; i++) names[count++] = u->bearings[i].name;
    const char *near = lay_nearest(name, names, count);
    lay_fail(
        err, LAY_BAD_INPUT,
        "the unit has no mesh or bearing called '%.80s'%s%s%s; what is not in its file is found with --what outside",
        name, near ? " (did you mean '" : "", near ? near : "", near ? "'?)" : "");
    free(names);
    return LAY_BAD_INPUT;
}

static bool of_bearings(lay_found_what what) {
    return what == LAY_FOUND_OUTER || what == LAY_FOUND_INNER || what == LAY_FOUND_ELEMENT || what == LAY_FOUND_CAGE;
}

static bool of_teeth(lay_found_what what) {
    return what == LAY_FOUND_TEETH || what == LAY_FOUND_RUN_OUT || what == LAY_FOUND_CHIP || what == LAY_FOUND_WAVES;
}

static lay_status fits(lay_found_what what, lay_part_type type, const char *part, lay_error *err) {
    bool inside = type == LAY_PART_MESH || type == LAY_PART_BEARING;
    if (of_bearings(what) && type != LAY_PART_BEARING)
        return lay_fail(err, LAY_BAD_USAGE, "'%s' is for bearings, and '%s' is none", lay_found_word(what), part);
    if (of_teeth(what) && type != LAY_PART_MESH)
        return lay_fail(err, LAY_BAD_USAGE, "'%s' is for gear pairs, and '%s' is none", lay_found_word(what), part);
    if (what == LAY_FOUND_OUTSIDE && inside)
        return lay_fail(err, LAY_BAD_USAGE, "'%s' is a part of the transmission, not outside", part);
    if (!inside && what != LAY_FOUND_OUTSIDE && what != LAY_FOUND_GOOD)
        return lay_fail(err, LAY_BAD_USAGE,
                        "'%s' is outside the transmission: say --what outside, and the rest in --note", part);
    return LAY_OK;
}

static lay_status choose_part(const found_options *o, finding *f, lay_error *err) {
    lay_found_what what = o->what;
    lay_part_type type = LAY_PART_MESH;
    f->part = "";
    if (!o->part) return LAY_OK;
    f->part = part_of_unit(f->unit, o->part, &type);
    if (f->part) return fits(what, type, f->part, err);
    if (what != LAY_FOUND_OUTSIDE) return unknown_part(f->unit, o->part, err);
    f->part = o->part;
    return LAY_OK;
}

static lay_status choose_body(const found_options *o, finding *f, lay_error *err) {
    f->body = "";
    if (!o->body) return LAY_OK;
    int body = lay_unit_body(f->unit, o->body);
    for (size_t i = 0; i < f->unit->mesh_count; i++) {
        const lay_mesh *m = &f->unit->meshes[i];
        if (strcmp(m->name, f->part) != 0 || (m->driver.body != body && m->driven.body != body)) continue;
        f->body = f->unit->bodies[body].name;
        return LAY_OK;
    }
    return lay_fail(err, LAY_BAD_INPUT, "'%.80s' is no wheel of '%s'", o->body, f->part);
}

/* ---- beside the verdict ---- */

static lay_status ask_report(const char *job, const found_options *o, finding *f, lay_error *err) {
    char *path = lay_path_join(job, "report/report.json");
    lay_status status = path ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK && access(path, F_OK) != 0)
        status = lay_fail_file(err, LAY_BAD_INPUT, job,
                               "there is no verdict to compare with yet; first run 'layshaft diagnose' on this job");
    if (status == LAY_OK) status = lay_report_tell(path, f->part, o->what == LAY_FOUND_OUTSIDE, &f->told, err);
    free(path);
    return status;
}

static lay_status note(const char *table, const found_options *o, const finding *f, lay_error *err) {
    lay_moment now = lay_clock_moment();
    /* only read from: the strings stay ours */
    lay_found row = {.when = now.text,
                     .part = (char *)(uintptr_t)f->part,
                     .body = (char *)(uintptr_t)f->body,
                     .note = (char *)(uintptr_t)o->note,
                     .what = o->what,
                     .outcome = (char *)(uintptr_t)f->told.outcome,
                     .named = f->told.named,
                     .probability = f->told.probability,
                     .state = (char *)(uintptr_t)f->told.state};
    return lay_found_add(table, &row, err);
}

static int show(const char *table, const lay_unit *unit, const found_options *o) {
    lay_found_table found = {0};
    lay_text out = {0};
    lay_error err = {0};
    lay_status status = lay_found_load(table, &found, &err);
    if (status == LAY_OK && o->common.json) status = lay_report_found_json(unit, &found, false, &out);
    if (status == LAY_OK && !o->common.json)
        status =
            lay_report_found_text(unit, &found, lay_terminal_colour((lay_colour)o->colour), lay_terminal_width(), &out);
    int exit_status = status != LAY_OK ? lay_cli_finish(status, &err) : o->common.quiet ? 0 : lay_cli_print(&out);
    lay_text_free(&out);
    lay_found_free(&found);
    return exit_status;
}

static int run(const found_options *o, const char *job) {
    finding f = {0};
    lay_error err = {0};
    char *table = lay_path_join(job, "found.csv");
    lay_status status = table ? LAY_OK : lay_fail(&err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK) status = lay_cli_load_unit(job, &f.unit, &err);
    if (status == LAY_OK && o->word) {
        status = choose_part(o, &f, &err);
        if (status == LAY_OK) status = choose_body(o, &f, &err);
        if (status == LAY_OK) status = ask_report(job, o, &f, &err);
        if (status == LAY_OK) status = note(table, o, &f, &err);
    }
    int exit_status = status == LAY_OK ? show(table, f.unit, o) : lay_cli_finish(status, &err);
    lay_unit_free(f.unit);
    free(table);
    return exit_status;
}

static const char about[] =
    "Notes what the teardown of a job showed, part by part, beside what the verdict had said of it: a row in "
    "JOB/found.csv. WHAT is good; of a gear pair teeth (worn, pitted, scuffed, wrong contact), run-out, chip or waves; "
    "of "
    "a bearing outer, inner, element or cage; play (preload or end play); other; or outside the transmission. Good "
    "parts that were looked at count as much as bad ones. Without --part, 'good' is said of the "
    "unit "
    "as a whole. Without --what it shows what is noted so far. 'layshaft ledger' counts over all jobs how often the "
    "verdicts were right. A slip of the pen is put right by noting the part again: the newer row holds.";
static const char examples[] = "  layshaft found third-whine --part 'third pair' --what teeth --note 'pitted'\n"
                               "  layshaft found third-whine --part 'countershaft front' --what good\n"
                               "  layshaft found hum-in-fourth --part 'left wheel bearing' --what outside\n";

static bool understand(const char *word, lay_found_what *what) {
    for (int i = 0; i < LAY_FOUND_COUNT; i++)
        if (strcasecmp(word, lay_found_word((lay_found_what)i)) == 0) return *what = (lay_found_what)i, true;
    return false;
}

static const char *conflict(found_options *o) {
    if (o->word && !understand(o->word, &o->what))
        return "--what is one of good, teeth, run-out, chip, waves, outer, inner, element, cage, play, outside, other";
    if (!o->word && (o->part || o->body || o->note)) return "say what was found with --what";
    if (!o->word) return NULL;
    if (!o->part && o->what != LAY_FOUND_GOOD) return "say which part with --part";
    if (o->body && !o->part) return "--body is a wheel of the gear pair that --part names";
    return NULL;
}

int lay_cmd_found(int argc, char **argv) {
    found_options o = {0};
    const lay_option options[] = {
        {"part", LAY_OPTION_TEXT, &o.part, "PART", "mesh, bearing or rotor of the unit, or something outside it", 0, 0,
         NULL},
        {"what", LAY_OPTION_TEXT, &o.word, "WHAT", "what was found, one of the words above", 0, 0, NULL},
        {"body", LAY_OPTION_TEXT, &o.body, "BODY", "the wheel of the gear pair it was found on", 0, 0, NULL},
        {"note", LAY_OPTION_TEXT, &o.note, "TEXT", "a note, in your own words", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "found",
                             .synopsis = "[options] JOB\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 1,
                             .operands_high = 1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    const char *wrong = conflict(&o);
    return wrong ? lay_cli_usage_error(&usage, "%s", wrong) : run(&o, operands[0]);
}
