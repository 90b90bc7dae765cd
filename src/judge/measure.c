/* A job measured: every run analysed, its parts' lines brought into bands of speed, runs of one gear and load together.
 */
#include "shared_hz.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>

#define BATCH_S 1.0 /* looks within a second hang together */

static int band_of(double hz) {
    return (int)floor(log(hz) / LAY_BAND);
}

/* ---- one condition ---- */

typedef struct gathering {
    lay_measured *job;
    lay_levels *levels; /* [run_count] */
    lay_loud_condition *out;
    const size_t *members; /* runs of the condition */
    size_t member_count;
} gathering;

static double full_scale_squared(const gathering *g, size_t member) {
    double scale = g->job->runs[g->members[member]].full_scale;
    return scale * scale;
}

static lay_status make_bands(gathering *g, lay_error *err) {
    int first = INT_MAX, last = INT_MIN;
    for (size_t m = 0; m < g->member_count; m++) {
        const lay_levels *v = &g->levels[g->members[m]];
        for (size_t i = 0; i < v->looks; i++) {
            int b = band_of(v->hz[i]);
            if (b < first) first = b;
            if (b > last) last = b;
        }
    }
    lay_loud_condition *c = g->out;
    c->first_band = first;
    c->bands = last >= first ? (size_t)(last - first) + 1 : 0;
    c->looks = lay_calloc(c->bands + 1, sizeof(double));
    c->seconds = lay_calloc(c->bands + 1, sizeof(double));
    c->ground = lay_calloc(c->bands + 1, sizeof(double));
    c->hz = lay_calloc(c->bands + 1, sizeof(double));
    return c->looks && c->seconds && c->ground && c->hz ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static void fill_bands(gathering *g) {
    lay_loud_condition *c = g->out;
    for (size_t m = 0; m < g->member_count; m++) {
        const lay_levels *v = &g->levels[g->members[m]];
        double squared = full_scale_squared(g, m);
        for (size_t i = 0; i < v->looks; i++) {
            int b = band_of(v->hz[i]) - c->first_band;
            c->looks[b] += 1;
            c->seconds[b] += v->seconds[i];
            c->hz[b] += v->hz[i];
            c->ground[b] += v->ground[i] * squared;
        }
    }
    for (size_t b = 0; b < c->bands; b++)
        if (c->looks[b] > 0) c->ground[b] /= c->looks[b], c->hz[b] /= c->looks[b];
}

static const lay_level_line *same_line(const lay_levels *v, const lay_level_line *line, size_t *index) {
    for (size_t k = 0; k < v->line_count; k++) {
        const lay_level_line *l = &v->lines[k];
        if (l->part != line->part || l->harmonic != line->harmonic || l->sideband != line->sideband) continue;
        if (l->sideband != 0 && l->wheel != line->wheel) continue;
        *index = k;
        return l;
    }
    return NULL;
}

/* Mean square in each band over all runs of the condition, and what noise leaves of doubt in it: the square of noise of
 * power N has the deviation N, a tone of power T in it adds 2 N T. */
static void fill_line(const gathering *g, const size_t *index, lay_loud_line *line) {
    const lay_loud_condition *c = g->out;
    double averages = 0;
    for (size_t b = 0; b < c->bands; b++) line->power[b] = line->noise[b] = line->variance[b] = 0;
    for (size_t m = 0; m < g->member_count; m++) {
        const lay_levels *v = &g->levels[g->members[m]];
        double squared = full_scale_squared(g, m);
        averages += v->averages * v->lines[index[m]].bins / (double)g->member_count;
        for (size_t i = 0; i < v->looks; i++) {
            int b = band_of(v->hz[i]) - c->first_band;
            line->power[b] += v->power[i * v->line_count + index[m]] * squared;
            line->noise[b] += v->noise[i * v->line_count + index[m]] * squared;
        }
    }
    for (size_t b = 0; b < c->bands; b++) {
        double n = c->looks[b];
        line->power[b] = n > 0 ? line->power[b] / n : NAN;
        line->noise[b] = n > 0 ? line->noise[b] / n : NAN;
        double spread = line->noise[b] * (line->noise[b] + 2 * fmax(0, line->power[b])) / (n * averages);
        line->variance[b] = isnan(line->power[b]) ? NAN : spread;
    }
}

/* How the level swayed over the run, the course over speed taken off: variance of the mean from means of a second. */
static double scatter_of(const gathering *g, const size_t *index, const lay_loud_line *line) {
    const lay_loud_condition *c = g->out;
    double sum = 0, squares = 0, batch = 0, seconds = 0, held = 0;
    size_t batches = 0;
    for (size_t m = 0; m < g->member_count; m++) {
        const lay_levels *v = &g->levels[g->members[m]];
        double squared = full_scale_squared(g, m);
        for (size_t i = 0; i < v->looks; i++) {
            int b = band_of(v->hz[i]) - c->first_band;
            double mean = line->power[b], x = v->power[i * v->line_count + index[m]] * squared;
            if (mean > 0 && !isnan(x)) batch += x / mean, held += 1;
            seconds += v->seconds[i];
            if (seconds < BATCH_S || held == 0) continue;
            sum += batch / held;
            squares += batch / held * (batch / held);
            batches++;
            batch = seconds = held = 0;
        }
    }
    double n = (double)batches;
    return batches >= 3 ? fmax(0, squares / n - sum / n * (sum / n)) / (n - 1) : NAN;
}

static double mean_power(const lay_levels *v, size_t line) {
    double sum = 0, n = 0;
    for (size_t i = 0; i < v->looks; i++) {
        double power = v->power[i * v->line_count + line];
        if (!isnan(power)) sum += power, n += 1;
    }
    return n > 0 ? fmax(0, sum / n) : 0;
}

static bool in_the_box(const gathering *g, size_t member, int part) {
    lay_part_type type = g->job->runs[g->members[member]].expected[part].type;
    return type == LAY_PART_MESH || type == LAY_PART_BEARING;
}

/* Whose it is, is judged where it is loudest. */
static lay_status add_line(const gathering *g, size_t k, lay_error *err) {
    lay_loud_condition *c = g->out;
    const lay_levels *first = &g->levels[g->members[0]];
    const lay_level_line *l = &first->lines[k];
    const lay_expected *e = &g->job->runs[g->members[0]].expected[l->part];
    size_t *index = lay_calloc(g->member_count, sizeof *index);
    lay_status status = index ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    bool everywhere = status == LAY_OK, own = true, outside = false;
    double most = -1;
    for (size_t m = 0; m < g->member_count && everywhere; m++) {
        const lay_levels *v = &g->levels[g->members[m]];
        const lay_level_line *found = same_line(v, l, &index[m]);
        everywhere = found != NULL;
        double power = found ? mean_power(v, index[m]) : 0;
        if (!found || power < most) continue;
        most = power;
        own = !found->crowded && found->owner < 0;
        outside = !found->crowded && found->owner >= 0 && !in_the_box(g, m, found->owner);
    }
    if (everywhere) {
        lay_loud_line *line = &c->lines[c->line_count];
        *line = (lay_loud_line){.part = e->name,
                                .type = e->type,
                                .harmonic = l->harmonic,
                                .sideband = l->sideband,
                                .wheel = l->wheel,
                                .order = l->order,
                                .scatter = NAN,
                                .own = own,
                                .outside = outside};
        line->power = lay_calloc(c->bands + 1, sizeof(double));
        line->variance = lay_calloc(c->bands + 1, sizeof(double));
        line->noise = lay_calloc(c->bands + 1, sizeof(double));
        c->line_count++;
        if (line->power && line->variance && line->noise) {
            fill_line(g, index, line);
            line->scatter = scatter_of(g, index, line);
        } else {
            status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
        }
    }
    free(index);
    return status;
}

static lay_status gather(gathering *g, lay_error *err) {
    const lay_run_evidence *run = &g->job->runs[g->members[0]];
    lay_loud_condition *c = g->out;
    c->gear = g->job->unit->gears[run->gear].name;
    c->load = run->load;
    c->sensor = run->sensor;
    c->quantity = run->quantity;
    c->runs = (int)g->member_count;
    c->first_run = (int)g->members[0];
    lay_status status = make_bands(g, err);
    if (status == LAY_OK) fill_bands(g);
    size_t lines = g->levels[g->members[0]].line_count;
    if (status == LAY_OK && !(c->lines = lay_calloc(lines + 1, sizeof *c->lines)))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t k = 0; k < lines && status == LAY_OK; k++) status = add_line(g, k, err);
    return status;
}

