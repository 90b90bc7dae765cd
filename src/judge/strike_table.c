#include "strikes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* All runs together: a part rings the same resonance in every run, so one band must do for all of them, and its slip
 * differs but little from run to run, so one slip must do as well. What is there by chance in one run has another band
 * and another slip in the next.
 *
 * A bearing slips by one or two per cent (Randall & Antoni 2011, value from memory of the work); the tolerance of its
 * multiples comes on top. How much a series says is told by the same search at orders around it that no part makes. */

#define SLIP 0.02
#define KNOWN 0.02  /* a tolerance of the multiples up to this is within the slip */
#define POINT 0.001 /* from one slip to the next */
#define POINTS_MOST 301
#define APART 2          /* points by which runs may differ from the common slip */
#define BLIND_SPEED 0.02 /* a stated speed that could not be confirmed may be off by so much */
#define RUN_MOST_DB 40.0 /* of several runs none counts more */
#define SLIP_DB 4.0      /* a slip at the limit speaks so much against */

#define AROUND 6 /* places looked at to compare */

void lay_strike_table_free(lay_strike_table *t) {
    free(t->at);
    free(t->common);
    *t = (lay_strike_table){0};
}

const lay_strike *lay_strike_of(const lay_strike_table *t, size_t hypothesis, size_t run) {
    return &t->at[hypothesis * t->runs + run];
}

const lay_strike_common *lay_strike_common_of(const lay_strike_table *t, size_t hypothesis) {
    return &t->common[hypothesis];
}

static lay_strike_series series_of(const lay_hypothesis *h) {
    if (h->kind == LAY_KIND_CHIP) return LAY_STRIKE_LOCKED;
    if (h->kind == LAY_KIND_ELEMENT && h->multiple == 1) return LAY_STRIKE_SWING;
    return h->kind == LAY_KIND_CAGE ? LAY_STRIKE_CAGE : LAY_STRIKE_RING;
}

/* ---- one hypothesis over all runs ---- */

typedef struct lay_search {
    const lay_hypothesis *h;
    const lay_run_evidence *runs;
    lay_strikes *const *views; /* NULL: no envelope */
    size_t run_count;
    double low, tolerance;
    bool among_gears;     /* the unit has meshes: many other things strike */
    size_t points, bands; /* bands of the first run; another division of Hz has its own best band */
    const lay_strikes *model;
    bool *counts; /* [run_count] runs in which it should strike */
    size_t counted;
    float *scores; /* [bands_most * points] of one run */
    double *sum;   /* [bands * points] */
} lay_search;

static bool confirmed(const lay_run_evidence *run) {
    return run->speed_source == LAY_SPEED_TACH || run->speed_confidence >= 0.5;
}

static void choose_runs(lay_search *s, lay_flank flank) {
    s->counted = 0;
    for (size_t r = 0; r < s->run_count; r++) {
        bool sure = lay_run_trusted(&s->runs[r]) && (s->h->kind != LAY_KIND_CHIP || confirmed(&s->runs[r]));
        s->counts[r] = s->views[r] && sure && lay_strike_expected(s->h, &s->runs[r], flank);
        s->counted += s->counts[r];
    }
}

static bool same_bands(const lay_search *s, size_t r) {
    if (lay_strikes_band_count(s->views[r]) != s->bands) return false;
    const lay_envelope_spectrum *e = &s->runs[r].envelope;
    for (size_t m = 0; m < s->run_count; m++)
        if (s->views[m] == s->model)
            return fabs(e->bands[0].low_hz - s->runs[m].envelope.bands[0].low_hz) < 1 &&
                   fabs(e->bands[e->band_count - 1].high_hz - s->runs[m].envelope.bands[e->band_count - 1].high_hz) < 1;
    return false;
}

/* Highest score of a band within the points that a run may differ from the common slip. */
static float nearby(const float *row, size_t points, size_t at, size_t apart) {
    size_t low = at > apart ? at - apart : 0, high = at + apart < points ? at + apart : points - 1;
    float best = 0;
    for (size_t i = low; i <= high; i++)
        if (row[i] > best) best = row[i];
    return best;
}

static size_t apart_of(const lay_search *s, size_t r) {
    if (s->points == 1) return 0;
    return confirmed(&s->runs[r]) ? APART : APART + (size_t)(BLIND_SPEED / POINT);
}

