/* layshaft simulate OUT: a job folder of recordings whose fault is known. */
#include <layshaft/sim.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "commands.h"
#include "fault_words.h"
#include "options.h"

typedef struct simulate_options {
    const char *unit, *fault, *second, *louder;
    int seed, occasion, specimen, world, format, speed_given;
    double strength, seconds, rate, engine;
    bool no_tach, strength_given, speed_chosen, speed_truth, events, booms, no_gear;
} simulate_options;

static lay_status take_fault(const lay_unit *unit, const char *words, const simulate_options *o, lay_sim_options *sim,
                             lay_fault *faults, lay_error *err) {
    if (!words) return LAY_OK;
    lay_fault *fault = &faults[sim->fault_count];
    lay_status status = lay_fault_from_words(unit, words, fault, err);
    if (o->strength_given) fault->strength_db = o->strength;
    sim->faults = faults;
    sim->fault_count++;
    return status;
}

/* "MESH:DB" */
static lay_status take_louder(const lay_unit *unit, const char *words, lay_sim_louder *louder, lay_error *err) {
    const char *colon = strrchr(words, ':');
    size_t length = colon ? (size_t)(colon - words) : 0;
    if (!colon || !lay_parse_number(colon + 1, &louder->db) || !(fabs(louder->db) <= 60))
        return lay_fail(err, LAY_BAD_INPUT,
                        "--louder '%s': give a mesh and decibels from -60 to 60, as in 'third pair:3'", words);
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (strlen(unit->meshes[m].name) == length && strncasecmp(unit->meshes[m].name, words, length) == 0) {
            louder->mesh = (int)m;
            return LAY_OK;
        }
    return lay_fail(err, LAY_BAD_INPUT, "--louder: the unit has no mesh '%.*s'", (int)length, words);
}

/* truth.json is the answer in both forms; it is short. */
static lay_status describe(const char *folder, bool json, size_t fault_count, lay_text *out, lay_error *err) {
    if (!json) {
        lay_text_add(out, "%s: unit.ini, runs.csv, recordings; %zu fault%s, written to truth.json\n", folder,
                     fault_count, fault_count == 1 ? "" : "s");
        return LAY_OK;
    }
    char *path = lay_path_join(folder, "truth.json"), *truth = NULL;
    size_t length;
    lay_status status =
        path ? lay_read_file(path, 1u << 24, &truth, &length, err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK) lay_text_add(out, "%s", truth);
    free(truth);
    free(path);
    return status;
}

static lay_status run(const char *folder, const simulate_options *o, const lay_common *common, lay_text *out,
                      lay_error *err) {
    lay_unit *unit = NULL;
    lay_fault faults[2] = {0}, drawn[4];
    lay_sim_louder louder;
    size_t count = 0;
    lay_sim_options sim = {.seed = (uint64_t)o->seed,
                           .occasion = (uint64_t)o->occasion,
                           .specimen = (uint64_t)o->specimen,
                           .louder = &louder,
                           .louder_count = o->louder ? 1 : 0,
                           .world = (lay_world)o->world,
                           .tach = !o->no_tach,
                           .rate = o->rate,
                           .seconds = o->seconds,
                           .format = (lay_file_format)o->format,
                           .speed_given = (lay_speed_given)o->speed_given,
                           .hide_gear = o->no_gear,
                           .speed_truth = o->speed_truth,
                           .events = o->events,
                           .booms = o->booms,
                           .engine_db = o->engine};
    if (o->strength_given && !o->fault) sim.strength_low_db = sim.strength_high_db = o->strength;
    lay_status status = o->unit ? lay_unit_load(o->unit, &unit, err) : lay_sim_unit(sim.seed, &unit, err);
    if (status == LAY_OK) status = take_fault(unit, o->fault, o, &sim, faults, err);
    if (status == LAY_OK) status = take_fault(unit, o->second, o, &sim, faults, err);
    if (status == LAY_OK && o->louder) status = take_louder(unit, o->louder, &louder, err);
    if (status == LAY_OK) status = lay_sim_job(folder, unit, &sim, drawn, &count, err);
    if (status == LAY_OK && (common->json || !common->quiet)) status = describe(folder, common->json, count, out, err);
    lay_unit_free(unit);
    return status;
}

