#include "trial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A coincidence is unlikely to hold for most of the strange lines of all runs, and centres of lines are known to a
 * fraction of a bin. A wheel that runs out has sidebands at the next whole numbers too, yet never far above the mesh
 * line itself; therefore the line of the file's own count must be far below. */

#define LEAST_SHARE 0.5 /* of the strange lines' weight that one count must explain */
#define HARMONICS 3
#define ENGINE_HARMONICS 8
#define SEEN_MAX 16

void lay_trial_forget(lay_tooth_search *s) {
    for (size_t g = 0; g < s->unit->gear_count; g++) {
        free(s->expected[g]);
        s->expected[g] = NULL;
        s->expected_count[g] = 0;
        lay_kinematics_free(&s->kinematics[g]);
    }
}

static void expect_gear(lay_tooth_search *s, const lay_unit *changed, int gear) {
    lay_kinematics *k = &s->kinematics[gear];
    if (s->expected[gear]) return;
    lay_kinematics_free(k);
    if (lay_unit_solve(changed, gear, k, NULL) == LAY_OK &&
        lay_unit_expect(changed, k, &s->expected[gear], &s->expected_count[gear], NULL) != LAY_OK)
        s->expected[gear] = NULL;
}

lay_status lay_trial_expect(lay_tooth_search *s, const lay_trial *t, lay_error *err) {
    lay_unit changed = *s->unit;
    size_t bytes = s->unit->mesh_count * sizeof *changed.meshes;
    changed.meshes = lay_calloc(s->unit->mesh_count, sizeof *changed.meshes);
    if (!changed.meshes) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to try other tooth counts");
    memcpy(changed.meshes, s->unit->meshes, bytes);
    lay_mesh *mesh = &changed.meshes[t->mesh];
    (t->wheel ? &mesh->driven : &mesh->driver)->teeth = t->teeth;
    lay_trial_forget(s);
    for (size_t r = 0; r < s->run_count; r++)
        if (lay_orders_trusted(&s->runs[r])) expect_gear(s, &changed, s->runs[r].gear);
    free(changed.meshes);
    return LAY_OK;
}

/* ---- how well it fits ---- */

static bool file_line_absent(const lay_run_evidence *run, double order, double tnr_db) {
    lay_tone tone;
    lay_tone_at(run, order, 0, &tone);
    return !tone.valid || tone.significance < 2 || tone.tnr_db < tnr_db - LAY_ABSENT_DB;
}

/* A wheel sings at its count before it sings at multiples of it; a ghost order need not. */
static bool lower_harmonics(const lay_run_evidence *run, double base, int harmonic) {
    for (int k = 1; k < harmonic; k++) {
        lay_tone tone;
        lay_tone_at(run, k * base, 0, &tone);
        if (tone.valid && tone.significance > 3 && tone.off_sd < 4) return true;
    }
    return harmonic == 1;
}

/* Strange lines one or two turns of either wheel about a harmonic that was found. */
static double sidebands_near(const lay_tooth_search *s, size_t run, const lay_expected *e, double centre) {
    double weight = 0, distance = 0;
    for (int w = 0; w < 2; w++)
        for (int n = -2; n <= 2; n++) {
            const lay_strange *x =
                n ? lay_strange_near(&s->lines, run, centre + n * e->wheel_order[w], &distance) : NULL;
            if (x) weight += lay_strange_weight(x->tnr_db);
        }
    return weight;
}

typedef struct mesh_fit {
    double weight, square, level;
    int hits, open, misses, orders;
    double seen[SEEN_MAX]; /* the different orders */
    unsigned loads;        /* loads under which it was found */
} mesh_fit;

/* A tach on another body than the reference counts that body's turns: a wrong count on the way between the two
 * stretches the whole axis of orders. True orders times this lie on the axis the file's unit gave the run. */
static double stretch(const lay_tooth_search *s, const lay_run_evidence *run) {
    if (run->speed_source != LAY_SPEED_TACH || run->tach_body < 0) return 1;
    double file = fabs(run->kinematics.speed[run->tach_body].value);
    double tried = fabs(s->kinematics[run->gear].speed[run->tach_body].value);
    return file > 1e-9 && tried > 1e-9 ? file / tried : 1;
}

/* Part `i` of run `r` under the trial, on the run's axis; false when it carries no torque or lies where the file has
 * it. */
