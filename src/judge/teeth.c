#include "teeth.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A wrong count moves the orders of its own mesh when it drives, and of everything behind it when it carries torque. So each
 * count is tried on a copy of the unit: its kinematics are solved anew and the strange lines are laid against what its
 * loaded meshes would make. A coincidence is unlikely to hold for most of the strange lines of all runs, and centres of lines
 * are known to a fraction of a bin. A wheel that runs out has sidebands at the next whole numbers too, yet never far above the
 * mesh line itself; therefore the line of the file's own count must be far below. */

#define MOST_OFF 3          /* teeth */
#define STRONG_DB 3.0       /* tone-to-noise ratio of a line that needs an explanation */
#define STRONG_SIGNIFICANCE 5.0
#define ABSENT_DB 7.0       /* the file's own line is this far below */
#define LEAST_SHARE 0.5     /* of the strange lines' weight that one count must explain */
#define LEAST_ORDER 6.0     /* below, a line alone asks for no explanation */
#define SURE_SPEED 0.5      /* least confidence in a speed found without tach */
#define HARMONICS 3
#define ENGINE_HARMONICS 8
#define ANSWERS_MAX 3
#define SEEN_MAX 16

/* A strong line that the file's unit does not explain. */
typedef struct strange {
    size_t run;
    double order, sd, tnr_db;
    bool open; /* nobody else may have made it: a count that fits must explain such lines */
} strange;

typedef struct strange_list {
    strange *items;
    size_t count, capacity;
    double weight; /* of the open ones */
} strange_list;

/* The unit with one other count, and how well it fits. */
typedef struct trial {
    int mesh, wheel, teeth, off;
    double weight;  /* of strange lines explained */
    double misfit;  /* mean square distance of line centres in their uncertainty */
    int hits, misses, orders; /* lines found and not found; different orders among the found */
    int open;                 /* of the found: lines that nobody else may have made */
    double score;
} trial;

typedef struct search {
    const lay_unit *unit;
    const lay_run_evidence *runs;
    size_t run_count;
    strange_list lines;
    bool *concerned; /* [run_count] of the best trial */
    lay_expected **expected; /* [gear_count] of the trial at work; NULL: gear not recorded or not solvable */
    size_t *expected_count;
    lay_kinematics *kinematics; /* [gear_count] of the trial at work */
} search;

/* ---- lines that need an explanation ---- */

static bool made_by_engine(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c)
{
    return c->order <= 3 * run->expected[c->part].order + 1 || lay_engine_share(run, c->order) > 0.25 * line->line.power;
}

/* A high harmonic far above the lower ones may be something else. */
static bool stands_alone(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c)
{
    for (int k = 1; k < c->harmonic && k <= 2; k++) {
        lay_tone lower;
        lay_tone_at(run, k * c->order / c->harmonic, 0, &lower);
        if (lower.valid && lower.tnr_db > line->line.tnr_db - ABSENT_DB) return false;
    }
    return c->harmonic >= (c->class_ == LAY_LINE_ROTOR ? 2 : 3);
}

/* A sideband above its own carrier may be the mesh line of another count. */
static bool outdoes_carrier(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c)
{
    lay_tone carrier;
    lay_tone_at(run, c->harmonic * run->expected[c->part].order, 0, &carrier);
    return !carrier.valid || carrier.tnr_db < line->line.tnr_db - ABSENT_DB;
}

static bool needs_explanation(const lay_run_evidence *run, const lay_explained_line *line)
{
    double explained = 0;
    if (line->line.tnr_db < STRONG_DB || line->line.significance < STRONG_SIGNIFICANCE || line->line.order < 1.2) return false;
    for (int i = 0; i < line->claim_count; i++) {
        const lay_claim *c = &line->claims[i];
        bool toothed = c->class_ == LAY_LINE_MESH || c->class_ == LAY_LINE_AXLE;
        bool turning = toothed || c->class_ == LAY_LINE_ROTOR || c->class_ == LAY_LINE_SHAFT;
        if (c->class_ == LAY_LINE_UNKNOWN || c->class_ == LAY_LINE_GHOST || c->class_ == LAY_LINE_BEARING) continue;
        if (c->class_ == LAY_LINE_ENGINE && !made_by_engine(run, line, c)) continue;
        if (toothed && c->sideband && outdoes_carrier(run, line, c)) continue;
        if (turning && !c->sideband && stands_alone(run, line, c)) continue;
        explained += c->probability;
    }
    return explained < 0.4;
}

/* The engine may be strong at one of its orders alone where it fires, elsewhere its neighbours tell how strong it is. */
static bool engine_may(const lay_run_evidence *run, const lay_explained_line *line, const lay_claim *c)
{
    const lay_expected *engine = &run->expected[c->part];
    double firings = c->order / engine->order, least = fabs(firings - round(firings)) < 1e-6 ? 0.01 : 0.1;
    return lay_engine_share(run, c->order) > least * line->line.power;
}

