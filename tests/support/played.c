#include "played.h"

#include "cmocka_all.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>

/* ---- motion ---- */

double played_hz(const played_motion *m, double t) {
    double mean = 0.5 * (m->from_hz + m->to_hz);
    return m->from_hz + (m->to_hz - m->from_hz) * t / m->seconds +
           mean * m->wander * cos(2 * LAY_PI * m->wander_hz * t);
}

double played_turns(const played_motion *m, double t) {
    double mean = 0.5 * (m->from_hz + m->to_hz), pulse = 2 * LAY_PI * m->wander_hz;
    double turns = m->from_hz * t + 0.5 * (m->to_hz - m->from_hz) * t * t / m->seconds;
    return m->wander_hz > 0 ? turns + mean * m->wander / pulse * sin(pulse * t) : turns + mean * m->wander * t;
}

/* ---- boxes ---- */

static void add_line(played_box *b, double order, double amplitude) {
    assert_true(b->line_count < PLAYED_MOST);
    b->lines[b->line_count++] = (played_line){order, amplitude};
}

static void add_order(played_box *b, double order, double heard, bool engine) {
    assert_true(b->order_count < PLAYED_MOST);
    b->orders[b->order_count++] = (lay_track_order){order, heard, engine};
}

void played_add_engine(played_box *b, double amplitude) {
    static const double firing[] = {0.8, 0.6, 0.5, 0.4, 0.3, 0.2}, loud[] = {1, 0.6, 0.4};
    for (int h = 1; h <= 6; h++) add_order(b, 2 * h, firing[h - 1], true);
    for (int m = 1; m <= 16; m++) {
        bool fires = m % 4 == 0, whole = m % 2 == 0;
        if (!fires) add_order(b, 0.5 * m, whole ? 0.3 : 0.12, true);
        if (!fires && amplitude > 0) add_line(b, 0.5 * m, 0.1 * amplitude);
    }
    for (int h = 1; h <= 3 && amplitude > 0; h++) add_line(b, 2 * h, amplitude * loud[h - 1]);
}

void played_add_mesh(played_box *b, double order, double amplitude) {
    static const double heard[] = {0.6, 0.4, 0.25};
    for (int h = 1; h <= 3; h++) add_order(b, h * order, heard[h - 1], false);
    if (amplitude > 0) add_line(b, order, amplitude);
    if (amplitude > 0) add_line(b, 2 * order, 0.4 * amplitude);
}

void played_usual_box(played_box *b) {
    *b = (played_box){.line_count = 0};
    played_add_engine(b, 0.2);
    played_add_mesh(b, 17.25, 0.05);
    played_add_mesh(b, 23, 0.04);
}

/* ---- sound ---- */

size_t played_frames(const played *p) {
    return (size_t)(p->motion.seconds * p->rate);
}

static double audible(double share_of_rate) {
    return fmax(0, fmin(1, (0.46 - share_of_rate) / 0.04));
}

static void add_tones(const played *p, double gain, double *x, size_t stride) {
    size_t frames = played_frames(p);
    for (size_t i = 0; i < frames; i++) {
        double t = (double)i / p->rate, turns = played_turns(&p->motion, t), hz = played_hz(&p->motion, t), sum = 0;
        for (size_t k = 0; p->box && k < p->box->line_count; k++) {
            const played_line *l = &p->box->lines[k];
            double loud = audible(l->order * hz / p->rate);
            if (loud > 0) sum += loud * l->amplitude * sin(2 * LAY_PI * (l->order * turns + 0.31 * (double)k));
        }
        for (int h = 1; h <= 6 && p->drone > 0; h++)
            sum += p->drone / h * sin(2 * LAY_PI * h * (p->drone_hz * t + 0.17 * h));
        x[i * stride] += gain * sum;
    }
}

void played_fill(const played *p, double *x, size_t stride) {
    double gain = p->gain > 0 ? p->gain : 1;
    size_t frames = played_frames(p);
    lay_random random;
    lay_random_seed(&random, p->seed);
    for (size_t i = 0; i < frames; i++) x[i * stride] = p->noise > 0 ? gain * p->noise * lay_random_normal(&random) : 0;
    add_tones(p, gain, x, stride);
}

double *played_samples(const played *p) {
    double *x = lay_calloc(played_frames(p) + 1, sizeof *x);
    assert_non_null(x);
    played_fill(p, x, 1);
    return x;
}

/* ---- tracking ---- */

lay_track_options played_options(double rate, const played_box *box, lay_track_gear *gear) {
    *gear = (lay_track_gear){box->orders, box->order_count, 1};
    return (lay_track_options){.rate = rate,
                               .channels = 1,
                               .low_hz = 7.5,
                               .high_hz = 8000.0 / 60,
                               .firing_order = 2,
                               .gears = gear,
                               .gear_count = 1};
}

bool played_track_blocks(const lay_track_options *options, const double *x, size_t frames, size_t block,
                         lay_track_result *out) {
    lay_track *track = NULL;
    lay_error err = {0};
    if (lay_track_new(options, &track, &err) != LAY_OK) fail_msg("%s", err.message);
    for (size_t at = 0; at < frames; at += block) {
        size_t count = frames - at < block ? frames - at : block;
        if (lay_track_feed(track, x + at * options->channels, count, &err) != LAY_OK) fail_msg("%s", err.message);
    }
    lay_status status = lay_track_finish(track, out, &err);
    lay_track_free(track);
    if (status != LAY_OK && status != LAY_BAD_INPUT) fail_msg("%s", err.message);
    if (status == LAY_BAD_INPUT) assert_true(err.message[0] != 0);
    return status == LAY_OK && out->shaft.count > 1;
}

bool played_track(const lay_track_options *options, const double *x, size_t frames, lay_track_result *out) {
    return played_track_blocks(options, x, frames, 8192, out);
}

/* ---- comparing ---- */

enum { MOST_POINTS = 20000 };

played_error played_compare(const lay_shaft *shaft, const played_motion *motion) {
    static double off[MOST_POINTS], angle[MOST_POINTS];
    size_t n = 0, all = 0, hint = 0;
    played_error e = {.worst = 0};
    for (double t = 0.025; t < motion->seconds && all < MOST_POINTS; t += 0.05, all++) {
        double turns, hz;
        if (!lay_shaft_at(shaft, t, &hint, &turns, &hz)) continue;
        angle[n] = 100 * (turns - played_turns(motion, t));
        off[n++] = fabs(hz / played_hz(motion, t) - 1);
    }
    e.covered = all > 0 ? (double)n / (double)all : 0;
    double mean = lay_mean(angle, n);
    for (size_t i = 0; i < n; i++) {
        e.worst = fmax(e.worst, off[i]);
        e.angle_worst = fmax(e.angle_worst, fabs(angle[i] -= mean));
    }
    e.angle_rms = lay_rms(angle, n);
    e.most = lay_quantile(off, n, 0.95);
    e.median = lay_median(off, n);
    return e;
}
