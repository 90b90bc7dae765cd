/* changes: how well the change of a part is measured, over many simulated pairs of jobs whose truth is known.
 *
 *   changes --pairs 200 --seed 1 --world stand --louder 3
 *
 * Each pair is one unit with a whining mesh on two days; on the second the mesh is so much louder (drawn from -12 to 12
 * dB when not said). Prints tables in Markdown, with --rows one line per part of every pair. */
#include "score.h"

#include <layshaft/sim.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct changes_options {
    int pairs, workers, world; /* world -1: quiet, stand and road in turn */
    uint64_t seed;
    double louder, seconds, rate;
    bool drawn, no_tach, rows, healthy;
    const char *keep;
    lay_match match;
} changes_options;

/* One part of one pair, or the whole pair. */
typedef struct changes_row {
    uint64_t seed;
    int world;
    bool whole, changed, failed, mesh;
    double truth_db;
    lay_change change;
    lay_change_verdict verdict;
    char part[48], message[200];
} changes_row;

typedef struct tally {
    int pairs, failed;
    int whole[2][LAY_CHANGE_COUNT];           /* of pairs without and with a change */
    int parts[2][LAY_CHANGE_COUNT];           /* likewise of meshes */
    int intervals[2], covered[2], unheard[2]; /* changed: 1 */
    int wrong_way;
    double widths[2], squares[2], standard[2];
} tally;

static void add_row(tally *t, const changes_row *r) {
    int changed = r->changed && r->truth_db != 0;
    if (r->failed) t->failed++;
    if (r->failed) return;
    if (r->whole) {
        t->pairs++;
        t->whole[r->truth_db != 0][r->verdict]++;
        return;
    }
    if (!r->mesh) return;
    t->parts[changed][r->verdict]++;
    lay_change_verdict opposite = r->truth_db > 0 ? LAY_BETTER : LAY_WORSE;
    if (changed && r->verdict == opposite) t->wrong_way++;
    if (isnan(r->change.db) || isnan(r->change.low_db) || isnan(r->change.high_db)) {
        t->unheard[changed]++;
        return;
    }
    double truth = changed ? r->truth_db : 0, half = 0.5 * (r->change.high_db - r->change.low_db);
    t->intervals[changed]++;
    t->covered[changed] += r->change.low_db <= truth && truth <= r->change.high_db;
    t->widths[changed] += half;
    t->squares[changed] += (r->change.db - truth) * (r->change.db - truth);
    t->standard[changed] += (r->change.db - truth) * (r->change.db - truth) / (half * half);
}

static void print(const tally *t) {
    static const char *const names[] = {"unchanged", "changed"};
    printf(
        "| meshes | intervals | cover the truth | half width dB | rms error dB | better | worse | same | unsure | no "
        "interval |\n|---|---|---|---|---|---|---|---|---|---|\n");
    for (int k = 0; k < 2; k++) {
        int n = t->intervals[k] ? t->intervals[k] : 1;
        printf("| %s | %d | %.1f %% | %.2f | %.2f | %d | %d | %d | %d | %d |\n", names[k], t->intervals[k],
               100.0 * t->covered[k] / n, t->widths[k] / n, sqrt(t->squares[k] / n), t->parts[k][LAY_BETTER],
               t->parts[k][LAY_WORSE], t->parts[k][LAY_SAME], t->parts[k][LAY_UNSURE], t->unheard[k]);
    }
    printf("\n| pairs | better | worse | same | unsure |\n|---|---|---|---|---|\n");
    for (int k = 0; k < 2; k++)
        printf("| %s | %d | %d | %d | %d |\n", names[k], t->whole[k][LAY_BETTER], t->whole[k][LAY_WORSE],
               t->whole[k][LAY_SAME], t->whole[k][LAY_UNSURE]);
    printf("\n%d pairs, %d failed, %d called the wrong way round\n", t->pairs, t->failed, t->wrong_way);
}

