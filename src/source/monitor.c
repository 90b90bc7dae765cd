/* The parts of a unit watched live. */
#include "monitor.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HARMONICS 5 /* of a mesh that count for its level */
#define FIRINGS 3   /* of an engine */
#define TACH_WINDOW_S 3.0

/* ---- making one ---- */

static lay_status pick_channels(lay_monitor *m, lay_error *err) {
    const lay_run_spec *spec = m->options.spec;
    int have = m->options.channels;
    size_t count = 0;
    m->tach_channel = spec->tach_channel - 1;
    m->channels = lay_calloc((size_t)have + spec->channel_count, sizeof *m->channels);
    m->gains = lay_calloc((size_t)have + spec->channel_count, sizeof *m->gains);
    if (!m->channels || !m->gains) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    if (spec->tach_channel > have)
        return lay_fail(err, LAY_BAD_INPUT, "the tach is to be channel %d, but there are %d", spec->tach_channel, have);
    for (size_t i = 0; i < spec->channel_count; i++) {
        if (spec->channels[i] > have)
            return lay_fail(err, LAY_BAD_INPUT, "channel %d is asked for, but there are %d", spec->channels[i], have);
        m->channels[count++] = spec->channels[i] - 1;
    }
    for (int c = 0; c < have && spec->channel_count == 0; c++)
        if (c != m->tach_channel) m->channels[count++] = c;
    if (count == 0) return lay_fail(err, LAY_BAD_INPUT, "there is a tach channel but no channel to watch");
    if (spec->gain_count > 0 && spec->gain_count != count)
        return lay_fail(err, LAY_BAD_INPUT, "full scale has %zu numbers, but %zu channels are watched",
                        spec->gain_count, count);
    for (size_t i = 0; i < count; i++) m->gains[i] = spec->gain_count > 0 ? spec->gains[i] : 1;
    bool sought = spec->tach_channel == 0 && !(spec->rpm_low > 0 && spec->rpm_low == spec->rpm_high);
    double hold = sought || m->bearing_count > 0 ? LAY_MONITOR_SOUGHT + 0.5 : LAY_MONITOR_LONGEST + 0.5;
    m->ring = (lay_monitor_ring){.room = (size_t)(hold * m->options.rate), .channels = count};
    m->ring.x = lay_calloc(m->ring.room * count, sizeof *m->ring.x);
    return m->ring.x ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
}

static lay_status open_tach(lay_monitor *m, lay_error *err) {
    const lay_run_spec *spec = m->options.spec;
    lay_tach_options o = {.rate = m->options.rate, .pulses_per_rev = spec->pulses_per_rev, .body_order = 1};
    if (m->tach_channel < 0) return LAY_OK;
    if (spec->tach_on && spec->tach_on[0]) {
        int body = lay_unit_body(m->options.unit, spec->tach_on);
        if (body < 0)
            return lay_fail(err, LAY_BAD_INPUT, "the tach looks at '%.60s', which is no body of the unit",
                            spec->tach_on);
        o.body_order = fabs(m->kinematics.speed[body].value);
        if (!(o.body_order > 0))
            return lay_fail(err, LAY_BAD_INPUT, "the %.60s stands still in this gear: no tach can look at it",
                            spec->tach_on);
    }
    return lay_tach_live_new(&o, TACH_WINDOW_S, &m->tach, err);
}

static bool is_heard(const lay_expected *e) {
    return e->turning && (e->type != LAY_PART_ROTOR || e->multiple_count > 0);
}

/* Of a bearing that of its outer race, where the file tells it. */
static double base_order(const lay_expected *e) {
    if (e->type == LAY_PART_BEARING) return e->bpfo > 0 ? e->bpfo : e->bpfi > 0 ? e->bpfi : e->bsf2;
    return e->type == LAY_PART_ROTOR ? e->order * e->multiples[0] : e->order;
}

static void add_row(lay_monitor *m, const lay_expected *e) {
    bool blows = e->type == LAY_PART_BEARING;
    m->rows[m->row_count++] = (lay_monitor_row){.part = e, .order = base_order(e), .blows = blows, .near = INFINITY};
    m->bearing_count += blows;
}

/* Half orders of the engine are strong up to twice its firing order (common practice, no source). */
static double engine_distance(const lay_monitor *m, double order) {
    double nearest = INFINITY;
    for (size_t i = 0; i < m->expected_count; i++) {
        const lay_expected *e = &m->expected[i];
        if (e->type != LAY_PART_ENGINE || !e->turning || !(e->cycle_order > 0)) continue;
        for (int k = 1; k * e->cycle_order < 2 * e->order + 1e-6; k++)
            nearest = fmin(nearest, fabs(k * e->cycle_order - order));
    }
    return nearest;
}

static lay_status list_rows(lay_monitor *m, lay_error *err) {
    m->rows = lay_calloc(m->expected_count, sizeof *m->rows);
    if (!m->rows) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    for (size_t i = 0; i < m->expected_count; i++)
        if (is_heard(&m->expected[i]) && base_order(&m->expected[i]) > 0) add_row(m, &m->expected[i]);
    for (size_t i = 0; i < m->row_count; i++) {
        bool tone = !m->rows[i].blows && m->rows[i].part->type != LAY_PART_ENGINE;
        m->rows[i].engine = tone ? engine_distance(m, m->rows[i].order) : INFINITY;
        for (size_t k = 0; k < m->row_count; k++)
            if (k != i && m->rows[k].blows == m->rows[i].blows)
                m->rows[i].near = fmin(m->rows[i].near, fabs(m->rows[k].order - m->rows[i].order));
    }
    return LAY_OK;
}

