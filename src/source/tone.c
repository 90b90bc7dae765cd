#include "tone.h"

#include <math.h>
#include <stdlib.h>

/* Tone-to-noise ratio per row of the order map needs a floor for each row; a row holds few segments, so its floor
 * is the median of the bins around the order, the nearest left out, turned into a mean by the chi-square law. */

#define LAY_NOTHING_DB (-40.0)
#define LAY_CLASSES_MAX 64

double lay_run_level_db(const lay_run_evidence *run, double power) {
    const lay_run_spec calibration = {.full_scale = run->full_scale, .quantity = run->quantity};
    return lay_level_db(power, &calibration);
}

/* Sound and structure answer late: a resonance or three metres of air delay a line by some 8 ms against the tach, which
 * in a sweep moves its order by the speed's relative change in that time. */
static double late_by(const lay_run_evidence *run, double order) {
    if (!(run->min_hz > 0) || !(run->duration_s > 0)) return 0;
    return order * log(run->max_hz / run->min_hz) / run->duration_s * 0.008;
}

double lay_order_tolerance(const lay_run_evidence *run, double order) {
    /* A tach leaves half a bin; a speed found on the signal is good to some 3e-4 (docs/accuracy.md). */
    double relative = run->speed_source == LAY_SPEED_TACH ? 1e-4 : 4e-4;
    return 1.2 * run->spectrum.step + relative * order + fmin(late_by(run, order), run->spectrum.step);
}

static bool passes_fixed(const lay_run_evidence *run, double order) {
    double low = order * run->min_hz, high = order * run->max_hz;
    bool steady = run->max_hz - run->min_hz < 0.02 * run->mean_hz;
    if (!steady) return false; /* a sweep smears it over many orders */
    double slack = 1.5 * run->spectrum.step * run->mean_hz;
    for (size_t i = 0; i < run->fixed_hz_count; i++)
        if (run->fixed_hz[i] > low - slack && run->fixed_hz[i] < high + slack) return true;
    return false;
}

/* Mean noise power per bin of one map row around bin `centre`, `keep_out` bins either side left out. */
static double row_floor(const double *row, size_t bins, size_t centre, size_t reach, size_t keep_out, double averages) {
    double near[512];
    size_t n = 0, stride = 1 + 2 * reach / 500;
    size_t first = centre > reach ? centre - reach : 0;
    size_t last = centre + reach < bins ? centre + reach : bins - 1;
    for (size_t i = first; i <= last && n < 512; i += stride) {
        size_t away = i > centre ? i - centre : centre - i;
        if (away > keep_out) near[n++] = row[i];
    }
    if (n < 8) return 0;
    double dof = 2 * fmax(averages, 1);
    return lay_median(near, n) * dof / lay_chi2_threshold(0.5, dof);
}

double lay_row_density(const lay_order_spectrum *s, size_t row, double order) {
    size_t centre = (size_t)lround(order / s->step), spread = 1;
    double critical = lay_critical_bandwidth(order * s->class_hz[row]) / s->class_hz[row]; /* orders */
    size_t reach = (size_t)(0.5 * critical / s->step);
    if (reach < spread + 12) reach = spread + 12;
    double averages = fmax(1, s->averages * s->class_segments[row] / (double)s->segments);
    return row_floor(s->map + row * s->bins, s->bins, centre, reach, spread + 2, averages) / (s->enbw * s->step);
}

static double row_tnr(const lay_order_spectrum *s, size_t row, double order) {
    const size_t spread = 1;
    const double *p = s->map + row * s->bins;
    size_t centre = (size_t)lround(order / s->step);
    double density = lay_row_density(s, row, order), noise = density * s->enbw * s->step;
    double sum = 0;
    size_t first = centre > spread + 1 ? centre - spread - 1 : 0;
    size_t last = centre + spread + 1 < s->bins ? centre + spread + 1 : s->bins - 1;
    for (size_t i = first; i <= last; i++) sum += p[i];
    double tone = (sum - noise * (double)(last - first + 1)) / s->enbw;
    double band = density * lay_critical_bandwidth(order * s->class_hz[row]) / s->class_hz[row];
    if (tone <= 0 || band <= 0) return LAY_NOTHING_DB;
    return fmax(LAY_NOTHING_DB, lay_db_power(tone / band));
}

/* `order`: of the line itself, so that a neighbour in reach does not count. */
static double steady_tnr(const lay_run_evidence *run, double order, double fallback) {
    const lay_order_spectrum *s = &run->spectrum;
    double tnr[LAY_CLASSES_MAX];
    size_t n = 0;
    for (size_t c = 0; c < s->classes && n < LAY_CLASSES_MAX; c++) {
        if (s->class_segments[c] < 1 || order + s->step > s->top_order[c]) continue;
        tnr[n++] = row_tnr(s, c, order);
    }
    return n >= 3 ? lay_median(tnr, n) : fallback;
}

/* The centre of a line is known to a fraction of a bin, so a neighbour two bins away is no part's line. */
static double off_centre(const lay_run_evidence *run, double order, const lay_line *line) {
    double speed = (run->speed_source == LAY_SPEED_TACH ? 3e-5 : 3e-4) * order, bin = 0.12 * run->spectrum.step,
           late = 0.5 * late_by(run, order);
    return fabs(line->order - order) / sqrt(line->order_sd * line->order_sd + bin * bin + speed * speed + late * late);
}

