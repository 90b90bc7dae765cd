#include "phase.h"

#include "chapter.h"
#include "peaks.h"
#include "phase_fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST_LINES 12
#define LONELY 28       /* points: no line as strong nearer than this, or both would beat */
#define LEAST_RATIO 6.0 /* of the profile */
#define BLOCK_S 0.05
#define PIECE 32      /* samples over which the shaft counts as steady */
#define TOP 0.36      /* of the rate */
#define MOST_TURN 1.3 /* rad between blocks: beyond, a phase may have slipped */
#define LEAST_BLOCKS 16
#define LEAST_SNR 3.0
#define BANDWIDTH_BINS                                                                                                 \
    2.2 /* of the window over five blocks, in bins of the profile's one-second frames over Hann's 1.5 */

/* Window over five blocks of sums: near a Hann window, as its samples are sums already. */
static const double window[5] = {0.3, 0.8, 1.0, 0.8, 0.3};

typedef struct line {
    double order, ratio, worth;
} line;

typedef struct bench {
    const lay_chapter *chapter;
    const lay_shaft *path;
    line lines[MOST_LINES];
    size_t line_count;
    size_t block, blocks;        /* samples; whole blocks in the chapter */
    double *re, *im;             /* [line_count * blocks] */
    double *hz;                  /* [blocks] of the path between block centres m and m + 1 */
    lay_phase_says all, half[2]; /* of all lines, and of every second one */
} bench;

/* ---- which lines ---- */

static bool stands_alone(const lay_profile *p, size_t i) {
    for (size_t k = 1; k <= LONELY; k++) {
        float left = i >= k ? p->mean[i - k] : 0, right = i + k < p->count ? p->mean[i + k] : 0;
        if (k <= LAY_PEAK_APART && (left >= p->mean[i] || right > p->mean[i])) return false;
        if (k > 2 * LAY_PEAK_APART && fmaxf(left, right) > 0.25f * p->mean[i]) return false;
    }
    return true;
}

static void add_line(bench *b, line l) {
    size_t at = b->line_count;
    while (at > 0 && b->lines[at - 1].worth < l.worth) at--;
    if (at >= MOST_LINES) return;
    size_t tail = (b->line_count < MOST_LINES ? b->line_count : MOST_LINES - 1) - at;
    memmove(&b->lines[at + 1], &b->lines[at], tail * sizeof l);
    b->lines[at] = l;
    if (b->line_count < MOST_LINES) b->line_count++;
}

static void choose_lines(bench *b, const lay_profile *p, double bin_hz) {
    double low, mean, high, turns;
    lay_shaft_range(b->path, &low, &mean, &high, &turns);
    double most = TOP * b->chapter->wide_rate / high, least = 5 * bin_hz / low;
    for (size_t i = LAY_PEAK_APART; i + LAY_PEAK_APART < p->count; i++) {
        double order = (double)i * p->step, ratio = (double)p->mean[i];
        if (order < least || order > most || ratio < LEAST_RATIO || !stands_alone(p, i)) continue;
        order = lay_peak_place(p, i) * p->step;
        add_line(b, (line){order, ratio, order * order * fmin(ratio, 1000)});
    }
}

/* ---- demodulation ---- */

static void add_piece(bench *b, size_t m, const float *x, size_t count, double turns, double step) {
    for (size_t l = 0; l < b->line_count; l++) {
        double phase = 2 * LAY_PI * fmod(b->lines[l].order * turns, 1.0), turn = 2 * LAY_PI * b->lines[l].order * step;
        double c = cos(phase), s = sin(phase), dc = cos(turn), ds = sin(turn), re = 0, im = 0;
        for (size_t i = 0; i < count; i++) {
            re += (double)x[i] * c;
            im -= (double)x[i] * s;
            double next = c * dc - s * ds;
            s = s * dc + c * ds;
            c = next;
        }
        b->re[l * b->blocks + m] += re;
        b->im[l * b->blocks + m] += im;
    }
}

static void demodulate(bench *b, size_t channel) {
    const lay_chapter *c = b->chapter;
    const float *x = c->wide + channel * c->wide_capacity;
    memset(b->re, 0, b->line_count * b->blocks * sizeof *b->re);
    memset(b->im, 0, b->line_count * b->blocks * sizeof *b->im);
    size_t hint = 0;
    double turns, hz;
    for (size_t m = 0; m < b->blocks; m++) {
        for (size_t i = 0; i < b->block; i += PIECE) {
            size_t at = m * b->block + i, count = b->block - i < PIECE ? b->block - i : PIECE;
            double t = c->start_s + (double)at / c->wide_rate, half = 0.5 * PIECE / c->wide_rate;
            if (!lay_shaft_at(b->path, t + half, &hint, &turns, &hz)) continue;
            add_piece(b, m, x + at, count, turns - half * hz, hz / c->wide_rate);
        }
        lay_shaft_at(b->path, c->start_s + ((double)m + 1) * (double)b->block / c->wide_rate, &hint, &turns, &b->hz[m]);
    }
}

static void windowed(const bench *b, size_t l, size_t m, double *re, double *im) {
    *re = *im = 0;
    for (size_t k = 0; k < 5; k++) {
        if (m + k < 2 || m + k - 2 >= b->blocks) continue;
        *re += window[k] * b->re[l * b->blocks + m + k - 2];
        *im += window[k] * b->im[l * b->blocks + m + k - 2];
    }
}