/* ---- the whole job ---- */

static bool together(const lay_run_evidence *a, const lay_run_evidence *b) {
    return a->gear == b->gear && a->load == b->load && a->sensor == b->sensor && a->quantity == b->quantity;
}

static lay_status gather_all(lay_measured *job, lay_levels *levels, lay_error *err) {
    size_t *members = lay_calloc(job->run_count + 1, sizeof *members);
    bool *done = lay_calloc(job->run_count + 1, sizeof *done);
    job->loudness.conditions = lay_calloc(job->run_count + 1, sizeof *job->loudness.conditions);
    lay_status status =
        members && done && job->loudness.conditions ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; status == LAY_OK && i < job->run_count; i++) {
        gathering g = {job, levels, &job->loudness.conditions[job->loudness.count], members, 0};
        if (done[i] || levels[i].looks == 0) continue;
        for (size_t k = i; k < job->run_count; k++) {
            if (done[k] || levels[k].looks == 0 || !together(&job->runs[i], &job->runs[k])) continue;
            members[g.member_count++] = k;
            done[k] = true;
        }
        job->loudness.count++;
        status = gather(&g, err);
    }
    free(members);
    free(done);
    return status;
}

static const char *unfit(const lay_run_evidence *run) {
    if (!run->usable) return "it could not be analysed";
    if (run->gear < 0) return "its gear is not known";
    return lay_run_trusted(run) ? NULL : "its speed is not known well enough";
}

