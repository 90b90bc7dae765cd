/* acceptance: how often a good unit is rejected and a louder one let pass, over many simulated builds.
 *
 *   acceptance --builds 20 --seed 1 --good 10 --units 10 --louder 6
 *
 * Each build has --good units behind its limits; --units further good ones and as many with one mesh louder are
 * verified. Prints a table in Markdown, with --rows one line per unit. */
#include "score.h"

#include <layshaft/sim.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct acceptance_options {
    int builds, good, units, workers, world;
    uint64_t seed;
    double louder, seconds;
    bool rows;
} acceptance_options;

typedef struct acceptance_row {
    uint64_t seed;
    int unit;
    bool louder, failed, passed, tested, named; /* named: the louder mesh fails, or one of its wheel */
    double margin_db, median_db;                /* of the louder mesh, else the smallest */
    char mesh[48], worst[48], message[160];
} acceptance_row;

static void make_name(char *out, size_t size, const char *base, uint64_t seed, int unit) {
    snprintf(out, size, "%s/%llu-%d", base, (unsigned long long)seed, unit);
}

static lay_status measure(const char *folder, lay_job *job, lay_measured *out, lay_error *err) {
    lay_status status = lay_job_load(folder, job, err);
    return status == LAY_OK ? lay_measure(job->unit, &job->table, NULL, NULL, out, err) : status;
}

static lay_status simulate(const acceptance_options *o, const char *folder, uint64_t seed, int unit,
                           const lay_sim_louder *louder, lay_error *err) {
    lay_sim_options sim = {.seed = seed,
                           .occasion = (uint64_t)unit,
                           .specimen = (uint64_t)unit,
                           .world = (lay_world)o->world,
                           .tach = true,
                           .seconds = o->seconds,
                           .kinds = 1u << LAY_FAULT_NONE,
                           .louder = louder,
                           .louder_count = louder != NULL};
    return lay_sim_job(folder, NULL, &sim, NULL, NULL, err);
}

static lay_status learn(const acceptance_options *o, const char *base, uint64_t seed, lay_baseline *b, lay_error *err) {
    lay_status status = LAY_OK;
    for (int u = 1; u <= o->good && status == LAY_OK; u++) {
        char folder[600], name[16];
        lay_job job = {0};
        lay_measured m = {0};
        make_name(folder, sizeof folder, base, seed, u);
        snprintf(name, sizeof name, "%d", u);
        status = simulate(o, folder, seed, u, NULL, err);
        if (status == LAY_OK) status = measure(folder, &job, &m, err);
        if (status == LAY_OK) status = lay_baseline_add(b, &m, name, err);
        lay_measured_free(&m);
        lay_job_free(&job);
        fleet_remove(folder);
    }
    return status;
}

static bool heard(const lay_baseline *b, const lay_baseline_line *line) {
    double sum = 0;
    size_t own = 0, most = 0;
    for (size_t k = 0; k < LAY_BASELINE_BANDS; k++) {
        size_t n = 0;
        for (size_t u = 0; u < b->unit_count; u++) n += isnan(line->level_db[u * LAY_BASELINE_BANDS + k]) ? 0 : 1;
        if (n > most) most = n;
    }
    if (2 * most < b->unit_count) return false; /* steady runs at speeds that no two units share */
    for (size_t u = 0; u < b->unit_count; u++) sum += line->clear[u], own += line->own[u];
    return line->sideband == 0 && 2 * own >= b->unit_count && sum >= 0.5 * (double)b->unit_count;
}

/* A mesh that carries torque in one of the gears recorded and is heard there in the good units; -1: none. */
static int draw_mesh(const lay_baseline *b, const lay_unit *unit, lay_random *r) {
    int found[64], count = 0;
    for (size_t m = 0; m < unit->mesh_count && count < 64; m++) {
        bool loaded = false;
        for (size_t c = 0; c < b->condition_count; c++)
            for (size_t k = 0; k < b->conditions[c].line_count; k++)
                loaded |= b->conditions[c].lines[k].loaded && b->conditions[c].load != LAY_LOAD_NONE &&
                          heard(b, &b->conditions[c].lines[k]) &&
                          strcmp(b->conditions[c].lines[k].part, unit->meshes[m].name) == 0;
        if (loaded) found[count++] = (int)m;
    }
    return count ? found[lay_random_int(r, 0, count - 1)] : -1;
}

static void verify_one(const acceptance_options *o, const char *base, uint64_t seed, int unit, const lay_baseline *b,
                       const lay_sim_louder *louder, acceptance_row *row) {
    char folder[600];
    lay_job job = {0};
    lay_measured m = {0};
    lay_verification v = {0};
    lay_error err = {0};
    make_name(folder, sizeof folder, base, seed, unit);
    lay_status status = simulate(o, folder, seed, unit, louder, &err);
    if (status == LAY_OK) status = measure(folder, &job, &m, &err);
    if (status == LAY_OK) status = lay_verify(b, &m, &v, &err);
    row->failed = status != LAY_OK;
    row->passed = v.pass;
    row->tested = true;
    row->margin_db = INFINITY;
    row->median_db = v.median_db;
    bool rejected = false;
    for (size_t p = 0; p < v.part_count; p++) {
        const lay_verified_part *part = &v.parts[p];
        rejected |= part->tested && !part->pass;
        row->tested &= part->tested;
        if (!isnan(part->margin_db) && part->margin_db < row->margin_db) {
            row->margin_db = part->margin_db;
            snprintf(row->worst, sizeof row->worst, "%.40s", part->part);
        }
        row->named |= part->tested && !part->pass && strcmp(part->part, row->mesh) == 0;
    }
    row->passed = !rejected; /* what is not tested is no rejection */
    if (row->failed) snprintf(row->message, sizeof row->message, "%.150s", err.message);
    lay_verification_free(&v);
    lay_measured_free(&m);
    lay_job_free(&job);
    fleet_remove(folder);
}