static bool moved_part(const lay_tooth_search *s, size_t r, size_t i, lay_expected *out) {
    const lay_run_evidence *run = &s->runs[r];
    if (!lay_orders_trusted(run) || run->load == LAY_LOAD_NONE || !s->expected[run->gear] || i >= run->expected_count)
        return false;
    double scale = stretch(s, run);
    *out = s->expected[run->gear][i];
    if (out->type != LAY_PART_MESH && out->type != LAY_PART_ENGINE) return false;
    if (!out->turning || out->order <= 0 || (out->type == LAY_PART_MESH && !out->loaded)) return false;
    out->order *= scale;
    for (int w = 0; w < 2; w++) out->wheel_order[w] *= scale;
    double least =
        (out->type == LAY_PART_ENGINE ? 1 : 2) * lay_order_tolerance(run, out->order); /* its harmonics move further */
    return fabs(out->order - run->expected[i].order) > least;
}

static void count_order(mesh_fit *fit, double order) {
    for (int n = 0; n < fit->orders; n++)
        if (fabs(fit->seen[n] - order) < 1e-6) return;
    if (fit->orders < SEEN_MAX) fit->seen[fit->orders++] = order;
}

static void find_hits(const lay_tooth_search *s, size_t i, int harmonic, mesh_fit *fit, bool *concerned) {
    for (size_t r = 0; r < s->run_count; r++) {
        lay_expected e;
        double distance = 0;
        if (!moved_part(s, r, i, &e)) continue;
        const lay_strange *x = lay_strange_near(&s->lines, r, harmonic * e.order, &distance);
        bool alone = x && e.type == LAY_PART_MESH && !lower_harmonics(&s->runs[r], e.order, harmonic);
        if (!x || alone || !file_line_absent(&s->runs[r], harmonic * s->runs[r].expected[i].order, x->tnr_db)) continue;
        fit->weight += lay_strange_weight(x->tnr_db) + sidebands_near(s, r, &e, harmonic * e.order);
        fit->square += distance * distance;
        fit->level += x->tnr_db;
        fit->hits++;
        fit->open += x->open;
        fit->loads |= 1u << s->runs[r].load;
        concerned[r] = true;
        count_order(fit, harmonic * e.order);
    }
}

/* Runs under the same load that should hold the line as well, and do not. */
static void find_misses(const lay_tooth_search *s, size_t i, int harmonic, mesh_fit *fit) {
    for (size_t r = 0; r < s->run_count && fit->hits; r++) {
        lay_expected e;
        lay_tone tone;
        if (!(fit->loads >> s->runs[r].load & 1u) || !moved_part(s, r, i, &e)) continue;
        lay_tone_at(&s->runs[r], harmonic * e.order, 0, &tone);
        fit->misses += tone.valid && tone.tnr_db < fmin(-3, fit->level / fit->hits - 9);
    }
}

/* Every gear lists the same parts in the same sequence. */
static size_t part_count(const lay_tooth_search *s) {
    size_t count = 0;
    for (size_t r = 0; r < s->run_count; r++)
        if (s->runs[r].expected_count > count) count = s->runs[r].expected_count;
    return count;
}

static bool is_engine(const lay_tooth_search *s, size_t part) {
    for (size_t r = 0; r < s->run_count; r++)
        if (part < s->runs[r].expected_count) return s->runs[r].expected[part].type == LAY_PART_ENGINE;
    return false;
}

static void take(lay_trial *t, const mesh_fit *fit, double *square) {
    t->weight += fit->weight;
    t->hits += fit->hits;
    t->open += fit->open;
    t->misses += fit->misses;
    t->orders += fit->orders;
    *square += fit->square;
}

/* All harmonics of the engine have moved with a stretched axis, or none has. */
static void fit_engine(const lay_tooth_search *s, size_t part, lay_trial *t, bool *concerned, double *square) {
    mesh_fit fit = {0};
    for (int k = 1; k <= ENGINE_HARMONICS; k++) find_hits(s, part, k, &fit, concerned);
    if (fit.orders < 3) return;
    fit.open = fit.hits;
    take(t, &fit, square);
}

void lay_trial_fit(const lay_tooth_search *s, lay_trial *t, bool *concerned) {
    double square = 0;
    memset(concerned, 0, s->run_count * sizeof *concerned);
    for (size_t i = 0; i < part_count(s); i++) {
        if (is_engine(s, i)) fit_engine(s, i, t, concerned, &square);
        for (int k = 1; k <= HARMONICS && !is_engine(s, i); k++) {
            mesh_fit fit = {0};
            find_hits(s, i, k, &fit, concerned);
            find_misses(s, i, k, &fit);
            take(t, &fit, &square);
        }
    }
    t->misfit = t->hits ? square / t->hits : 0;
    t->score = t->weight - 3 * square - 10 * (t->off - 1) - 60 * t->misses;
}

bool lay_trial_convinces(const lay_tooth_search *s, const lay_trial *t) {
    if (t->off > 1 && t->orders < 2) return false; /* many counts are tried: one line may fit one of them by chance */
    return t->open > 0 && t->weight >= LEAST_SHARE * s->lines.weight && 3 * t->misses <= t->hits && t->misfit < 4;
}