/* Noise power in a windowed block of a line, from its mean power and how high it stands over the floor. */
static double noise_of(const bench *b, size_t l) {
    double sum = 0, re, im;
    for (size_t m = 0; m < b->blocks; m++) {
        windowed(b, l, m, &re, &im);
        sum += re * re + im * im;
    }
    return sum / (double)b->blocks / (1 + b->lines[l].ratio / BANDWIDTH_BINS) + 1e-300;
}

/* Adds one line's say on the speed's error between neighbouring blocks. */
static void hear_line(bench *b, size_t l, double dt) {
    double noise = noise_of(b, l), re, im, next_re, next_im;
    windowed(b, l, 0, &re, &im);
    for (size_t m = 0; m + 1 < b->blocks; m++, re = next_re, im = next_im) {
        windowed(b, l, m + 1, &next_re, &next_im);
        double snr = fmin(re * re + im * im, next_re * next_re + next_im * next_im) / noise;
        double turn = atan2(next_im * re - next_re * im, next_re * re + next_im * im);
        if (snr < LEAST_SNR || fabs(turn) > MOST_TURN) continue;
        double gain = 2 * LAY_PI * b->lines[l].order * b->hz[m] * dt, w = fmin(snr, 300);
        b->half[l % 2].value[m] += w * gain * turn;
        b->half[l % 2].weight[m] += w * gain * gain;
    }
}

/* ---- the corrected path ---- */

/* Twice the blocks' distance suffices for knots. */
static lay_status rebuild(const bench *b, const double *z, const double *sd, size_t n, lay_shaft *path,
                          lay_error *err) {
    double dt = (double)b->block / b->chapter->wide_rate;
    size_t knots = n / 2;
    double *log_hz = lay_calloc(knots + 1, sizeof *log_hz);
    if (!log_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t k = 0; k < knots; k++)
        log_hz[k] = 0.5 * (log(b->hz[2 * k]) + log(b->hz[2 * k + 1]) + z[2 * k] + z[2 * k + 1]);
    lay_shaft fresh = {0};
    lay_status status =
        lay_chapter_shaft(b->chapter, b->chapter->start_s + 1.5 * dt, 2 * dt, log_hz, knots, &fresh, err);
    free(log_hz);
    if (status != LAY_OK) return status;
    lay_shaft_free(path);
    *path = fresh;
    path->sd = lay_calloc(path->count, sizeof *path->sd);
    if (!path->sd) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t i = 0; i < path->count; i++) {
        size_t m = i == 0 ? 0 : 2 * (i - 1);
        path->sd[i] = sd[m < n ? m : n - 1];
    }
    return LAY_OK;
}

static void divide(lay_phase_says *says, size_t n) {
    for (size_t m = 0; m < n; m++) says->value[m] = says->weight[m] > 0 ? says->value[m] / says->weight[m] : 0;
}

/* What all lines say together. */
static void add_halves(bench *b, size_t n) {
    for (size_t m = 0; m < n; m++) {
        b->all.value[m] = b->half[0].value[m] + b->half[1].value[m];
        b->all.weight[m] = b->half[0].weight[m] + b->half[1].weight[m];
    }
    divide(&b->all, n);
    divide(&b->half[0], n);
    divide(&b->half[1], n);
}

static lay_status allocate(bench *b, double **z, lay_error *err) {
    b->re = lay_calloc(2 * b->line_count * b->blocks, sizeof *b->re);
    b->hz = lay_calloc(7 * b->blocks, sizeof *b->hz);
    *z = lay_calloc(2 * b->blocks, sizeof **z);
    if (!b->re || !b->hz || !*z) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    b->im = b->re + b->line_count * b->blocks;
    lay_phase_says *says[] = {&b->all, &b->half[0], &b->half[1]};
    for (size_t k = 0; k < 3; k++)
        *says[k] = (lay_phase_says){b->hz + (1 + 2 * k) * b->blocks, b->hz + (2 + 2 * k) * b->blocks};
    return LAY_OK;
}

lay_status lay_phase_refine(const lay_chapter *chapter, const lay_profile *profile, double bin_hz, lay_shaft *path,
                            lay_error *err) {
    bench b = {.chapter = chapter, .path = path, .block = (size_t)(BLOCK_S * chapter->wide_rate + 0.5)};
    b.blocks = chapter->wide_count / b.block;
    choose_lines(&b, profile, bin_hz);
    if (b.line_count == 0 || b.blocks < LEAST_BLOCKS) return LAY_OK;
    size_t n = b.blocks - 1;
    double dt = (double)b.block / chapter->wide_rate, *z = NULL;
    lay_status status = allocate(&b, &z, err);
    for (size_t c = 0; c < chapter->channels && status == LAY_OK; c++) {
        demodulate(&b, c);
        for (size_t l = 0; l < b.line_count; l++) hear_line(&b, l, dt);
    }
    if (status == LAY_OK) {
        add_halves(&b, n);
        status = lay_phase_fit(&b.all, b.half, n, dt, z, z + b.blocks, err);
    }
    if (status == LAY_OK) status = rebuild(&b, z, z + b.blocks, n, path, err);
    free(z);
    free(b.re);
    free(b.hz);
    return status;
}