static void send_row(int pipe_end, const acceptance_row *row) {
    if (write(pipe_end, row, sizeof *row) != (ssize_t)sizeof *row) _exit(3);
}
_Static_assert(sizeof(acceptance_row) <= 4096, "a row fits into one atomic write to a pipe");

static void run_build(const acceptance_options *o, const char *base, int build, int pipe_end) {
    uint64_t seed = o->seed + (uint64_t)build;
    lay_error err = {0};
    lay_unit *unit = NULL;
    lay_baseline *b = lay_baseline_new();
    lay_random random;
    lay_random_seed(&random, seed ^ 0x2545f491);
    lay_status status = b ? lay_sim_unit(seed, &unit, &err) : LAY_NO_MEMORY;
    if (status == LAY_OK) status = learn(o, base, seed, b, &err);
    for (int u = 0; u < 2 * o->units && status == LAY_OK; u++) {
        acceptance_row row = {.seed = seed, .unit = 1000 + u, .louder = u >= o->units};
        lay_sim_louder louder = {.mesh = draw_mesh(b, unit, &random), .db = o->louder};
        if (row.louder && louder.mesh < 0) break;
        if (row.louder) snprintf(row.mesh, sizeof row.mesh, "%.40s", unit->meshes[louder.mesh].name);
        verify_one(o, base, seed, row.unit, b, row.louder ? &louder : NULL, &row);
        send_row(pipe_end, &row);
    }
    if (status != LAY_OK) {
        acceptance_row row = {.seed = seed, .failed = true};
        snprintf(row.message, sizeof row.message, "%.150s", err.message);
        send_row(pipe_end, &row);
    }
    lay_unit_free(unit);
    lay_baseline_free(b);
}

static int collect(const acceptance_options *o, int pipe_end) {
    int units[2] = {0}, rejected[2] = {0}, untested[2] = {0}, named = 0, failed = 0;
    acceptance_row r;
    while (read(pipe_end, &r, sizeof r) == (ssize_t)sizeof r) {
        if (r.failed) {
            failed++;
            fprintf(stderr, "seed %llu: %s\n", (unsigned long long)r.seed, r.message);
            continue;
        }
        units[r.louder]++;
        rejected[r.louder] += !r.passed;
        untested[r.louder] += !r.tested;
        named += r.louder && r.named;
        if (o->rows)
            printf("%llu-%d %s%s %s margin %.2f at %s, median limit %.2f%s\n", (unsigned long long)r.seed, r.unit,
                   r.louder ? "louder " : "good", r.mesh, r.passed ? "passed" : "REJECTED", r.margin_db, r.worst,
                   r.median_db, r.tested ? "" : " (some not tested)");
    }
    printf("| units | verified | rejected | share | not tested in part |\n|---|---|---|---|---|\n");
    printf("| good | %d | %d | %.1f %% | %d |\n", units[0], rejected[0],
           100.0 * rejected[0] / (units[0] ? units[0] : 1), untested[0]);
    printf("| one mesh %+.0f dB | %d | %d | %.1f %% | %d |\n", o->louder, units[1], rejected[1],
           100.0 * rejected[1] / (units[1] ? units[1] : 1), untested[1]);
    printf("\nthe louder mesh named: %d of %d; %d failed\n", named, units[1], failed);
    return failed > 0 ? 1 : 0;
}

static bool parse_option(int argc, char **argv, int *i, acceptance_options *o) {
    const char *name = argv[*i];
    double number = 0;
    lay_world world;
    if (strcmp(name, "--rows") == 0) return o->rows = true;
    if (*i + 1 >= argc) return false;
    const char *value = argv[++*i];
    if (strcmp(name, "--world") == 0 && lay_world_parse(value, &world)) return o->world = (int)world, true;
    if (!lay_parse_number(value, &number)) return false;
    if (strcmp(name, "--builds") == 0) return (o->builds = (int)number) > 0;
    if (strcmp(name, "--good") == 0) return (o->good = (int)number) > 2;
    if (strcmp(name, "--units") == 0) return (o->units = (int)number) > 0;
    if (strcmp(name, "--workers") == 0) return (o->workers = (int)number) > 0;
    if (strcmp(name, "--seed") == 0) return o->seed = (uint64_t)number, true;
    if (strcmp(name, "--seconds") == 0) return (o->seconds = number) > 0;
    return strcmp(name, "--louder") == 0 && (o->louder = number, true);
}

int main(int argc, char **argv) {
    acceptance_options o = {.builds = 10,
                            .good = 10,
                            .units = 10,
                            .workers = 2,
                            .world = LAY_WORLD_STAND,
                            .seed = 1,
                            .louder = 6,
                            .seconds = 12};
    for (int i = 1; i < argc; i++)
        if (!parse_option(argc, argv, &i, &o)) {
            fprintf(stderr,
                    "usage: acceptance [--builds N] [--seed S] [--good N] [--units N] [--louder DB] [--seconds S]\n"
                    "                  [--world quiet|stand|road|cabin] [--workers N] [--rows]\n");
            return 2;
        }
    char base[] = "/tmp/layshaft-acceptance-XXXXXX";
    int ends[2];
    if (!mkdtemp(base) || pipe(ends) != 0) return 3;
    for (int worker = 0; worker < o.workers; worker++)
        if (fork() == 0) {
            close(ends[0]);
            for (int build = worker; build < o.builds; build += o.workers) run_build(&o, base, build, ends[1]);
            _exit(0);
        }
    close(ends[1]);
    int status = collect(&o, ends[0]);
    while (wait(NULL) > 0) continue;
    rmdir(base);
    return status;
}
