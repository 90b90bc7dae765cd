#include "family.h"

#include "ridge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The scores of the scan let every line count alike, so that a mesh's sidebands can pose as the mesh itself at a speed
 * some per cent away. Here a line counts by its share in amplitude of the strongest that could be its order, and by how
 * unlikely it would fall on the speed by chance: ln(cells in reach of the search). One order alone proves nothing, so
 * the best is not counted. Derived here. */

#define PLACE_SD 0.05    /* bins */
#define LEAST_SD 0.7     /* of a step between candidates */
#define FIT 2.0          /* standard deviations: beyond, a line is not the order's */
#define LEAST_RATIO 20.0 /* power over the noise */
#define LEAST_SHARE 0.3  /* of an order that counts as found */
#define HUM_HARMONICS 6
#define HUM_WIDTH 5e-4   /* relative, to either side */
#define SAME_ORDER 1e-3  /* orders this near share their lines */
#define FASTEST 3e-4     /* relative change of speed per second */
#define APART 3e-3       /* a speed this far away is a rival */
#define LEAST_PROOF 3.0  /* nats per frame beside the best order, */
#define PROOF_GROWTH 1.5 /* and this for each e-fold of orders offered: more of them fit by chance */
#define LEAST_LEAD 0.4   /* of the proof, over the best rival */
#define LEAST_ORDERS 2.5 /* found per frame, on average */

typedef struct cell {
    float sum, best, orders;
} cell;

typedef struct family {
    const lay_scan *scan;
    const lay_candidates *c;
    double bin; /* Hz, of the samples a spectrum really holds */
    cell *cells;
    float *value;
    size_t *path, *rival;
} family;

/* Hum of the supply would hold motors at their synchronous speed; 50 or 60 Hz as closely as grids are kept (common
 * practice, no source). */
static bool hum(double hz) {
    static const double mains[] = {50, 60};
    for (size_t i = 0; i < 2; i++) {
        double harmonic = round(hz / mains[i]);
        if (harmonic >= 1 && harmonic <= HUM_HARMONICS && fabs(hz - harmonic * mains[i]) < HUM_WIDTH * hz) return true;
    }
    return false;
}

/* Log speed the peak stands for as an order, from the lowest candidate; false outside the search. */
static bool offset_of(const lay_candidates *c, const lay_peak *peak, double order, double *offset) {
    if ((double)peak->ratio < LEAST_RATIO || hum((double)peak->hz)) return false;
    *offset = log((double)peak->hz / (order * c->low_hz));
    return *offset >= 0 && *offset <= c->step * (double)(c->count - 1);
}

static double strongest(const lay_candidates *c, const lay_peak *peaks, double order) {
    double most = 0, offset;
    for (size_t i = 0; i < LAY_SCAN_PEAKS; i++)
        if (offset_of(c, &peaks[i], order, &offset)) most = fmax(most, (double)peaks[i].ratio);
    return most;
}

/* Relative uncertainty of the speed a line stands for. */
static double place_sd(const family *f, const lay_peak *peak) {
    return f->bin * (PLACE_SD + 0.4 / sqrt((double)peak->ratio)) / (double)peak->hz;
}

/* What one order finds at each candidate of a frame; a candidate keeps the best of several lines. */
static void spread(const family *f, const lay_peak *peaks, double order, float *found) {
    const lay_candidates *c = f->c;
    double most = strongest(c, peaks, order), offset;
    for (size_t i = 0; i < LAY_SCAN_PEAKS && most > 0; i++) {
        if (!offset_of(c, &peaks[i], order, &offset)) continue;
        double sd = fmax(place_sd(f, &peaks[i]), LEAST_SD * c->step);
        double share = sqrt((double)peaks[i].ratio / most), first = ceil((offset - FIT * sd) / c->step);
        for (double k = fmax(0, first); k < (double)c->count && k * c->step <= offset + FIT * sd; k++) {
            double z = (k * c->step - offset) / sd;
            found[(size_t)k] = fmaxf(found[(size_t)k], (float)(share * exp(-0.5 * z * z)));
        }
    }
}

static bool repeated(const lay_candidates *c, size_t k) {
    for (size_t j = 0; j < k; j++)
        if (fabs(c->orders[j] / c->orders[k] - 1) < SAME_ORDER) return true;
    return false;
}