/* The highest bin near an order may be the shoulder of a line beside it: that line is then what stands here, and its
 * own centre tells that it is not the one looked for. */
static void climb(const lay_order_spectrum *s, lay_line *line) {
    size_t top = line->bin;
    for (int i = 0; i < 3 && top > 4 && top + 4 < s->bins; i++) {
        size_t up = s->power[top + 1] > s->power[top - 1] ? top + 1 : top - 1;
        if (s->power[up] <= s->power[top]) break;
        top = up;
    }
    if (top != line->bin) lay_line_at(s, (double)top * s->step, 0, line);
}

/* Everything but the level over speed, which costs far more than the rest. */
static void mean_tone(const lay_run_evidence *run, double order, double slack, lay_tone *out) {
    const lay_order_spectrum *s = &run->spectrum;
    *out = (lay_tone){.tnr_db = LAY_NOTHING_DB, .steady_tnr_db = LAY_NOTHING_DB};
    double top = 0;
    for (size_t c = 0; c < s->classes; c++)
        if (s->class_segments[c] >= 1 && s->top_order[c] > top) top = s->top_order[c];
    double tolerance = lay_order_tolerance(run, order) + slack * order;
    if (order < 3 * s->step || order + tolerance > fmin(top, (double)(s->bins - 4) * s->step)) return;
    lay_line line;
    lay_line_at(s, order, tolerance, &line);
    climb(s, &line);
    out->valid = true;
    out->power = line.power;
    out->tnr_db = fmax(LAY_NOTHING_DB, line.power > 0 ? line.tnr_db : LAY_NOTHING_DB);
    out->above_floor_db = line.above_floor_db;
    out->significance = line.significance;
    out->hz = order * run->mean_hz;
    out->found = line.order;
    out->off_sd = off_centre(run, order, &line);
    out->fixed = passes_fixed(run, order);
}

void lay_tone_at(const lay_run_evidence *run, double order, double slack, lay_tone *out) {
    mean_tone(run, order, slack, out);
    if (out->valid) out->steady_tnr_db = steady_tnr(run, out->found, out->tnr_db);
}

/* ---- the engine's share ---- */

bool lay_run_trusted(const lay_run_evidence *run) {
    return run->usable && (run->speed_source != LAY_SPEED_SIGNAL || run->speed_confidence >= 0.5);
}

const lay_expected *lay_run_engine(const lay_run_evidence *run) {
    for (size_t i = 0; i < run->expected_count; i++)
        if (run->expected[i].type == LAY_PART_ENGINE && run->expected[i].turning) return &run->expected[i];
    return NULL;
}

/* Another family's own line within so many bins of this order would spoil it as a measure of the engine. */
static bool taken_by_gears(const lay_run_evidence *run, double order, double bins) {
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if ((e->type != LAY_PART_MESH && e->type != LAY_PART_AXLE) || e->order <= 0) continue;
        double k = round(order / e->order);
        if (k >= 1 && fabs(order - k * e->order) < bins * run->spectrum.step) return true;
    }
    return false;
}

double lay_engine_share(const lay_run_evidence *run, double order) {
    const lay_expected *engine = lay_run_engine(run);
    if (!engine || engine->cycle_order <= 0) return 0;
    double n = round(order / engine->cycle_order);
    if (n < 1 || fabs(order - n * engine->cycle_order) > lay_order_tolerance(run, order)) return 0;
    double per_firing = round(engine->order / engine->cycle_order);
    bool firing = per_firing >= 1 && fabs(n / per_firing - round(n / per_firing)) < 1e-6;
    double step = firing ? per_firing : 1;
    double power[8];
    size_t count = 0;
    for (int j = -4; j <= 4; j++) {
        double o = (n + j * step) * engine->cycle_order;
        if (j == 0 || o <= 0 || (!firing && fmod(n + j, per_firing) == 0) || taken_by_gears(run, o, 3)) continue;
        lay_tone tone;
        mean_tone(run, o, 0, &tone);
        if (tone.valid) power[count++] = tone.significance > 2 && tone.off_sd <= 5 ? tone.power : 0;
    }
    return count ? lay_quantile(power, count, 0.6) : 0;
}

/* An electric stand turns a unit whose file lists an engine: only an engine that is heard at firing orders which no
 * gear makes as well counts. */
static bool engine_heard(const lay_run_evidence *run, const lay_expected *engine) {
    for (int k = 1; k <= 4; k++) {
        lay_tone tone;
        if (taken_by_gears(run, k * engine->order, 0.3)) continue;
        mean_tone(run, k * engine->order, 0, &tone);
        if (tone.valid && tone.tnr_db > 3 && tone.significance > 4) return true;
    }
    return false;
}

bool lay_engine_order(const lay_run_evidence *run, double order) {
    const lay_expected *engine = lay_run_engine(run);
    if (!engine || engine->cycle_order <= 0) return false;
    double off = fabs(order - engine->cycle_order * round(order / engine->cycle_order));
    double speed = run->speed_source == LAY_SPEED_TACH ? 6e-5 : 6e-4;
    return off < 0.35 * run->spectrum.step + speed * order && engine_heard(run, engine);
}
