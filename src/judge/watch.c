/* Parts watched while they turn: highest levels, change against a baseline, alarms, moments. */
#include <layshaft/judge.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SPEED_STEP 0.05 /* of the speed: what is alike */
#define FEWEST 3        /* looks that make a baseline */
#define LASTING_S 0.45  /* a change that stays for so long */
#define EXACT 0.02      /* tolerance of the rates of a bearing whose geometry is known */
#define CLEAR_DB 6.0    /* over the noise: below, a level is the noise's */

/* ---- the baseline ---- */

typedef struct baseline_cell {
    char *part;
    int step; /* of speed */
    double sum, squares;
    size_t count;
} baseline_cell;

struct lay_watch_baseline {
    baseline_cell *cells;
    size_t count, capacity;
};

lay_watch_baseline *lay_watch_baseline_new(void) {
    return lay_calloc(1, sizeof(lay_watch_baseline));
}

void lay_watch_baseline_free(lay_watch_baseline *b) {
    if (!b) return;
    for (size_t i = 0; i < b->count; i++) free(b->cells[i].part);
    free(b->cells);
    free(b);
}

static int speed_step(double hz) {
    return (int)floor(log(hz) / log(1 + SPEED_STEP));
}

static baseline_cell *cell_of(const lay_watch_baseline *b, const char *part, int step) {
    for (size_t i = 0; i < b->count; i++)
        if (b->cells[i].step == step && strcmp(b->cells[i].part, part) == 0) return &b->cells[i];
    return NULL;
}

static lay_status learn(lay_watch_baseline *b, const char *part, int step, double level, lay_error *err) {
    baseline_cell *cell = cell_of(b, part, step);
    if (!cell) {
        lay_status status = lay_grow((void **)&b->cells, &b->capacity, b->count, sizeof *b->cells, err);
        char *name = status == LAY_OK ? lay_strdup(part) : NULL;
        if (!name) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the baseline");
        cell = &b->cells[b->count++];
        *cell = (baseline_cell){.part = name, .step = step};
    }
    cell->sum += level;
    cell->squares += level * level;
    cell->count++;
    return LAY_OK;
}

/* Of blows the height over even noise, of tones the level. */
static double level_of(const lay_monitor_row *row, double power, const lay_run_spec *spec) {
    if (!row->blows) return lay_level_db(power, spec);
    return power > 0 ? 10 * log10(power) : NAN;
}

lay_status lay_watch_learn(lay_watch_baseline *b, const lay_monitor_view *view, const lay_run_spec *spec,
                           lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; view->known && i < view->count && status == LAY_OK; i++) {
        double level = level_of(&view->rows[i], view->rows[i].power, spec);
        if (isfinite(level)) status = learn(b, view->rows[i].part->name, speed_step(view->hz), level, err);
    }
    return status;
}

bool lay_watch_expects(const lay_watch_baseline *b, const char *part, double hz, double *mean_db, double *sd_db) {
    double sum = 0, squares = 0;
    size_t count = 0;
    for (int step = speed_step(hz) - 1; step <= speed_step(hz) + 1; step++) {
        const baseline_cell *cell = cell_of(b, part, step);
        if (!cell) continue;
        sum += cell->sum;
        squares += cell->squares;
        count += cell->count;
    }
    if (count < FEWEST) return false;
    *mean_db = sum / (double)count;
    *sd_db = sqrt(fmax(0, squares / (double)count - *mean_db * *mean_db));
    return true;
}

/* ---- watching ---- */

static void begin_row(lay_watch_row *row, const lay_monitor_row *from, double step) {
    *row = (lay_watch_row){.part = from->part,
                           .order = from->order,
                           .blows = from->blows,
                           .vague = from->blows && from->part->tolerance > EXACT,
                           .shared = from->near < 3 * step,
                           .now_db = NAN,
                           .above_db = NAN,
                           .hold_db = NAN,
                           .top_db = NAN,
                           .mean_db = NAN,
                           .change_db = NAN,
                           .worst_db = NAN,
                           .alarm_s = NAN};
}

lay_status lay_watch_begin(const lay_monitor_view *view, const lay_run_spec *spec, const lay_watch_baseline *baseline,
                           double limit_db, lay_watch *out, lay_error *err) {
    *out = (lay_watch){.count = view->count, .spec = spec, .baseline = baseline, .limit_db = limit_db};
    out->rows = lay_calloc(view->count + 1, sizeof *out->rows);
    out->sums = lay_calloc(view->count + 1, sizeof *out->sums);
    out->heard = lay_calloc(view->count + 1, sizeof *out->heard);
    out->over_s = lay_calloc(view->count + 1, sizeof *out->over_s);
    if (!out->rows || !out->sums || !out->heard || !out->over_s) {
        lay_watch_free(out);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    }
    for (size_t i = 0; i < view->count; i++) {
        begin_row(&out->rows[i], &view->rows[i], view->step);
        out->over_s[i] = NAN;
    }
    return LAY_OK;
}