typedef struct measuring_runs {
    lay_measured *job;
    lay_levels *levels; /* [run_count] */
    lay_error *trouble; /* [run_count] why one was left out */
} measuring_runs;

static lay_status measure_run(size_t i, void *work, lay_error *err) {
    measuring_runs *m = work;
    const lay_run_spec *spec = &m->job->table->runs[i];
    const char *why = unfit(&m->job->runs[i]);
    if (why) {
        lay_fail(&m->trouble[i], LAY_BAD_INPUT, "%s", why);
        return LAY_OK;
    }
    lay_status status = lay_run_levels(m->job->unit, spec, m->job->table->path, &m->job->runs[i], &m->levels[i], err);
    if (status != LAY_BAD_INPUT) return status;
    m->trouble[i] = *err; /* such a run is left out */
    return LAY_OK;
}

static lay_status measure_runs(lay_measured *job, int threads, lay_levels *levels, lay_error *err) {
    measuring_runs m = {job, levels, lay_calloc(job->run_count + 1, sizeof *m.trouble)};
    if (!m.trouble) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_tasks tasks = {.count = job->run_count, .threads = threads, .run = measure_run, .work = &m};
    lay_status status = lay_run_tasks(&tasks, err);
    for (size_t i = 0; i < job->run_count && status == LAY_OK; i++)
        if (m.trouble[i].message[0])
            status = lay_strings_add(&job->left_out, err, "%s: %s", job->table->runs[i].file, m.trouble[i].message);
    free(m.trouble);
    return status;
}

static lay_status analyse_one(size_t i, void *work, lay_error *err) {
    lay_measured *job = work;
    return lay_run_analyse(job->unit, &job->table->runs[i], job->table->path, NULL, &job->runs[i], err);
}

static lay_status analyse(lay_measured *job, int threads, lay_progress progress, void *user, lay_error *err) {
    job->runs = lay_calloc(job->table->count + 1, sizeof *job->runs);
    if (!job->runs) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the runs");
    job->run_count = job->table->count; /* what failed or was not begun is empty */
    lay_tasks tasks = {job->table->count, threads, analyse_one, job, progress, user};
    lay_status status = lay_run_tasks(&tasks, err);
    return status == LAY_OK ? lay_shared_hz_find(job->unit, job->runs, job->run_count, err) : status;
}

lay_status lay_measure(const lay_unit *unit, const lay_run_table *table, int threads, lay_progress progress, void *user,
                       lay_measured *out, lay_error *err) {
    *out = (lay_measured){.unit = unit, .table = table};
    lay_levels *levels = lay_calloc(table->count + 1, sizeof *levels);
    lay_status status =
        levels ? analyse(out, threads, progress, user, err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (status == LAY_OK) status = measure_runs(out, threads, levels, err);
    if (status == LAY_OK) status = gather_all(out, levels, err);
    for (size_t i = 0; levels && i < table->count; i++) lay_levels_free(&levels[i]);
    free(levels);
    if (status != LAY_OK) lay_measured_free(out);
    return status;
}

void lay_loudness_free(lay_loudness *loudness) {
    if (!loudness) return;
    for (size_t i = 0; i < loudness->count; i++) {
        lay_loud_condition *c = &loudness->conditions[i];
        for (size_t k = 0; k < c->line_count; k++) {
            free(c->lines[k].power);
            free(c->lines[k].variance);
            free(c->lines[k].noise);
        }
        free(c->lines);
        free(c->looks);
        free(c->seconds);
        free(c->ground);
        free(c->hz);
    }
    free(loudness->conditions);
    *loudness = (lay_loudness){0};
}

void lay_measured_free(lay_measured *measured) {
    if (!measured) return;
    for (size_t i = 0; i < measured->run_count; i++) lay_run_evidence_free(&measured->runs[i]);
    free(measured->runs);
    lay_loudness_free(&measured->loudness);
    lay_strings_free(&measured->left_out);
    *measured = (lay_measured){0};
}
