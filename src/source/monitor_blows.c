/* Bearings while they turn: how plainly the energy of some band rises and falls at the rates of their elements, over
 * the last seconds. Bearings make no tones; their blows are looked for in envelope spectra of the first watched
 * channel. */
#include "monitor.h"

#include <layshaft/order.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SPAN_S 4.0           /* of sound: enough segments to average over */
#define EVERY_S 1.0          /* of sound, from one look to the next */
#define GAP_S 0.6            /* of known speed: longer, and it begins again */
#define LEAST_RATE 6000.0    /* samples/s, see lay_envelope_new */
#define LEAST_TOLERANCE 0.01 /* of a rate from the geometry: slip */
#define SLIPS 101            /* at the most, that are tried within the tolerance of a rate */
#define BLOCK 4096

/* ---- the shaft over the last seconds ---- */

void lay_monitor_remember(lay_monitor *m) {
    double middle = (double)m->fed / m->options.rate - 0.5 * (m->start_s + m->end_s);
    size_t last = (m->past_at + LAY_MONITOR_PAST - 1) % LAY_MONITOR_PAST;
    if (m->past_count > 0 && middle - m->past[last].at_s < 0.02) return;
    if (m->past_count > 0 && middle - m->past[last].at_s > GAP_S) m->past_count = 0;
    m->past[m->past_at] = (lay_monitor_past){middle, m->hz};
    m->past_at = (m->past_at + 1) % LAY_MONITOR_PAST;
    if (m->past_count < LAY_MONITOR_PAST) m->past_count++;
}

static lay_monitor_past past(const lay_monitor *m, size_t back) {
    return m->past[(m->past_at + LAY_MONITOR_PAST - 1 - back) % LAY_MONITOR_PAST];
}

/* Straight lines between the speeds that were found; time 0 is the oldest of them, *from_s its age in samples' time. */
static bool shaft_of_past(const lay_monitor *m, lay_shaft *shaft, double *from_s) {
    double newest = past(m, 0).at_s;
    size_t count = 0;
    while (count < m->past_count && newest - past(m, count).at_s <= SPAN_S) count++;
    if (count < 4 || newest - past(m, count - 1).at_s < 0.8 * SPAN_S) return false;
    *shaft = (lay_shaft){.count = count, .segment_count = 1, .confidence = 1};
    shaft->time = lay_calloc(count, sizeof *shaft->time);
    shaft->turns = lay_calloc(count, sizeof *shaft->turns);
    shaft->hz = lay_calloc(count, sizeof *shaft->hz);
    shaft->segment_start = lay_calloc(1, sizeof *shaft->segment_start);
    if (!shaft->time || !shaft->turns || !shaft->hz || !shaft->segment_start) return false;
    *from_s = past(m, count - 1).at_s;
    for (size_t i = 0; i < count; i++) {
        lay_monitor_past p = past(m, count - 1 - i);
        shaft->time[i] = p.at_s - *from_s;
        shaft->hz[i] = p.hz;
        if (i > 0)
            shaft->turns[i] =
                shaft->turns[i - 1] + 0.5 * (shaft->hz[i] + shaft->hz[i - 1]) * (shaft->time[i] - shaft->time[i - 1]);
    }
    return true;
}

/* ---- envelope spectra ---- */

static lay_status feed(const lay_monitor *m, double from_s, lay_envelope *envelope, lay_error *err) {
    size_t channels = m->ring.channels, back = (size_t)lrint((double)m->fed - from_s * m->options.rate);
    double *all = lay_calloc(BLOCK * channels, sizeof *all), *one = lay_calloc(BLOCK, sizeof *one);
    lay_status status = all && one ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    for (size_t left = back < m->ring.held ? back : 0; status == LAY_OK && left > 0;) {
        size_t n = left < BLOCK ? left : BLOCK;
        lay_monitor_copy(m, left, left - n, all);
        for (size_t i = 0; i < n; i++) one[i] = all[i * channels];
        status = lay_envelope_feed(envelope, one, n, err);
        left -= n;
    }
    free(all);
    free(one);
    return status;
}

static lay_status make_envelope(const lay_monitor *m, const lay_shaft *shaft, double from_s, lay_envelope_spectrum *out,
                                lay_error *err) {
    const lay_envelope_options o = {.rate = m->options.rate, .channels = 1};
    lay_envelope *envelope = NULL;
    lay_status status = lay_envelope_new(&o, shaft, &envelope, err);
    if (status == LAY_OK) status = feed(m, from_s, envelope, err);
    if (status == LAY_OK) status = lay_envelope_finish(envelope, out, err);
    lay_envelope_free(envelope);
    return status;
}

/* What the strikes need to know of a run; all borrowed. */
static lay_run_evidence evidence_of(const lay_monitor *m, const lay_shaft *shaft, const lay_envelope_spectrum *s) {
    lay_run_evidence run = {.usable = true,
                            .gear = m->options.gear,
                            .kinematics = m->kinematics,
                            .expected = m->expected,
                            .expected_count = m->expected_count,
                            .tach_body = -1,
                            .full_scale = 1,
                            .envelope = *s};
    double turns;
    lay_shaft_range(shaft, &run.min_hz, &run.mean_hz, &run.max_hz, &turns);
    return run;
}

