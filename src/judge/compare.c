/* Before and after: each part's lines at the speeds, gears and loads that both jobs hold. */
#include "compare.h"

#include <math.h>
#include <stdlib.h>
#include <strings.h>

static const char *const verdict_names[] = {"better", "worse", "same", "unsure"};
static const char *const match_names[] = {"none", "floor", "engine"};
_Static_assert(sizeof verdict_names / sizeof *verdict_names == LAY_CHANGE_COUNT, "one name per verdict");
_Static_assert(sizeof match_names / sizeof *match_names == LAY_MATCH_COUNT, "one name per reference");

const char *lay_change_verdict_name(lay_change_verdict verdict) {
    return (unsigned)verdict < LAY_CHANGE_COUNT ? verdict_names[verdict] : "";
}

const char *lay_match_name(lay_match match) {
    return (unsigned)match < LAY_MATCH_COUNT ? match_names[match] : "";
}

/* ---- which lines ---- */

static bool same_line(const lay_loud_line *a, const lay_loud_line *b) {
    return a->type == b->type && strcasecmp(a->part, b->part) == 0 && a->harmonic == b->harmonic &&
           a->sideband == b->sideband && (a->sideband == 0 || a->wheel == b->wheel);
}

static const lay_loud_line *find_line(const lay_loud_condition *c, const lay_loud_line *line) {
    for (size_t k = 0; k < c->line_count; k++)
        if (same_line(&c->lines[k], line)) return &c->lines[k];
    return NULL;
}

/* Lines of a part that both conditions hold and at least one of them hears. */
static lay_status collect(const lay_comparing *c, size_t part, size_t shared, lay_error *err) {
    const lay_overlap *o = &c->overlaps[shared];
    const lay_part_change *p = &c->out->parts[part];
    lay_case *x = lay_case_at(c, part, shared);
    x->lines = lay_calloc(o->before->line_count + 1, sizeof *x->lines);
    if (!x->lines) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    if (p->type == LAY_PART_BEARING) {
        lay_compare_blows(c, p->part, shared, &x->estimate);
        return LAY_OK;
    }
    for (size_t k = 0; k < o->before->line_count; k++) {
        const lay_loud_line *line = &o->before->lines[k];
        if (line->type != p->type || strcasecmp(line->part, p->part) != 0) continue;
        lay_line_pair pair = {line, find_line(o->after, line)};
        lay_estimate alone;
        if (!pair.after) continue;
        lay_estimate_of(o, &pair, 1, &alone);
        /* whose it is, is judged where it is louder: what another part leaves there is at most the quieter level */
        if (!(alone.after_power > alone.before_power ? pair.after->own : line->own)) continue;
        if (alone.before || alone.after) x->lines[x->count++] = pair;
    }
    lay_estimate_of(o, x->lines, x->count, &x->estimate);
    return LAY_OK;
}

/* ---- one part ---- */

static double level_db(const lay_loud_condition *c, double power) {
    return power > 0 ? lay_db_power(power) + lay_quantity_offset_db(c->quantity) : NAN;
}

/* The condition in which the part is loudest, before or after. */
static size_t loudest_case(const lay_comparing *c, size_t part) {
    size_t best = c->out->shared_count;
    double most = -1;
    for (size_t j = 0; j < c->out->shared_count; j++) {
        const lay_estimate *e = &lay_case_at(c, part, j)->estimate;
        double power = fmax(e->before ? e->before_power : -1, e->after ? e->after_power : -1);
        if (power > most) most = power, best = j;
    }
    return best;
}

static void tone_of(const lay_run_evidence *run, double order, double *tnr, double *pr, bool *audible) {
    lay_tone tone;
    lay_tone_at(run, order, 0, &tone);
    if (!tone.valid || tone.power <= 0) return;
    lay_line line;
    lay_line_at(&run->spectrum, order, lay_order_tolerance(run, order), &line);
    *tnr = tone.tnr_db;
    *pr = line.pr_db;
    *audible = tone.tnr_db >= lay_tnr_limit(tone.hz) || line.pr_db >= lay_pr_limit(tone.hz);
}