/* Low orders have many makers. */
static bool open_to_none(const lay_run_evidence *run, const lay_explained_line *line)
{
    lay_tone tone;
    lay_tone_at(run, line->line.order, 0, &tone);
    if (line->line.order < LEAST_ORDER || tone.fixed) return false;
    for (int i = 0; i < line->claim_count; i++)
        if (line->claims[i].class_ == LAY_LINE_ENGINE && engine_may(run, line, &line->claims[i])) return false;
    return true;
}

/* Strong lines count for more than many weak ones. */
static double weight_of(double tnr_db)
{
    double over = fmin(tnr_db, 18) - STRONG_DB + 1;
    return over * over;
}

static double centre_sd(const lay_run_evidence *run, const lay_line *line)
{
    double bin = 0.12 * run->spectrum.step;
    double speed = (run->speed_source == LAY_SPEED_TACH ? 3e-5 : 4e-4) * line->order;
    return sqrt(line->order_sd * line->order_sd + bin * bin + speed * speed);
}

/* Without a confirmed speed the orders themselves are in doubt. */
static bool trusted(const lay_run_evidence *run)
{
    return run->usable && run->gear >= 0 && (run->speed_source == LAY_SPEED_TACH || run->speed_confidence >= SURE_SPEED);
}

static lay_status collect(search *s, lay_error *err)
{
    for (size_t r = 0; r < s->run_count; r++) {
        const lay_run_evidence *run = &s->runs[r];
        for (size_t i = 0; trusted(run) && i < run->line_count; i++) {
            const lay_explained_line *line = &run->lines[i];
            if (!needs_explanation(run, line)) continue;
            lay_status status = lay_grow((void **)&s->lines.items, &s->lines.capacity, s->lines.count, sizeof *s->lines.items, err);
            if (status != LAY_OK) return status;
            s->lines.items[s->lines.count++] = (strange){r, line->line.order, centre_sd(run, &line->line), line->line.tnr_db,
                                                         open_to_none(run, line)};
            if (s->lines.items[s->lines.count - 1].open) s->lines.weight += weight_of(line->line.tnr_db);
        }
    }
    return LAY_OK;
}

/* ---- the unit with another count ---- */

static void forget_expected(search *s)
{
    for (size_t g = 0; g < s->unit->gear_count; g++) {
        free(s->expected[g]);
        s->expected[g] = NULL;
        s->expected_count[g] = 0;
        lay_kinematics_free(&s->kinematics[g]);
    }
}

static void expect_gear(search *s, const lay_unit *changed, int gear)
{
    lay_kinematics *k = &s->kinematics[gear];
    if (s->expected[gear]) return;
    lay_kinematics_free(k);
    if (lay_unit_solve(changed, gear, k, NULL) == LAY_OK &&
        lay_unit_expect(changed, k, &s->expected[gear], &s->expected_count[gear], NULL) != LAY_OK)
        s->expected[gear] = NULL;
}

static lay_status expect_changed(search *s, const trial *t, lay_error *err)
{
    lay_unit changed = *s->unit;
    size_t bytes = s->unit->mesh_count * sizeof *changed.meshes;
    changed.meshes = lay_calloc(s->unit->mesh_count, sizeof *changed.meshes);
    if (!changed.meshes) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to try other tooth counts");
    memcpy(changed.meshes, s->unit->meshes, bytes);
    lay_mesh *mesh = &changed.meshes[t->mesh];
    (t->wheel ? &mesh->driven : &mesh->driver)->teeth = t->teeth;
    forget_expected(s);
    for (size_t r = 0; r < s->run_count; r++)
        if (trusted(&s->runs[r])) expect_gear(s, &changed, s->runs[r].gear);
    free(changed.meshes);
    return LAY_OK;
}

/* ---- how well it fits ---- */

static bool file_line_absent(const lay_run_evidence *run, double order, double tnr_db)
{
    lay_tone tone;
    lay_tone_at(run, order, 0, &tone);
    return !tone.valid || tone.significance < 2 || tone.tnr_db < tnr_db - ABSENT_DB;
}

/* A wheel sings at its count before it sings at multiples of it; a ghost order need not. */
static bool lower_harmonics(const lay_run_evidence *run, double base, int harmonic)
{
    for (int k = 1; k < harmonic; k++) {
        lay_tone tone;
        lay_tone_at(run, k * base, 0, &tone);
        if (tone.valid && tone.significance > 3 && tone.off_sd < 4) return true;
    }
    return harmonic == 1;
}