int lay_cmd_simulate(int argc, char **argv) {
    simulate_options o = {.seed = 1, .world = LAY_WORLD_ROAD, .strength = 12};
    const lay_option options[] = {
        {.name = "unit",
         .type = LAY_OPTION_TEXT,
         .value = &o.unit,
         .argument = "FILE",
         .help = "unit file (default: a random unit)"},
        {.name = "seed",
         .type = LAY_OPTION_COUNT,
         .value = &o.seed,
         .argument = "N",
         .low = 0,
         .high = 2147483647,
         .help = "the same seed gives the same recordings (default 1)"},
        {.name = "occasion",
         .type = LAY_OPTION_COUNT,
         .value = &o.occasion,
         .argument = "N",
         .low = 0,
         .high = 2147483647,
         .help = "the same unit and vehicle on another day, e.g. after a repair (default 0)"},
        {.name = "specimen",
         .type = LAY_OPTION_COUNT,
         .value = &o.specimen,
         .argument = "N",
         .low = 0,
         .high = 2147483647,
         .help = "another unit of the same build in the same mounting (default 0)"},
        {.name = "louder",
         .type = LAY_OPTION_TEXT,
         .value = &o.louder,
         .argument = "MESH:DB",
         .help = "one mesh so much louder than it would be, or quieter"},
        {.name = "world",
         .type = LAY_OPTION_CHOICE,
         .value = &o.world,
         .argument = "quiet|stand|road|cabin",
         .help = "where it is recorded (default road)"},
        {.name = "fault",
         .type = LAY_OPTION_TEXT,
         .value = &o.fault,
         .argument = "KIND:PART[:WHEEL][:FLANK][:CONDITION]",
         .help = "what is wrong; kinds: none, mesh, eccentric, chip, ghost, outer, inner, element, cage, axle, rotor, "
                 "unknown (default: drawn); conditions of a mesh: worn, askew, loose, mismatch, cracked"},
        {.name = "second-fault",
         .type = LAY_OPTION_TEXT,
         .value = &o.second,
         .argument = "KIND:PART...",
         .help = "one more fault at the same time"},
        {.name = "strength",
         .type = LAY_OPTION_NUMBER,
         .value = &o.strength,
         .argument = "DB",
         .low = -40,
         .high = 60,
         .given = &o.strength_given,
         .help = "tone-to-noise ratio of the strongest line, or crest over rms of impacts (default: drawn)"},
        {.name = "no-tach",
         .type = LAY_OPTION_FLAG,
         .value = &o.no_tach,
         .help = "only stated speeds, no tach channel"},
        {.name = "speed-given",
         .type = LAY_OPTION_CHOICE,
         .value = &o.speed_given,
         .argument = "stated|rough|range|none|log|road|mixed",
         .given = &o.speed_chosen,
         .help = "what the table says of the speed, with --no-tach (default stated)"},
        {.name = "no-gear", .type = LAY_OPTION_FLAG, .value = &o.no_gear, .help = "the table leaves the gear empty"},
        {.name = "speed-truth",
         .type = LAY_OPTION_FLAG,
         .value = &o.speed_truth,
         .help = "write the true speed of the shaft over time into truth.json"},
        {.name = "events",
         .type = LAY_OPTION_FLAG,
         .value = &o.events,
         .help = "gear shifts, clutch, blips, standstill, speech and music within the recordings"},
        {.name = "booms",
         .type = LAY_OPTION_FLAG,
         .value = &o.booms,
         .help = "resonances of the cabin lift and swallow engine orders"},
        {.name = "engine",
         .type = LAY_OPTION_NUMBER,
         .value = &o.engine,
         .argument = "DB",
         .low = -60,
         .high = 60,
         .help = "the engine so much louder than usual, or quieter (default 0)"},
        {.name = "seconds",
         .type = LAY_OPTION_NUMBER,
         .value = &o.seconds,
         .argument = "S",
         .low = 1,
         .high = 86400,
         .help = "length of each run (default: drawn)"},
        {.name = "rate",
         .type = LAY_OPTION_NUMBER,
         .value = &o.rate,
         .argument = "HZ",
         .low = 8000,
         .high = 384000,
         .help = "samples per second (default: drawn)"},
        {.name = "format",
         .type = LAY_OPTION_CHOICE,
         .value = &o.format,
         .argument = "wav16|wav24|float|flac16|flac24",
         .help = "kind of file (default wav16)"},
    };
    const lay_usage usage = {.command = "simulate",
                             .synopsis = "[options] OUT\n",
                             .about = "Writes a new job folder OUT with a unit file, a table of runs, recordings, and "
                                      "in truth.json what was put into "
                                      "them. Nothing is overwritten.",
                             .examples = "  layshaft simulate --unit unit.ini --fault \"mesh:third pair:drive\" whine\n"
                                         "  layshaft simulate --seed 7 --world cabin --no-tach practice\n",
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_low = 1,
                             .operands_high = 1};
    lay_common common;
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (o.second && !o.fault) return lay_cli_usage_error(&usage, "--second-fault needs --fault");
    if (o.speed_chosen && !o.no_tach) return lay_cli_usage_error(&usage, "--speed-given needs --no-tach");
    lay_error err = {0};
    lay_text out = {0};
    lay_status status = run(operands[0], &o, &common, &out, &err);
    exit_status = lay_cli_finish(status, &err);
    if (status == LAY_OK && out.length > 0) exit_status = lay_cli_print(&out);
    lay_text_free(&out);
    return exit_status;
}
