/* acceptance: how often a good unit is rejected and a louder one let pass, over many simulated builds.
 *
 *   acceptance --builds 20 --seed 1 --good 10 --units 10 --louder 6
 *
 * Each build has --good units behind its limits; --units further good ones and as many with one mesh louder are
 * verified: one that is heard in good units and gone when it is silenced, with --any one that carries torque at least.
 * Prints a table in Markdown, with --rows one line per unit. */
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
    bool rows, any;
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
    return status == LAY_OK ? lay_measure(job->unit, &job->table, 1, NULL, NULL, out, err) : status;
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

#define STANDS 5.0 /* deviations of its noise */

/* A line that is its part's in most good units and stands there plainly, at speeds they share. */
static bool heard(const lay_baseline *b, const lay_baseline_line *line) {
    double stands = 0;
    size_t own = 0, most = 0;
    for (size_t k = 0; k < LAY_BASELINE_BANDS; k++) {
        size_t n = 0;
        for (size_t u = 0; u < b->unit_count; u++)
            n += isnan(line->levels[u * LAY_BASELINE_BANDS + k].level_db) ? 0 : 1;
        if (n > most) most = n;
    }
    for (size_t u = 0; u < b->unit_count; u++) {
        double power = 0, squares = 0;
        for (size_t k = 0; k < LAY_BASELINE_BANDS; k++) {
            const lay_baseline_level *at = &line->levels[u * LAY_BASELINE_BANDS + k];
            if (isnan(at->level_db)) continue;
            power += lay_baseline_tone(at);
            squares += lay_baseline_doubt(at) * lay_baseline_doubt(at);
        }
        own += line->own[u] ? 1 : 0;
        stands += squares > 0 ? power / sqrt(squares) / (double)b->unit_count : 0;
    }
    return line->sideband == 0 && 2 * most >= b->unit_count && 2 * own >= b->unit_count && stands >= STANDS;
}

static double power_of(const lay_loud_condition *c, const lay_loud_line *line) {
    double power = 0;
    for (size_t i = 0; i < c->bands; i++)
        if (isfinite(line->power[i])) power += c->looks[i] * line->power[i];
    return power;
}

/* What is heard there is the mesh itself: with the mesh silenced it is gone, in the very same noise. */
static bool falls_silent(const lay_measured *plain, const lay_measured *silent, const char *mesh) {
    for (size_t i = 0; i < plain->loudness.count && i < silent->loudness.count; i++) {
        const lay_loud_condition *c = &plain->loudness.conditions[i], *d = &silent->loudness.conditions[i];
        for (size_t k = 0; k < c->line_count && k < d->line_count; k++) {
            const lay_loud_line *l = &c->lines[k], *s = &d->lines[k];
            double doubt = 0;
            for (size_t n = 0; n < c->bands; n++)
                if (isfinite(l->variance[n])) doubt += c->looks[n] * c->looks[n] * l->variance[n];
            bool same = strcmp(l->part, s->part) == 0 && l->harmonic == s->harmonic && l->sideband == s->sideband;
            if (!same || l->sideband != 0 || strcmp(l->part, mesh) != 0 || c->load == LAY_LOAD_NONE) continue;
            double power = power_of(c, l);
            if (power > STANDS * sqrt(doubt) && power_of(d, s) < 0.4 * power) return true;
        }
    }
    return false;
}

static bool is_heard_itself(const acceptance_options *o, const char *base, uint64_t seed, int mesh, const char *name) {
    char folder[600];
    lay_job jobs[2] = {0};
    lay_measured m[2] = {0};
    lay_error err = {0};
    lay_status status = LAY_OK;
    for (int k = 0; k < 2 && status == LAY_OK; k++) {
        lay_sim_louder silent = {mesh, -40};
        make_name(folder, sizeof folder, base, seed, 500 + k);
        status = simulate(o, folder, seed, 1, k == 1 ? &silent : NULL, &err);
        if (status == LAY_OK) status = measure(folder, &jobs[k], &m[k], &err);
        fleet_remove(folder);
    }
    bool heard = status == LAY_OK && falls_silent(&m[0], &m[1], name);
    for (int k = 0; k < 2; k++) {
        lay_measured_free(&m[k]);
        lay_job_free(&jobs[k]);
    }
    return heard;
}

/* A mesh that carries torque in one of the gears recorded and is heard there in the good units; -1: none. */
static int draw_mesh(const lay_baseline *b, const lay_unit *unit, bool any, uint64_t except, lay_random *r) {
    int found[64], count = 0;
    for (size_t m = 0; m < unit->mesh_count && count < 64; m++) {
        bool loaded = false;
        for (size_t c = 0; c < b->condition_count; c++)
            for (size_t k = 0; k < b->conditions[c].line_count; k++)
                loaded |= b->conditions[c].lines[k].loaded && b->conditions[c].load != LAY_LOAD_NONE &&
                          (any || heard(b, &b->conditions[c].lines[k])) &&
                          strcmp(b->conditions[c].lines[k].part, unit->meshes[m].name) == 0;
        if (loaded && (except >> m & 1) == 0) found[count++] = (int)m;
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

/* Draw until one is heard itself, or none is left. */
static int choose_mesh(const acceptance_options *o, const char *base, uint64_t seed, const lay_baseline *b,
                       const lay_unit *unit, uint64_t *heard, uint64_t *masked, lay_random *r) {
    for (;;) {
        int mesh = draw_mesh(b, unit, o->any, *masked, r);
        if (mesh < 0 || o->any || (*heard >> mesh & 1) != 0) return mesh;
        uint64_t *to = is_heard_itself(o, base, seed, mesh, unit->meshes[mesh].name) ? heard : masked;
        *to |= UINT64_C(1) << mesh;
    }
}

static void run_build(const acceptance_options *o, const char *base, int build, int pipe_end) {
    uint64_t seed = o->seed + (uint64_t)build;
    lay_error err = {0};
    lay_unit *unit = NULL;
    lay_baseline *b = lay_baseline_new();
    lay_random random;
    lay_random_seed(&random, seed ^ 0x2545f491);
    uint64_t heard = 0, masked = 0;
    lay_status status = b ? lay_sim_unit(seed, &unit, &err) : LAY_NO_MEMORY;
    if (status == LAY_OK) status = learn(o, base, seed, b, &err);
    for (int u = 0; u < 2 * o->units && status == LAY_OK; u++) {
        acceptance_row row = {.seed = seed, .unit = 1000 + u, .louder = u >= o->units};
        lay_sim_louder louder = {.db = o->louder};
        if (row.louder) louder.mesh = choose_mesh(o, base, seed, b, unit, &heard, &masked, &random);
        if (louder.mesh < 0) break;
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
    if (strcmp(name, "--any") == 0) return o->any = true;
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
                    "                  [--world quiet|stand|road|cabin] [--workers N] [--any] [--rows]\n");
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