static void send_row(int pipe_end, const changes_row *row) {
    if (write(pipe_end, row, sizeof *row) != (ssize_t)sizeof *row) _exit(3);
}
_Static_assert(sizeof(changes_row) <= 4096, "a row fits into one atomic write to a pipe");

static lay_status measure(const char *folder, lay_job *job, lay_measured *out, lay_error *err) {
    lay_status status = lay_job_load(folder, job, err);
    return status == LAY_OK ? lay_measure(job->unit, &job->table, 1, NULL, NULL, out, err) : status;
}

static lay_status compare_pair(const char folders[2][600], const changes_options *o, changes_row *row, int pipe_end,
                               lay_error *err) {
    lay_job jobs[2] = {0};
    lay_measured measured[2] = {0};
    lay_comparison comparison = {0};
    lay_status status = measure(folders[0], &jobs[0], &measured[0], err);
    if (status == LAY_OK) status = measure(folders[1], &jobs[1], &measured[1], err);
    if (status == LAY_OK) status = lay_compare(&measured[0], &measured[1], o->match, &comparison, err);
    for (size_t p = 0; status == LAY_OK && p < comparison.part_count; p++) {
        const lay_part_change *part = &comparison.parts[p];
        changes_row of = *row;
        of.changed = row->truth_db != 0 && strcmp(part->part, row->part) == 0;
        of.mesh = part->type == LAY_PART_MESH;
        of.change = part->change;
        of.verdict = part->verdict;
        snprintf(of.part, sizeof of.part, "%s", part->part);
        bool twin = false; /* of the changed one: what is measured is both */
        for (size_t k = 0; k < part->not_separable_from.count; k++)
            twin |= strcmp(part->not_separable_from.items[k], row->part) == 0;
        if (!twin && (part->change.before || part->change.after)) send_row(pipe_end, &of);
    }
    row->verdict = comparison.verdict;
    lay_comparison_free(&comparison);
    for (int k = 0; k < 2; k++) lay_measured_free(&measured[k]), lay_job_free(&jobs[k]);
    return status;
}

static void run_pair(const changes_options *o, const char *base, int pair, int pipe_end) {
    static const lay_world worlds[] = {LAY_WORLD_QUIET, LAY_WORLD_STAND, LAY_WORLD_ROAD};
    lay_sim_options sim = {.seed = o->seed + (uint64_t)pair,
                           .world = o->world >= 0 ? (lay_world)o->world : worlds[pair % 3],
                           .tach = !o->no_tach,
                           .rate = o->rate,
                           .seconds = o->seconds,
                           .kinds = o->healthy ? 1u << LAY_FAULT_NONE : 1u << LAY_FAULT_MESH};
    changes_row row = {.seed = sim.seed, .world = (int)sim.world};
    lay_random random;
    lay_random_seed(&random, sim.seed ^ 0x51ed270b);
    row.truth_db = o->drawn ? lay_random_between(&random, -12, 12) : o->louder;
    char folders[2][600];
    lay_fault faults[4];
    size_t count = 0;
    lay_error err = {0};
    snprintf(folders[0], sizeof folders[0], "%s/%llu-before", base, (unsigned long long)sim.seed);
    snprintf(folders[1], sizeof folders[1], "%s/%llu-after", base, (unsigned long long)sim.seed);
    lay_status status = lay_sim_job(folders[0], NULL, &sim, faults, &count, &err);
    lay_sim_louder louder = {.mesh = count ? faults[0].index : 0, .db = row.truth_db};
    lay_unit *unit = NULL;
    if (status == LAY_OK) status = lay_sim_unit(sim.seed, &unit, &err);
    if (unit) snprintf(row.part, sizeof row.part, "%s", unit->meshes[louder.mesh].name);
    lay_unit_free(unit);
    sim.occasion = 1;
    sim.faults = faults; /* the same one, also in a fault that was drawn */
    sim.fault_count = count;
    sim.louder = &louder;
    sim.louder_count = row.truth_db != 0;
    if (status == LAY_OK) status = lay_sim_job(folders[1], NULL, &sim, NULL, NULL, &err);
    if (status == LAY_OK) status = compare_pair(folders, o, &row, pipe_end, &err);
    row.failed = status != LAY_OK;
    row.whole = true;
    if (row.failed) snprintf(row.message, sizeof row.message, "%.190s", err.message);
    send_row(pipe_end, &row);
    if (o->keep) return;
    fleet_remove(folders[0]);
    fleet_remove(folders[1]);
}

