/* fleet: how often the verdict is right, over many simulated jobs whose truth is known.
 *
 *   fleet --jobs 200 --seed 1 --world all --workers 2
 *
 * Prints tables in Markdown; --jsonl writes one line per job, --keep leaves the job folders in a directory. */
#include "tally.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct fleet_options {
    int jobs, workers, world; /* world -1: all in turn */
    uint64_t seed;
    double low_db, high_db, rate, seconds, engine_db;
    unsigned kinds, conditions;
    bool no_tach, no_gear, events, booms, list_wrong;
    lay_speed_given given;
    fleet_wish wish;
    const char *keep, *jsonl;
} fleet_options;

static const char usage[] =
    "usage: fleet [--jobs N] [--seed S] [--world quiet|stand|road|cabin|all] [--strength LOW HIGH]\n"
    "             [--kinds KIND,...] [--conditions WORD,...] [--rate HZ] [--seconds S] [--events] [--booms] [--engine "
    "DB]\n"
    "             [--no-tach] [--no-gear] [--speed-given stated|rough|range|none|log|road|mixed]\n"
    "             [--speed] [--speed-only] [--pairs] [--workers N] [--keep FOLDER] [--jsonl FILE] [--list-wrong]\n"
    "  --kinds           none, mesh, eccentric, chip, ghost, outer, inner, element, cage, axle, rotor, unknown; or "
    "all;\n"
    "                    none lets three jobs in ten be healthy\n"
    "  --conditions      of mesh faults: plain, worn, askew, loose, mismatch, cracked; or all\n"
    "  --list-wrong      one line for each job whose verdict is wrong\n"
    "  --speed-given     what the tables say of the speed; means --no-tach\n"
    "  --speed           score the speed of every run as well; --speed-only: give no verdict, which is faster\n"
    "  --pairs           diagnose every job a second time with a tach; means --no-tach\n"
    "  --events          gear shifts, clutch, standstill, speech within the runs\n"
    "  --booms           resonances of the cabin on engine orders; --engine DB: the engine louder or quieter\n";

static bool parse_kinds(const char *list, unsigned *kinds) {
    char word[32];
    *kinds = 0;
    while (*list) {
        size_t length = strcspn(list, ",");
        lay_fault_kind kind;
        if (length >= sizeof word) return false;
        memcpy(word, list, length);
        word[length] = '\0';
        if (strcmp(word, "all") == 0)
            *kinds = (1u << LAY_FAULT_COUNT) - 1u;
        else if (lay_fault_kind_parse(word, &kind))
            *kinds |= 1u << kind;
        else
            return false;
        list += length + (list[length] == ',');
    }
    return *kinds != 0;
}

static bool parse_conditions(const char *list, unsigned *conditions) {
    char word[32];
    for (*conditions = 0; *list;) {
        size_t length = strcspn(list, ",");
        lay_condition_kind condition;
        if (length >= sizeof word) return false;
        memcpy(word, list, length);
        word[length] = '\0';
        if (strcmp(word, "all") == 0)
            *conditions = (1u << LAY_CONDITION_COUNT) - 1u;
        else if (lay_condition_parse(word, &condition))
            *conditions |= 1u << condition;
        else
            return false;
        list += length + (list[length] == ',');
    }
    return *conditions != 0;
}

static bool parse_world(const char *word, int *world) {
    lay_world found;
    *world = -1;
    if (strcmp(word, "all") == 0) return true;
    if (!lay_world_parse(word, &found)) return false;
    *world = (int)found;
    return true;
}

static bool parse_flag(const char *name, fleet_options *o) {
    if (strcmp(name, "--no-tach") == 0) return o->no_tach = true;
    if (strcmp(name, "--no-gear") == 0) return o->no_gear = true;
    if (strcmp(name, "--events") == 0) return o->events = true;
    if (strcmp(name, "--booms") == 0) return o->booms = true;
    if (strcmp(name, "--list-wrong") == 0) return o->list_wrong = true;
    if (strcmp(name, "--speed") == 0) return o->wish.speed = true;
    if (strcmp(name, "--pairs") == 0) return o->wish.pair = o->no_tach = true;
    if (strcmp(name, "--speed-only") != 0) return false;
    o->wish.verdict = false;
    return o->wish.speed = true;
}

/* One option with its arguments at argv[*i]; *i moves to the last one used. */
static bool parse_option(int argc, char **argv, int *i, fleet_options *o) {
    const char *name = argv[*i];
    if (parse_flag(name, o)) return true;
    int left = argc - *i - 1;
    if (left < 1) return false;
    const char *value = argv[++*i];
    double number = 0;
    if (strcmp(name, "--world") == 0) return parse_world(value, &o->world);
    if (strcmp(name, "--speed-given") == 0) return o->no_tach = lay_speed_given_parse(value, &o->given);
    if (strcmp(name, "--kinds") == 0) return parse_kinds(value, &o->kinds);
    if (strcmp(name, "--conditions") == 0) return parse_conditions(value, &o->conditions);
    if (strcmp(name, "--keep") == 0) return (o->keep = value) != NULL;
    if (strcmp(name, "--jsonl") == 0) return (o->jsonl = value) != NULL;
    if (!lay_parse_number(value, &number)) return false;
    if (strcmp(name, "--engine") == 0) return (o->engine_db = number) <= 60;
    if (strcmp(name, "--jobs") == 0) return (o->jobs = (int)number) > 0;
    if (strcmp(name, "--workers") == 0) return (o->workers = (int)number) > 0 && o->workers <= 64;
    if (strcmp(name, "--rate") == 0) return (o->rate = number) > 0;
    if (strcmp(name, "--seconds") == 0) return (o->seconds = number) > 0;
    if (strcmp(name, "--seed") == 0) return number >= 0 && (o->seed = (uint64_t)number) < UINT64_MAX;
    if (strcmp(name, "--strength") != 0 || left < 2) return false;
    o->low_db = number;
    return lay_parse_number(argv[++*i], &o->high_db);
}