static void add_run(lay_search *s, size_t r, double factor) {
    double order = lay_strike_order(s->h, &s->runs[r]) * factor;
    size_t bands = lay_strikes_band_count(s->views[r]), apart = apart_of(s, r);
    lay_strike_scores(s->views[r], series_of(s->h), order, s->low, POINT, s->points, s->scores);
    bool same = same_bands(s, r);
    double most = s->counted > 1 ? RUN_MOST_DB : INFINITY;
    for (size_t i = 0; i < s->points; i++) {
        float best = 0;
        for (size_t b = 0; b < bands && !same; b++)
            best = fmaxf(best, nearby(s->scores + b * s->points, s->points, i, apart));
        for (size_t b = 0; b < s->bands; b++)
            s->sum[b * s->points + i] +=
                fmin(most, same ? nearby(s->scores + b * s->points, s->points, i, apart) : best);
    }
}

/* The band and slip that do best for all runs; returns the mean score over the runs. */
static double best_of(lay_search *s, double factor, size_t *band, size_t *point) {
    memset(s->sum, 0, s->bands * s->points * sizeof *s->sum);
    for (size_t r = 0; r < s->run_count; r++)
        if (s->counts[r]) add_run(s, r, factor);
    double best = -INFINITY, limit = fmax(SLIP, s->tolerance);
    for (size_t b = 0; b < s->bands; b++)
        for (size_t i = 0; i < s->points; i++) {
            double off = (s->low + POINT * (double)i) / limit;
            double score = s->sum[b * s->points + i] / (double)s->counted - SLIP_DB * off * off;
            if (s->points == 1) score = s->sum[b] / (double)s->counted;
            if (score > best) best = score, *band = b, *point = i;
        }
    return best;
}

/* Order of a chipped wheel that turns once per whole number of engine cycles wherever it should strike; 0 of others.
 * The reference may be a crank even where the unit file lists no engine. */
static double crank_order(const lay_search *s) {
    double order = 0;
    if (s->h->kind != LAY_KIND_CHIP) return 0;
    for (size_t r = 0; r < s->run_count; r++) {
        if (!s->counts[r]) continue;
        const lay_expected *engine = lay_run_engine(&s->runs[r]);
        double here = lay_strike_order(s->h, &s->runs[r]), cycle = engine ? engine->cycle_order : 0.5;
        if (cycle <= 0 || fabs(here / cycle - round(here / cycle)) > 1e-3 || round(here / cycle) < 1) return 0;
        order = here;
    }
    return order;
}

/* One run at the common band, at the slip near the common one that fits it best. */
static void settle_run(lay_search *s, size_t r, size_t band, size_t point, lay_strike *out) {
    double order = lay_strike_order(s->h, &s->runs[r]), crank = crank_order(s);
    if (crank > 0 && !s->counts[r]) order = crank; /* what the crank makes there without the tooth */
    *out = (lay_strike){.band = -1};
    if (!s->views[r] || order <= 0) return;
    size_t apart = apart_of(s, r), low = point > apart ? point - apart : 0;
    size_t bands = lay_strikes_band_count(s->views[r]);
    size_t from = same_bands(s, r) ? band : 0, to = same_bands(s, r) ? band + 1 : bands;
    for (size_t b = from; b < to; b++)
        for (size_t i = low; i <= point + apart && i < s->points; i++) {
            lay_strike at;
            lay_strike_at(s->views[r], series_of(s->h), order, s->points == 1 ? 0 : s->low + POINT * (double)i, b,
                          lay_strike_swing(s->h, &s->runs[r]), &at);
            if (at.valid && (!out->valid || at.score > out->score)) *out = at;
        }
}

/* The same search around the order, at places that do not overlap it. */
static double elsewhere(lay_search *s) {
    static const double beyond[] = {0.02, 0.07, 0.12};
    double score[AROUND], away = (1 - s->low) / (1 + s->low);
    size_t band, point;
    for (size_t i = 0; i < AROUND; i++) {
        double factor = away * (1 + beyond[i / 2]);
        score[i] = best_of(s, i % 2 ? factor : 1 / factor, &band, &point);
    }
    return lay_quantile(score, AROUND, 0.6);
}

static void search(lay_search *s, lay_flank flank, lay_strike_common *common, lay_strike *at) {
    size_t band = 0, point = 0;
    choose_runs(s, flank);
    *common = (lay_strike_common){.flank = flank, .wide = s->tolerance > 0 && s->among_gears};
    if (s->counted == 0) return;
    common->runs = (int)s->counted;
    common->score = best_of(s, 1, &band, &point);
    common->elsewhere = s->points > 1 ? elsewhere(s) : 0;
    common->crank = crank_order(s) > 0;
    double sides = 0;
    for (size_t r = 0; r < s->run_count; r++) {
        settle_run(s, r, band, point, &at[r]);
        at[r].elsewhere = common->elsewhere;
        if (s->counts[r]) sides += at[r].side_db / (double)s->counted;
    }
    common->side_db = sides;
}