static void hear(const lay_comparing *c, size_t part, size_t shared) {
    const lay_case *x = lay_case_at(c, part, shared);
    const lay_overlap *o = &c->overlaps[shared];
    lay_part_change *p = &c->out->parts[part];
    const lay_line_pair *loud = NULL;
    double most = -1;
    for (size_t k = 0; k < x->count; k++) {
        lay_estimate e;
        lay_estimate_of(o, &x->lines[k], 1, &e);
        double power = fmax(e.before_power, e.after_power);
        if (power > most) most = power, loud = &x->lines[k];
    }
    if (!loud) return;
    tone_of(&c->before->runs[o->before->first_run], loud->before->order, &p->tnr_before_db, &p->pr_before_db,
            &p->audible_before);
    tone_of(&c->after->runs[o->after->first_run], loud->after->order, &p->tnr_after_db, &p->pr_after_db,
            &p->audible_after);
}

static lay_status trace(const lay_comparing *c, size_t part, size_t shared, lay_error *err) {
    const lay_case *x = lay_case_at(c, part, shared);
    const lay_overlap *o = &c->overlaps[shared];
    lay_change_course *course = &c->out->parts[part].course;
    course->shared = shared;
    course->hz = lay_calloc(o->count + 1, sizeof(double));
    course->before_db = lay_calloc(o->count + 1, sizeof(double));
    course->after_db = lay_calloc(o->count + 1, sizeof(double));
    if (!course->hz || !course->before_db || !course->after_db)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; i < o->count; i++) {
        double p[2], v[2];
        if (!lay_overlap_at(o, x->lines, x->count, i, p, v)) continue;
        size_t n = course->count++;
        course->hz[n] = lay_band_hz(o->before, o->pairs[i].before);
        course->before_db[n] = p[0] > 2 * sqrt(v[0]) ? level_db(o->before, p[0]) : NAN;
        course->after_db[n] = p[1] > 2 * sqrt(v[1]) ? level_db(o->after, p[1]) : NAN;
    }
    return LAY_OK;
}

static int by_level(const void *x, const void *y) {
    const lay_line_change *a = x, *b = y;
    double p = fmax(isnan(a->before_db) ? -1e9 : a->before_db, isnan(a->after_db) ? -1e9 : a->after_db);
    double q = fmax(isnan(b->before_db) ? -1e9 : b->before_db, isnan(b->after_db) ? -1e9 : b->after_db);
    return (p < q) - (p > q);
}

static bool listed(const lay_part_change *p, const lay_loud_line *l) {
    for (size_t i = 0; i < p->line_count; i++)
        if (p->lines[i].harmonic == l->harmonic && p->lines[i].sideband == l->sideband &&
            (l->sideband == 0 || p->lines[i].wheel == l->wheel))
            return true;
    return false;
}

/* One line over all conditions in which it can be heard; e and there have room for all of them. */
static void change_line(const lay_comparing *c, size_t part, const lay_loud_line *l, lay_estimate *e, bool *there) {
    lay_part_change *p = &c->out->parts[part];
    lay_line_change *line = &p->lines[p->line_count++];
    double most = -1;
    *line = (lay_line_change){.harmonic = l->harmonic, .sideband = l->sideband, .wheel = l->wheel};
    for (size_t m = 0; m < c->out->shared_count; m++) {
        const lay_case *x = lay_case_at(c, part, m);
        there[m] = false;
        for (size_t q = 0; q < x->count && !there[m]; q++) {
            if (!same_line(x->lines[q].before, l)) continue;
            there[m] = true;
            lay_estimate_of(&c->overlaps[m], &x->lines[q], 1, &e[m]);
            double loud = fmax(e[m].before_power, e[m].after_power);
            if (loud <= most) continue;
            most = loud;
            line->shared = m;
            line->order_before = x->lines[q].before->order;
            line->order_after = x->lines[q].after->order;
            line->before_db = e[m].before ? level_db(c->overlaps[m].before, e[m].before_power) : NAN;
            line->after_db = e[m].after ? level_db(c->overlaps[m].after, e[m].after_power) : NAN;
        }
    }
    lay_compare_change(c, e, there, &line->change);
}