static void run_one(const fleet_options *o, const char *base, int job, fleet_result *result) {
    lay_sim_options sim = {.seed = o->seed + (uint64_t)job,
                           .world = (lay_world)(o->world >= 0 ? o->world : job % LAY_WORLD_COUNT),
                           .tach = !o->no_tach,
                           .rate = o->rate,
                           .seconds = o->seconds,
                           .strength_low_db = o->low_db,
                           .strength_high_db = o->high_db,
                           .kinds = o->kinds,
                           .conditions = o->conditions,
                           .speed_given = o->given,
                           .hide_gear = o->no_gear,
                           .speed_truth = o->wish.speed,
                           .events = o->events,
                           .booms = o->booms,
                           .engine_db = o->engine_db};
    char folder[600];
    snprintf(folder, sizeof folder, "%s/%s-%06llu", base, lay_world_name(sim.world), (unsigned long long)sim.seed);
    fleet_job(folder, &sim, &o->wish, result);
    if (!o->keep) fleet_remove(folder);
}

/* Every worker takes each workers-th job and sends results, each in one write that a pipe keeps whole. */
static void work(const fleet_options *o, const char *base, int worker, int pipe_end) {
    for (int job = worker; job < o->jobs; job += o->workers) {
        fleet_result result;
        run_one(o, base, job, &result);
        if (write(pipe_end, &result, sizeof result) != (ssize_t)sizeof result) _exit(3);
    }
    _exit(0);
}
_Static_assert(sizeof(fleet_result) <= 4096, "a result fits into one atomic write to a pipe");

static bool read_result(int pipe_end, fleet_result *result) {
    char *at = (char *)result;
    size_t left = sizeof *result;
    while (left > 0) {
        ssize_t got = read(pipe_end, at, left);
        if (got < 0 && errno == EINTR) continue;
        if (got <= 0) return false;
        at += got;
        left -= (size_t)got;
    }
    return true;
}

static int collect(const fleet_options *o, int pipe_end, FILE *jsonl) {
    static fleet_tally tally;
    fleet_result result;
    int done = 0;
    while (read_result(pipe_end, &result)) {
        fleet_tally_add(&tally, &result);
        if (jsonl) fleet_result_print(&result, jsonl);
        if (o->list_wrong) fleet_wrong_print(&result, stdout);
        if (result.failed) fprintf(stderr, "seed %llu: %s\n", (unsigned long long)result.seed, result.message);
        if (++done % 20 == 0) fprintf(stderr, "%d of %d\n", done, o->jobs);
    }
    if (o->list_wrong) printf("\n");
    fleet_tally_print(&tally, stdout);
    fleet_tally_free(&tally);
    if (done < o->jobs) fprintf(stderr, "%d of %d jobs gave no result: a worker died\n", o->jobs - done, o->jobs);
    return done < o->jobs || tally.all.failed > 0 ? 1 : 0;
}

static int run(const fleet_options *o, const char *base) {
    int ends[2];
    FILE *jsonl = o->jsonl ? fopen(o->jsonl, "w") : NULL;
    if ((o->jsonl && !jsonl) || pipe(ends) != 0) {
        perror("fleet");
        return 3;
    }
    for (int worker = 0; worker < o->workers; worker++) {
        pid_t child = fork();
        if (child == 0) {
            close(ends[0]);
            work(o, base, worker, ends[1]);
        }
        if (child < 0) perror("fork");
    }
    close(ends[1]);
    int status = collect(o, ends[0], jsonl);
    while (wait(NULL) > 0) continue;
    close(ends[0]);
    if (jsonl && fclose(jsonl) != 0) status = 3;
    return status;
}

int main(int argc, char **argv) {
    fleet_options o = {.jobs = 100, .workers = 2, .world = -1, .seed = 1, .wish = {.verdict = true}};
    for (int i = 1; i < argc; i++)
        if (!parse_option(argc, argv, &i, &o)) {
            fprintf(stderr, "%s", usage);
            return 2;
        }
    char made[] = "/tmp/layshaft-fleet-XXXXXX";
    const char *base = o.keep ? o.keep : mkdtemp(made);
    if (!base || (o.keep && mkdir(o.keep, 0777) != 0 && errno != EEXIST)) {
        perror("fleet");
        return 3;
    }
    int status = run(&o, base);
    if (!o.keep) rmdir(base);
    return status;
}