/* The strange line of this run at `order`, NULL when there is none. */
static const strange *line_near(const search *s, size_t run, double order, double *distance)
{
    const strange *best = NULL;
    for (size_t i = 0; i < s->lines.count; i++) {
        const strange *x = &s->lines.items[i];
        double d = fabs(x->order - order) / x->sd;
        if (x->run != run || d > 3.5 || (best && d >= *distance)) continue;
        best = x;
        *distance = d;
    }
    return best;
}

/* Strange lines one or two turns of either wheel about a harmonic that was found. */
static double sidebands_near(const search *s, size_t run, const lay_expected *e, double centre)
{
    double weight = 0, distance = 0;
    for (int w = 0; w < 2; w++)
        for (int n = -2; n <= 2; n++) {
            const strange *x = n ? line_near(s, run, centre + n * e->wheel_order[w], &distance) : NULL;
            if (x) weight += weight_of(x->tnr_db);
        }
    return weight;
}

typedef struct mesh_fit {
    double weight, square, level;
    int hits, open, misses, orders;
    double seen[SEEN_MAX]; /* the different orders */
    unsigned loads;        /* loads under which it was found */
} mesh_fit;

/* A tach on another body than the reference counts that body's turns: a wrong count on the way between the two stretches the
 * whole axis of orders. True orders times this lie on the axis the file's unit gave the run. */
static double stretch(const search *s, const lay_run_evidence *run)
{
    if (run->speed_source != LAY_SPEED_TACH || run->tach_body < 0) return 1;
    double file = fabs(run->kinematics.speed[run->tach_body].value);
    double tried = fabs(s->kinematics[run->gear].speed[run->tach_body].value);
    return file > 1e-9 && tried > 1e-9 ? file / tried : 1;
}

/* Part `i` of run `r` under the trial, on the run's axis; false when it carries no torque or lies where the file has it. */
static bool moved_part(const search *s, size_t r, size_t i, lay_expected *out)
{
    const lay_run_evidence *run = &s->runs[r];
    if (!trusted(run) || run->load == LAY_LOAD_NONE || !s->expected[run->gear] || i >= run->expected_count) return false;
    double scale = stretch(s, run);
    *out = s->expected[run->gear][i];
    if (out->type != LAY_PART_MESH && out->type != LAY_PART_ENGINE) return false;
    if (!out->turning || out->order <= 0 || (out->type == LAY_PART_MESH && !out->loaded)) return false;
    out->order *= scale;
    for (int w = 0; w < 2; w++) out->wheel_order[w] *= scale;
    double least = (out->type == LAY_PART_ENGINE ? 1 : 2) * lay_order_tolerance(run, out->order); /* its harmonics move further */
    return fabs(out->order - run->expected[i].order) > least;
}

static void count_order(mesh_fit *fit, double order)
{
    for (int n = 0; n < fit->orders; n++)
        if (fabs(fit->seen[n] - order) < 1e-6) return;
    if (fit->orders < SEEN_MAX) fit->seen[fit->orders++] = order;
}