/* A chipped tooth may strike on one flank only, a bearing under load only (called "drive" here). */
static void search_flanks(lay_search *s, lay_strike_common *common, lay_strike *at, lay_strike *other) {
    double best = -INFINITY;
    int last = s->h->index < 0 ? LAY_FLANK_ANY : s->h->kind == LAY_KIND_CHIP ? LAY_FLANK_COAST : LAY_FLANK_DRIVE;
    for (int flank = LAY_FLANK_ANY; flank <= last; flank++) {
        lay_strike_common found;
        memset(other, 0, s->run_count * sizeof *other);
        search(s, (lay_flank)flank, &found, other);
        double value = lay_strike_contrast(s->h, &found, other, s->runs, s->run_count);
        if (found.runs == 0 || value <= best) continue;
        best = value;
        *common = found;
        memcpy(at, other, s->run_count * sizeof *at);
    }
}

static void size_search(lay_search *s, const lay_unit *unit) {
    double tolerance = s->h->type == LAY_PART_BEARING && s->h->index >= 0 ? unit->bearings[s->h->index].tolerance : 0;
    s->tolerance = tolerance > KNOWN ? tolerance : 0;
    s->among_gears = unit->mesh_count > 0;
    double slack = SLIP + s->tolerance;
    s->points = s->h->kind == LAY_KIND_CHIP ? 1 : 2 * (size_t)lround(slack / POINT) + 1;
    if (s->points > POINTS_MOST) s->points = POINTS_MOST;
    s->low = -POINT * (double)(s->points / 2);
}

/* ---- all hypotheses ---- */

static size_t most_bands(const lay_search *s) {
    size_t most = 0;
    for (size_t r = 0; r < s->run_count; r++)
        if (s->views[r] && lay_strikes_band_count(s->views[r]) > most) most = lay_strikes_band_count(s->views[r]);
    return most;
}

static lay_status observe(const lay_unit *unit, const lay_hypothesis_list *list, lay_search *s, lay_strike_table *out,
                          lay_error *err) {
    size_t bands = most_bands(s);
    s->counts = lay_calloc(s->run_count + 1, sizeof *s->counts);
    s->scores = lay_calloc(bands * POINTS_MOST + 1, sizeof *s->scores);
    s->sum = lay_calloc(bands * POINTS_MOST + 1, sizeof *s->sum);
    lay_strike *other = lay_calloc(s->run_count + 1, sizeof *other);
    lay_status status = s->counts && s->scores && s->sum && other
                            ? LAY_OK
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to compare the bearings");
    for (size_t r = 0; r < s->run_count && !s->model; r++) s->model = s->views[r];
    s->bands = s->model ? lay_strikes_band_count(s->model) : 0;
    for (size_t i = 0; i < list->count && status == LAY_OK && s->model; i++) {
        s->h = &list->items[i];
        if (!lay_hypothesis_strikes(s->h)) continue;
        size_search(s, unit);
        search_flanks(s, &out->common[i], out->at + i * s->run_count, other);
    }
    free(s->counts);
    free(s->scores);
    free(s->sum);
    free(other);
    return status;
}

lay_status lay_strikes_observe(const lay_unit *unit, const lay_hypothesis_list *list, const lay_run_evidence *runs,
                               size_t run_count, lay_strike_table *out, lay_error *err) {
    *out = (lay_strike_table){.runs = run_count};
    out->at = lay_calloc(list->count * run_count + 1, sizeof *out->at);
    out->common = lay_calloc(list->count + 1, sizeof *out->common);
    lay_strikes **views = lay_calloc(run_count + 1, sizeof *views);
    lay_status status = out->at && out->common && views
                            ? LAY_OK
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to compare the bearings");
    for (size_t r = 0; r < run_count && status == LAY_OK; r++)
        if (runs[r].usable && runs[r].gear >= 0) status = lay_strikes_new(&runs[r], &views[r], err);
    lay_search s = {.runs = runs, .views = views, .run_count = run_count};
    if (status == LAY_OK) status = observe(unit, list, &s, out, err);
    for (size_t r = 0; views && r < run_count; r++) lay_strikes_free(views[r]);
    free(views);
    if (status != LAY_OK) lay_strike_table_free(out);
    return status;
}