void lay_watch_free(lay_watch *w) {
    if (!w) return;
    free(w->rows);
    free(w->sums);
    free(w->heard);
    free(w->over_s);
    free(w->moments);
    *w = (lay_watch){0};
}

/* An alarm begins when the change has lasted, so that a bang on the stand is none. */
static void compare(lay_watch *w, size_t i, double hz) {
    lay_watch_row *row = &w->rows[i];
    double mean, sd;
    row->change_db = NAN;
    bool over = false;
    if (w->baseline && !row->engine && lay_watch_expects(w->baseline, row->part->name, hz, &mean, &sd)) {
        row->change_db = row->now_db - mean;
        w->compared++;
        over = !row->vague && row->change_db > fmax(w->limit_db, 3 * sd) && row->above_db > CLEAR_DB;
    }
    if (!over)
        w->over_s[i] = NAN;
    else if (isnan(w->over_s[i]))
        w->over_s[i] = w->at_s;
    bool lasting = over && w->at_s - w->over_s[i] >= LASTING_S;
    if (lasting && !row->alarm) {
        row->alarms++;
        if (isnan(row->alarm_s)) row->alarm_s = w->over_s[i];
    }
    row->alarm = lasting;
    if (row->above_db > CLEAR_DB && isfinite(row->change_db)) row->worst_db = fmax(row->worst_db, row->change_db);
}

static void take_row(lay_watch *w, size_t i, const lay_monitor_view *view) {
    lay_watch_row *row = &w->rows[i];
    const lay_monitor_row *from = &view->rows[i];
    row->hz = from->hz;
    row->shared = from->near < 3 * view->step;
    row->engine = from->engine < 3 * view->step;
    row->now_db = level_of(from, from->power, w->spec);
    row->above_db = from->power > 0 && from->floor > 0 ? 10 * log10(from->power / from->floor) : NAN;
    row->hold_db = fmax(row->hold_db, row->now_db); /* of NaN and a number the number */
    if (row->now_db > row->top_db || isnan(row->top_db)) {
        row->top_db = row->now_db;
        row->top_s = w->at_s;
        row->top_hz = view->hz;
    }
    w->sums[i] += from->power;
    w->heard[i] += from->power > 0;
    row->mean_db = level_of(from, w->sums[i] / (double)w->heard[i], w->spec);
    compare(w, i, view->hz);
}

static void go_blind(lay_watch *w) {
    w->blind++;
    for (size_t i = 0; i < w->count; i++) {
        w->rows[i].now_db = w->rows[i].above_db = w->rows[i].change_db = w->over_s[i] = NAN;
        w->rows[i].alarm = false;
        w->rows[i].hz = 0;
    }
}

void lay_watch_take(lay_watch *w, const lay_monitor_view *view) {
    w->known = view->known;
    w->at_s = view->at_s;
    w->looks++;
    if (!view->known) {
        go_blind(w);
        return;
    }
    w->hz = view->hz;
    w->confidence = view->confidence;
    w->source = view->source;
    w->min_hz = w->min_hz > 0 ? fmin(w->min_hz, view->hz) : view->hz;
    w->max_hz = fmax(w->max_hz, view->hz);
    w->mean_hz += (view->hz - w->mean_hz) / (double)(w->looks - w->blind);
    for (size_t i = 0; i < w->count && i < view->count; i++) take_row(w, i, view);
}

void lay_watch_reset(lay_watch *w) {
    for (size_t i = 0; i < w->count; i++) w->rows[i].hold_db = NAN;
}

/* The row highest over the noise; among the meshes alone when `mesh`. */
static size_t highest(const lay_watch *w, bool mesh, double *above_db) {
    size_t best = 0;
    *above_db = -INFINITY;
    for (size_t i = 0; i < w->count; i++) {
        if (mesh && w->rows[i].part->type != LAY_PART_MESH) continue;
        if (!(w->rows[i].above_db > *above_db)) continue;
        *above_db = w->rows[i].above_db;
        best = i;
    }
    return best;
}

lay_status lay_watch_note(lay_watch *w, lay_error *err) {
    lay_status status = lay_grow((void **)&w->moments, &w->moment_capacity, w->moment_count, sizeof *w->moments, err);
    if (status != LAY_OK) return status;
    lay_watch_moment m = {.at_s = w->at_s, .hz = w->known ? w->hz : NAN};
    m.loudest = highest(w, true, &m.above_db);
    if (m.above_db < CLEAR_DB) m.loudest = highest(w, false, &m.above_db);
    w->moments[w->moment_count++] = m;
    return LAY_OK;
}