static lay_status change_lines(const lay_comparing *c, size_t part, lay_error *err) {
    lay_part_change *p = &c->out->parts[part];
    size_t n = c->out->shared_count, most = 0;
    for (size_t j = 0; j < n; j++) most += lay_case_at(c, part, j)->count;
    lay_estimate *e = lay_calloc(n + 1, sizeof *e);
    bool *there = lay_calloc(n + 1, sizeof *there);
    p->lines = lay_calloc(most + 1, sizeof *p->lines);
    lay_status status = e && there && p->lines ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t j = 0; j < n && status == LAY_OK; j++)
        for (size_t k = 0; k < lay_case_at(c, part, j)->count; k++) {
            const lay_loud_line *l = lay_case_at(c, part, j)->lines[k].before;
            if (!listed(p, l)) change_line(c, part, l, e, there);
        }
    if (status == LAY_OK) qsort(p->lines, p->line_count, sizeof *p->lines, by_level);
    free(e);
    free(there);
    return status;
}

static lay_status change_part(const lay_comparing *c, size_t part, lay_error *err) {
    lay_part_change *p = &c->out->parts[part];
    size_t n = c->out->shared_count;
    lay_estimate *e = lay_calloc(n + 1, sizeof *e);
    bool *there = lay_calloc(n + 1, sizeof *there);
    p->by_condition = lay_calloc(n + 1, sizeof *p->by_condition);
    lay_status status = e && there && p->by_condition ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t j = 0; j < n && status == LAY_OK; j++) {
        e[j] = lay_case_at(c, part, j)->estimate;
        there[j] = true;
        lay_compare_change(c, e, there, &p->by_condition[j]);
        there[j] = false;
    }
    for (size_t j = 0; j < n && status == LAY_OK; j++) there[j] = true;
    if (status == LAY_OK) lay_compare_change(c, e, there, &p->change);
    size_t loud = status == LAY_OK ? loudest_case(c, part) : n;
    if (loud < n) {
        p->before_db = e[loud].before ? level_db(c->overlaps[loud].before, e[loud].before_power) : NAN;
        p->after_db = e[loud].after ? level_db(c->overlaps[loud].after, e[loud].after_power) : NAN;
        hear(c, part, loud);
        status = trace(c, part, loud, err);
    }
    free(e);
    free(there);
    return status == LAY_OK ? change_lines(c, part, err) : status;
}

/* ---- all parts ---- */

/* Parts of the unit after. */
static lay_status list_parts(lay_comparing *c, lay_error *err) {
    size_t most = 0;
    for (size_t r = 0; r < c->after->run_count; r++)
        if (c->after->runs[r].expected_count > most) most = c->after->runs[r].expected_count;
    c->out->parts = lay_calloc(most + 1, sizeof *c->out->parts);
    if (!c->out->parts) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t j = 0; j < c->out->shared_count; j++) {
        const lay_run_evidence *run = &c->after->runs[c->overlaps[j].after->first_run];
        for (size_t i = 0; i < run->expected_count && j == 0; i++) {
            c->out->parts[c->out->part_count++] = (lay_part_change){.part = run->expected[i].name,
                                                                    .type = run->expected[i].type,
                                                                    .before_db = NAN,
                                                                    .after_db = NAN,
                                                                    .tnr_before_db = NAN,
                                                                    .tnr_after_db = NAN,
                                                                    .pr_before_db = NAN,
                                                                    .pr_after_db = NAN};
        }
    }
    return LAY_OK;
}

/* Two meshes of one wheel sound at one order. */
static bool one_wheel(const lay_mesh *a, const lay_mesh *b) {
    const lay_wheel *x[2] = {&a->driver, &a->driven}, *y[2] = {&b->driver, &b->driven};
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2; k++)
            if (x[i]->body == y[k]->body && x[i]->teeth == y[k]->teeth && a->carrier == b->carrier) return true;
    return false;
}

static const lay_mesh *mesh_of(const lay_unit *unit, const lay_part_change *p) {
    for (size_t m = 0; p->type == LAY_PART_MESH && m < unit->mesh_count; m++)
        if (strcasecmp(unit->meshes[m].name, p->part) == 0) return &unit->meshes[m];
    return NULL;
}