static lay_status open_gear(lay_monitor *m, lay_error *err) {
    lay_status status = lay_unit_solve(m->options.unit, m->options.gear, &m->kinematics, err);
    if (status == LAY_OK)
        status = lay_unit_expect(m->options.unit, &m->kinematics, &m->expected, &m->expected_count, err);
    if (status != LAY_OK) return status;
    m->comb_count = lay_plan_track_orders(m->options.unit, &m->kinematics, m->expected, m->expected_count, m->comb);
    for (size_t i = 0; i < m->expected_count; i++)
        if (m->expected[i].type == LAY_PART_ENGINE && m->expected[i].turning) m->firing = m->expected[i].order;
    return list_rows(m, err);
}

lay_status lay_monitor_new(const lay_monitor_options *options, lay_monitor **out, lay_error *err) {
    *out = NULL;
    lay_monitor *m = lay_calloc(1, sizeof *m);
    if (!m) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to watch");
    m->options = *options;
    lay_status status = open_gear(m, err);
    if (status == LAY_OK) status = pick_channels(m, err);
    if (status == LAY_OK) status = open_tach(m, err);
    if (status != LAY_OK) {
        lay_monitor_free(m);
        return status;
    }
    *out = m;
    return LAY_OK;
}

void lay_monitor_free(lay_monitor *m) {
    if (!m) return;
    double *buffers[] = {m->gains, m->ring.x, m->window, m->frames, m->warped, m->input, m->pairs, m->power, m->floor};
    for (size_t i = 0; i < sizeof buffers / sizeof buffers[0]; i++) free(buffers[i]);
    free(m->channels);
    free(m->rows);
    free(m->expected);
    lay_kinematics_free(&m->kinematics);
    lay_tach_live_free(m->tach);
    lay_shaft_free(&m->shaft);
    lay_sinc_free(m->sinc);
    lay_fft_free(m->fft);
    free(m);
}

/* ---- sound ---- */

void lay_monitor_feed(lay_monitor *m, const double *frames, size_t count) {
    lay_monitor_ring *r = &m->ring;
    size_t all = (size_t)m->options.channels;
    for (size_t i = 0; i < count; i++) {
        for (size_t c = 0; c < r->channels; c++) {
            double x = frames[i * all + (size_t)m->channels[c]];
            r->x[r->at * r->channels + c] = isfinite(x) ? x : 0;
        }
        r->at = r->at + 1 == r->room ? 0 : r->at + 1;
    }
    r->held = count < r->room - r->held ? r->held + count : r->room;
    m->fed += (int64_t)count;
    if (m->tach) lay_tach_live_feed(m->tach, frames + m->tach_channel, all, count);
}

/* ---- looking ---- */

static void measure_row(const lay_monitor *m, lay_monitor_row *row) {
    const lay_expected *e = row->part;
    size_t count = e->type == LAY_PART_ROTOR ? e->multiple_count : e->type == LAY_PART_ENGINE ? FIRINGS : HARMONICS;
    row->hz = row->order * m->hz;
    row->floor = row->blows;
    if (row->blows) return; /* lay_monitor_blows says how they stand */
    row->power = row->floor = 0;
    for (size_t h = 0; h < count; h++) {
        double floor_power, order = e->type == LAY_PART_ROTOR ? e->order * e->multiples[h] : e->order * (double)(h + 1);
        row->power += lay_monitor_power(m, order, &floor_power);
        row->floor += floor_power;
    }
}

/* What was found of bearings stays until it is looked for again, or the speed is lost. */
static void clear_rows(lay_monitor *m, bool known) {
    for (size_t i = 0; i < m->row_count; i++)
        if (!known || !m->rows[i].blows) m->rows[i].power = m->rows[i].floor = m->rows[i].hz = 0;
}

lay_status lay_monitor_look(lay_monitor *m, lay_monitor_view *view, lay_error *err) {
    bool known = false;
    *view = (lay_monitor_view){.at_s = (double)m->fed / m->options.rate, .rows = m->rows, .count = m->row_count};
    lay_status status = lay_monitor_speed(m, &known, err);
    if (status == LAY_OK && known) {
        status = lay_monitor_spectrum(m, err);
        if (status == LAY_BAD_INPUT) {
            known = false;
            snprintf(m->trouble, sizeof m->trouble, "waiting for more sound at a known speed");
            status = LAY_OK;
        }
    }
    view->known = known && status == LAY_OK;
    view->trouble = view->known ? NULL : m->trouble;
    clear_rows(m, view->known);
    if (!view->known) return status;
    if (m->track) m->hz = m->min_hz + 0.5 * (m->max_hz - m->min_hz);
    for (size_t i = 0; i < m->row_count; i++) measure_row(m, &m->rows[i]);
    lay_monitor_remember(m);
    status = lay_monitor_blows(m, err);
    if (status != LAY_OK) return status;
    bool single = m->options.spec->rpm_low > 0 && m->options.spec->rpm_low == m->options.spec->rpm_high;
    view->source = m->options.known ? m->options.known->source
                   : m->tach        ? LAY_SPEED_TACH
                   : single         ? LAY_SPEED_STATED
                                    : LAY_SPEED_SIGNAL;
    view->hz = m->hz;
    view->confidence = m->confidence;
    view->min_hz = m->min_hz;
    view->max_hz = m->max_hz;
    view->at_s -= m->end_s;
    view->power = m->power;
    view->bins = m->bins;
    view->step = m->step;
    if (m->tach && m->shaft.count > 0) {
        view->tach.hz = m->shaft.hz[m->shaft.count - 1];
        view->tach.missing = m->shaft.missing_pulses;
        view->tach.extra = m->shaft.extra_pulses;
        view->tach.glitches = m->shaft.glitches;
    }
    return LAY_OK;
}