static bool parse_option(int argc, char **argv, int *i, changes_options *o) {
    const char *name = argv[*i];
    if (strcmp(name, "--no-tach") == 0) return o->no_tach = true;
    if (strcmp(name, "--rows") == 0) return o->rows = true;
    if (strcmp(name, "--healthy") == 0) return o->healthy = true;
    if (*i + 1 >= argc) return false;
    const char *value = argv[++*i];
    double number = 0;
    lay_world world;
    if (strcmp(name, "--keep") == 0) return (o->keep = value) != NULL;
    if (strcmp(name, "--world") == 0 && lay_world_parse(value, &world)) return o->world = (int)world, true;
    if (strcmp(name, "--match") == 0) {
        for (int m = 0; m < LAY_MATCH_COUNT; m++)
            if (strcmp(value, lay_match_name((lay_match)m)) == 0) return o->match = (lay_match)m, true;
        return false;
    }
    if (!lay_parse_number(value, &number)) return false;
    if (strcmp(name, "--pairs") == 0) return (o->pairs = (int)number) > 0;
    if (strcmp(name, "--workers") == 0) return (o->workers = (int)number) > 0;
    if (strcmp(name, "--seed") == 0) return o->seed = (uint64_t)number, true;
    if (strcmp(name, "--seconds") == 0) return (o->seconds = number) > 0;
    if (strcmp(name, "--rate") == 0) return (o->rate = number) > 0;
    if (strcmp(name, "--louder") != 0) return false;
    o->drawn = false;
    return o->louder = number, true;
}

static int collect(const changes_options *o, int pipe_end) {
    static const char *const worlds[] = {"quiet", "stand", "road", "cabin"};
    tally t = {0};
    changes_row r;
    while (read(pipe_end, &r, sizeof r) == (ssize_t)sizeof r) {
        add_row(&t, &r);
        if (r.failed) fprintf(stderr, "seed %llu: %s\n", (unsigned long long)r.seed, r.message);
        if (o->rows)
            printf("%llu %s %s%s truth %.2f db %.2f [%.2f %.2f] %s\n", (unsigned long long)r.seed, worlds[r.world],
                   r.whole ? "PAIR " : "", r.part, r.whole || r.changed ? r.truth_db : 0, r.change.db, r.change.low_db,
                   r.change.high_db, lay_change_verdict_name(r.verdict));
    }
    print(&t);
    return t.failed > 0 ? 1 : 0;
}

int main(int argc, char **argv) {
    changes_options o = {.pairs = 100, .workers = 2, .world = -1, .seed = 1, .seconds = 12, .drawn = true};
    for (int i = 1; i < argc; i++)
        if (!parse_option(argc, argv, &i, &o)) {
            fprintf(stderr,
                    "usage: changes [--pairs N] [--seed S] [--world quiet|stand|road|cabin] [--louder DB]\n"
                    "               [--seconds S] [--rate HZ] [--no-tach] [--healthy] [--match none|floor|engine]\n"
                    "               [--workers N] [--rows] [--keep FOLDER]\n");
            return 2;
        }
    char base[] = "/tmp/layshaft-changes-XXXXXX";
    int ends[2];
    if ((!o.keep && !mkdtemp(base)) || pipe(ends) != 0) return 3;
    for (int worker = 0; worker < o.workers; worker++)
        if (fork() == 0) {
            close(ends[0]);
            for (int pair = worker; pair < o.pairs; pair += o.workers)
                run_pair(&o, o.keep ? o.keep : base, pair, ends[1]);
            _exit(0);
        }
    close(ends[1]);
    int status = collect(&o, ends[0]);
    while (wait(NULL) > 0) continue;
    if (!o.keep) rmdir(base);
    return status;
}