static void add_order(const family *f, size_t frame, double order, float *found) {
    const lay_candidates *c = f->c;
    cell *row = f->cells + frame * c->count;
    double cells = order * c->low_hz * c->step * (double)c->count / f->bin;
    if (cells < 4) return; /* so wide a line fits all speeds */
    memset(found, 0, c->count * sizeof *found);
    spread(f, f->scan->peaks + frame * LAY_SCAN_PEAKS, order, found);
    for (size_t k = 0; k < c->count; k++) {
        float nats = found[k] * (float)log(cells / 2);
        row[k].sum += nats;
        row[k].best = fmaxf(row[k].best, nats);
        row[k].orders += found[k] >= (float)LEAST_SHARE ? 1 : 0;
    }
}

/* Mean proof along a path and, unless NULL, of the orders found. */
static double along(const family *f, const size_t *path, double *orders) {
    double sum = 0, found = 0;
    for (size_t i = 0; i < f->scan->frames; i++) {
        const cell *at = &f->cells[i * f->c->count + path[i]];
        sum += (double)(at->sum - at->best);
        found += (double)at->orders;
    }
    if (orders) *orders = found / (double)f->scan->frames;
    return sum / (double)f->scan->frames;
}

/* Log speed of a frame from all lines that fit its candidate. */
static double settle(const family *f, size_t frame) {
    const lay_candidates *c = f->c;
    const lay_peak *peaks = f->scan->peaks + frame * LAY_SCAN_PEAKS;
    double at = (double)f->path[frame] * c->step, sum = 0, weight = 0, offset;
    for (size_t k = 0; k < c->order_count; k++) {
        double most = strongest(c, peaks, c->orders[k]);
        for (size_t i = 0; i < LAY_SCAN_PEAKS; i++) {
            if (!offset_of(c, &peaks[i], c->orders[k], &offset)) continue;
            double sd = place_sd(f, &peaks[i]), share = sqrt((double)peaks[i].ratio / most);
            if (share < LEAST_SHARE || fabs(offset - at) > FIT * fmax(sd, LEAST_SD * c->step)) continue;
            sum += offset / (sd * sd);
            weight += 1 / (sd * sd);
        }
    }
    return log(c->low_hz) + (weight > 0 ? sum / weight : at);
}

static lay_status choose(family *f, double *confidence, lay_error *err) {
    const lay_scan *s = f->scan;
    size_t count = f->c->count, clear = (size_t)ceil(APART / f->c->step);
    double hop = (double)(s->hop * s->every) / s->rate, orders;
    size_t reach = (size_t)ceil(FASTEST * hop / f->c->step);
    for (size_t i = 0; i < s->frames * count; i++) f->value[i] = f->cells[i].sum - f->cells[i].best;
    lay_status status = lay_ridge_find(f->value, s->frames, count, reach, 0.1, NULL, 0, f->path, err);
    if (status == LAY_OK)
        status = lay_ridge_find(f->value, s->frames, count, reach, 0.1, f->path, clear, f->rival, err);
    if (status != LAY_OK) return status;
    double proof = along(f, f->path, &orders), lead = proof - along(f, f->rival, NULL);
    double least = LEAST_PROOF + PROOF_GROWTH * log((double)f->c->order_count);
    if (proof < least || lead < LEAST_LEAD * proof || orders < LEAST_ORDERS) return LAY_OK;
    *confidence = 0.6 + 0.35 * (lead / proof - LEAST_LEAD) / (1 - LEAST_LEAD);
    return LAY_OK;
}

lay_status lay_family_find(const lay_scan *steady, size_t length, const lay_candidates *c, double *log_hz,
                           double *confidence, lay_error *err) {
    size_t cells = steady->frames * c->count;
    *confidence = 0;
    if (cells == 0 || length == 0) return LAY_OK;
    family f = {steady,
                c,
                steady->rate / (double)length,
                lay_calloc(cells, sizeof(cell)),
                lay_calloc(cells, sizeof(float)),
                lay_calloc(steady->frames, sizeof(size_t)),
                lay_calloc(steady->frames, sizeof(size_t))};
    float *found = lay_calloc(c->count, sizeof *found);
    lay_status status = LAY_OK;
    if (!f.cells || !f.value || !f.path || !f.rival || !found) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    for (size_t i = 0; i < steady->frames; i++)
        for (size_t k = 0; k < c->order_count; k++)
            if (!repeated(c, k)) add_order(&f, i, c->orders[k], found);
    status = choose(&f, confidence, err);
    for (size_t i = 0; i < steady->frames && status == LAY_OK; i++) log_hz[i] = settle(&f, i);
done:
    free(f.cells);
    free(f.value);
    free(f.path);
    free(f.rival);
    free(found);
    return status;
}