static lay_status find_alike(lay_comparing *c, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t p = 0; p < c->out->part_count; p++) {
        const lay_mesh *mesh = mesh_of(c->after->unit, &c->out->parts[p]);
        for (size_t m = 0; mesh && m < c->after->unit->mesh_count && status == LAY_OK; m++) {
            const lay_mesh *other = &c->after->unit->meshes[m];
            if (other != mesh && one_wheel(mesh, other))
                status = lay_strings_add(&c->out->parts[p].not_separable_from, err, "%s", other->name);
        }
    }
    return status;
}

/* The engine's change in each condition is what --match engine takes off; where it is not heard, the noise's. */
static void find_shifts(lay_comparing *c) {
    for (size_t j = 0; j < c->out->shared_count && c->out->match == LAY_MATCH_ENGINE; j++) {
        lay_shared *s = &c->out->shared[j];
        s->shift_db = NAN;
        for (size_t p = 0; p < c->out->part_count; p++) {
            const lay_estimate *e = &lay_case_at(c, p, j)->estimate;
            if (c->out->parts[p].type == LAY_PART_ENGINE && e->before && e->after) s->shift_db = LAY_LN_DB * e->ln;
        }
        if (isnan(s->shift_db)) s->shift_db = s->ground_db;
    }
}

/* Blows in one condition alone are no evidence of a bearing. */
static void doubt_blows(const lay_comparing *c, size_t part) {
    size_t heard = 0;
    if (c->out->parts[part].type != LAY_PART_BEARING) return;
    for (size_t j = 0; j < c->out->shared_count; j++) {
        const lay_estimate *e = &lay_case_at(c, part, j)->estimate;
        heard += e->before || e->after;
    }
    for (size_t j = 0; j < c->out->shared_count && heard < 2; j++)
        lay_case_at(c, part, j)->estimate = (lay_estimate){.ln = NAN, .dof = 6};
}

static lay_status change_all(lay_comparing *c, lay_error *err) {
    lay_status status = list_parts(c, err);
    if (status == LAY_OK) status = find_alike(c, err);
    size_t parts = c->out->part_count, shared = c->out->shared_count;
    if (status == LAY_OK && !(c->cases = lay_calloc(parts * shared + 1, sizeof *c->cases)))
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t p = 0; p < parts && status == LAY_OK; p++)
        for (size_t j = 0; j < shared && status == LAY_OK; j++) status = collect(c, p, j, err);
    if (status != LAY_OK) return status;
    for (size_t p = 0; p < parts; p++) doubt_blows(c, p);
    find_shifts(c);
    lay_compare_repeat(c);
    for (size_t p = 0; p < parts && status == LAY_OK; p++) status = change_part(c, p, err);
    return status;
}

static void close_comparing(lay_comparing *c) {
    for (size_t i = 0; c->cases && i < c->out->part_count * c->out->shared_count; i++) free(c->cases[i].lines);
    for (size_t j = 0; c->overlaps && j < c->out->shared_count; j++) lay_overlap_free(&c->overlaps[j]);
    free(c->cases);
    free(c->overlaps);
}

lay_status lay_compare(const lay_measured *before, const lay_measured *after, lay_match match, lay_comparison *out,
                       lay_error *err) {
    *out = (lay_comparison){.match = match};
    lay_comparing c = {.before = before, .after = after, .out = out};
    lay_status status = lay_compare_shared(&c, err);
    if (status == LAY_OK) status = change_all(&c, err);
    if (status == LAY_OK) status = lay_compare_told(&c, err);
    if (status == LAY_OK) status = lay_compare_verdict(&c, err);
    close_comparing(&c);
    if (status != LAY_OK) lay_comparison_free(out);
    return status;
}

void lay_comparison_free(lay_comparison *comparison) {
    if (!comparison) return;
    for (size_t p = 0; p < comparison->part_count; p++) {
        lay_part_change *part = &comparison->parts[p];
        free(part->why);
        free(part->by_condition);
        free(part->lines);
        lay_strings_free(&part->not_separable_from);
        free(part->course.hz);
        free(part->course.before_db);
        free(part->course.after_db);
    }
    free(comparison->parts);
    free(comparison->shared);
    free(comparison->summary);
    lay_strings_free(&comparison->differs);
    lay_strings_free(&comparison->missing);
    *comparison = (lay_comparison){0};
}