/* Where a series was found, and how far it stands over what orders around it reach, dB per line. */
typedef struct found_series {
    double order, height_db;
} found_series;

static found_series find_series(const lay_strikes *strikes, const lay_envelope_spectrum *s, double order,
                                double tolerance, float *scores) {
    double step = fmax(0.25 * s->step / order, 2 * tolerance / (SLIPS - 1));
    size_t points = (size_t)(2 * tolerance / step) + 1, bands = lay_strikes_band_count(strikes), best = 0;
    found_series found = {order, 0};
    if (!lay_strike_scores(strikes, LAY_STRIKE_RING, order, -tolerance, step, points, scores)) return found;
    for (size_t i = 1; i < bands * points; i++)
        if (scores[i] > scores[best]) best = i;
    lay_strike strike;
    double slip = -tolerance + (double)(best % points) * step;
    lay_strike_at(strikes, LAY_STRIKE_RING, order, slip, best / points, 0, &strike);
    if (strike.valid) found.height_db = fmax(0, strike.score - strike.elsewhere) / LAY_STRIKE_WEIGHTS;
    found.order = order * (1 + slip);
    return found;
}

/* At which of its rates a bearing stands highest. */
static found_series find_bearing(const lay_strikes *strikes, const lay_envelope_spectrum *s, const lay_expected *e,
                                 float *scores) {
    const double orders[] = {e->bpfo, e->bpfi, e->bsf2};
    found_series most = {0, 0};
    for (size_t i = 0; i < sizeof orders / sizeof orders[0]; i++) {
        if (!(orders[i] > 0)) continue;
        found_series here = find_series(strikes, s, orders[i], fmax(e->tolerance, LEAST_TOLERANCE), scores);
        if (here.height_db > most.height_db) most = here;
    }
    return most;
}

/* Whether a bearing of which only the number of elements is known, so that its rates may lie anywhere in a tenth, has
 * found no more than a multiple of what stands higher at the rate of one whose geometry is known. */
static bool is_anothers(const lay_monitor *m, const found_series *found, size_t row) {
    if (m->rows[row].part->tolerance <= 2 * LEAST_TOLERANCE) return false;
    for (size_t i = 0; i < m->row_count; i++) {
        if (i == row || !m->rows[i].blows || m->rows[i].part->tolerance > 2 * LEAST_TOLERANCE) continue;
        for (int n = 1; n <= 3 && found[i].height_db > found[row].height_db; n++)
            if (fabs(found[row].order / (n * found[i].order) - 1) < LEAST_TOLERANCE) return true;
    }
    return false;
}

static void look_at_rows(lay_monitor *m, const lay_strikes *strikes, const lay_envelope_spectrum *s,
                         found_series *found, float *scores) {
    for (size_t i = 0; i < m->row_count; i++)
        if (m->rows[i].blows) found[i] = find_bearing(strikes, s, m->rows[i].part, scores);
    for (size_t i = 0; i < m->row_count; i++)
        if (m->rows[i].blows) m->rows[i].power = is_anothers(m, found, i) ? 1 : pow(10, found[i].height_db / 10);
}

static lay_status look_at_bearings(lay_monitor *m, const lay_shaft *shaft, const lay_envelope_spectrum *s,
                                   lay_error *err) {
    const lay_run_evidence run = evidence_of(m, shaft, s);
    lay_strikes *strikes = NULL;
    lay_status status = lay_strikes_new(&run, &strikes, err);
    if (status != LAY_OK || !strikes) return status;
    found_series *found = lay_calloc(m->row_count, sizeof *found);
    float *scores = lay_calloc(SLIPS * lay_strikes_band_count(strikes), sizeof *scores);
    if (found && scores)
        look_at_rows(m, strikes, s, found, scores);
    else
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    lay_strikes_free(strikes);
    free(found);
    free(scores);
    return status;
}

lay_status lay_monitor_blows(lay_monitor *m, lay_error *err) {
    double now = (double)m->fed / m->options.rate, from_s = 0;
    if (m->bearing_count == 0 || m->options.rate < LEAST_RATE || now - m->blows_s < EVERY_S) return LAY_OK;
    lay_shaft shaft = {0};
    lay_envelope_spectrum spectrum = {0};
    lay_error why = {0};
    lay_status status = LAY_OK;
    if (m->past_count > 0 && shaft_of_past(m, &shaft, &from_s)) {
        m->blows_s = now;
        status = make_envelope(m, &shaft, from_s, &spectrum, &why);
        if (status == LAY_OK) status = look_at_bearings(m, &shaft, &spectrum, &why);
    }
    lay_envelope_spectrum_free(&spectrum);
    lay_shaft_free(&shaft);
    return status == LAY_OK || status == LAY_BAD_INPUT ? LAY_OK : lay_fail(err, status, "%s", why.message);
}