static void find_hits(const search *s, size_t i, int harmonic, mesh_fit *fit, bool *concerned)
{
    for (size_t r = 0; r < s->run_count; r++) {
        lay_expected e;
        double distance = 0;
        if (!moved_part(s, r, i, &e)) continue;
        const strange *x = line_near(s, r, harmonic * e.order, &distance);
        bool alone = x && e.type == LAY_PART_MESH && !lower_harmonics(&s->runs[r], e.order, harmonic);
        if (!x || alone || !file_line_absent(&s->runs[r], harmonic * s->runs[r].expected[i].order, x->tnr_db)) continue;
        fit->weight += weight_of(x->tnr_db) + sidebands_near(s, r, &e, harmonic * e.order);
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
static void find_misses(const search *s, size_t i, int harmonic, mesh_fit *fit)
{
    for (size_t r = 0; r < s->run_count && fit->hits; r++) {
        lay_expected e;
        lay_tone tone;
        if (!(fit->loads >> s->runs[r].load & 1u) || !moved_part(s, r, i, &e)) continue;
        lay_tone_at(&s->runs[r], harmonic * e.order, 0, &tone);
        fit->misses += tone.valid && tone.tnr_db < fmin(-3, fit->level / fit->hits - 9);
    }
}

/* Every gear lists the same parts in the same sequence. */
static size_t part_count(const search *s)
{
    size_t count = 0;
    for (size_t r = 0; r < s->run_count; r++)
        if (s->runs[r].expected_count > count) count = s->runs[r].expected_count;
    return count;
}

static bool is_engine(const search *s, size_t part)
{
    for (size_t r = 0; r < s->run_count; r++)
        if (part < s->runs[r].expected_count) return s->runs[r].expected[part].type == LAY_PART_ENGINE;
    return false;
}

static void take(trial *t, const mesh_fit *fit, double *square)
{
    t->weight += fit->weight;
    t->hits += fit->hits;
    t->open += fit->open;
    t->misses += fit->misses;
    t->orders += fit->orders;
    *square += fit->square;
}

/* All harmonics of the engine have moved with a stretched axis, or none has. */
static void fit_engine(const search *s, size_t part, trial *t, bool *concerned, double *square)
{
    mesh_fit fit = {0};
    for (int k = 1; k <= ENGINE_HARMONICS; k++) find_hits(s, part, k, &fit, concerned);
    if (fit.orders < 3) return;
    fit.open = fit.hits;
    take(t, &fit, square);
}

static void fit_trial(const search *s, trial *t, bool *concerned)
{
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

static bool convinces(const search *s, const trial *t)
{
    return t->open > 0 && t->weight >= LEAST_SHARE * s->lines.weight && 3 * t->misses <= t->hits && t->misfit < 4;
}

/* ---- the search ---- */

static void keep(trial *best, size_t *count, const trial *t)
{
    size_t at = *count < ANSWERS_MAX ? (*count)++ : ANSWERS_MAX;
    while (at > 0 && best[at - 1].score < t->score) {
        if (at < ANSWERS_MAX) best[at] = best[at - 1];
        at--;
    }
    if (at < ANSWERS_MAX) best[at] = *t;
}

static lay_status try_wheel(search *s, int mesh, int wheel, trial *best, size_t *count, lay_error *err)
{
    int teeth = wheel ? s->unit->meshes[mesh].driven.teeth : s->unit->meshes[mesh].driver.teeth;
    for (int d = -MOST_OFF; d <= MOST_OFF; d++) {
        trial t = {.mesh = mesh, .wheel = wheel, .teeth = teeth + d, .off = abs(d)};
        if (d == 0 || t.teeth < 5) continue;
        lay_status status = expect_changed(s, &t, err);
        if (status != LAY_OK) return status;
        fit_trial(s, &t, s->concerned);
        if (convinces(s, &t)) keep(best, count, &t);
    }
    return LAY_OK;
}

static lay_status say(search *s, const trial *t, lay_run_evidence *runs, lay_strings *out, lay_error *err)
{
    const lay_mesh *mesh = &s->unit->meshes[t->mesh];
    const lay_wheel *wheel = t->wheel ? &mesh->driven : &mesh->driver;
    lay_status status = lay_strings_add(out, err, "%s: the wheel on '%s' behaves like %d teeth, the unit file says %d: count them again",
                                        mesh->name, s->unit->bodies[wheel->body].name, t->teeth, wheel->teeth);
    trial again = {.mesh = t->mesh, .wheel = t->wheel, .teeth = t->teeth};
    if (status == LAY_OK) status = expect_changed(s, &again, err);
    if (status != LAY_OK) return status;
    fit_trial(s, &again, s->concerned);
    for (size_t r = 0; r < s->run_count; r++)
        if (s->concerned[r]) lay_text_add(&runs[r].warnings, "%s\n", out->items[out->count - 1]);
    return LAY_OK;
}

/* Other counts that fit as well are named too: the recordings cannot tell them apart. */
static bool as_good(const trial *t, const trial *best)
{
    return t->score > 0.9 * best->score && t->score > best->score - 40;
}

static lay_status search_all(search *s, lay_run_evidence *runs, lay_strings *out, lay_error *err)
{
    trial best[ANSWERS_MAX];
    size_t count = 0;
    lay_status status = collect(s, err);
    for (int m = 0; m < (int)s->unit->mesh_count && s->lines.count && status == LAY_OK; m++)
        for (int w = 0; w < 2 && status == LAY_OK; w++) status = try_wheel(s, m, w, best, &count, err);
    for (size_t i = 0; i < count && status == LAY_OK && as_good(&best[i], &best[0]); i++)
        status = say(s, &best[i], runs, out, err);
    return status;
}

lay_status lay_teeth_check(const lay_unit *unit, lay_run_evidence *runs, size_t count, lay_strings *out, lay_error *err)
{
    search s = {.unit = unit, .runs = runs, .run_count = count};
    s.concerned = lay_calloc(count + 1, sizeof *s.concerned);
    s.expected = lay_calloc(unit->gear_count + 1, sizeof *s.expected);
    s.expected_count = lay_calloc(unit->gear_count + 1, sizeof *s.expected_count);
    s.kinematics = lay_calloc(unit->gear_count + 1, sizeof *s.kinematics);
    lay_status status = s.concerned && s.expected && s.expected_count && s.kinematics
                            ? search_all(&s, runs, out, err)
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to try other tooth counts");
    if (s.expected && s.expected_count && s.kinematics) forget_expected(&s);
    free(s.expected);
    free(s.expected_count);
    free(s.kinematics);
    free(s.concerned);
    free(s.lines.items);
    return status;
}
