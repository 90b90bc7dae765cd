#include "phase.h"

#include "smooth.h"
#include "chapter.h"
#include "peaks.h"

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
    double *value, *weight, *hz; /* [blocks]: relative error of the speed between block centres m and m + 1 */
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
        b->value[m] += w * gain * turn;
        b->weight[m] += w * gain * gain;
    }
}

/* ---- smoothing ---- */

/* Effective number of free values of the smoother with mean weight `w` on n points: the sum of its frequency response.
 */
static double freedom(size_t n, double lambda, double w) {
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double c = 2 - 2 * cos(LAY_PI * (double)i / (double)n);
        sum += 1 / (1 + lambda / w * c * c);
    }
    return sum;
}

/* Generalised cross-validation (Craven and Wahba, Numer. Math. 31 (1979) 377; value from memory of that work) chooses
 * how smooth. *left receives the free values per point. */
static lay_status smooth(const bench *b, size_t n, double *z, double *left, lay_error *err) {
    double mean = 0, best = 1e300;
    double *trial = lay_calloc(n, sizeof *trial);
    if (!trial) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t m = 0; m < n; m++) mean += b->weight[m] / (double)n;
    lay_status status = LAY_OK;
    for (double scale = 1; scale < 3e7 && status == LAY_OK; scale *= 4) {
        double lambda = scale * mean, residual = 0;
        status = lay_smooth(b->value, b->weight, n, 2, lambda, trial, err);
        if (status != LAY_OK) break;
        for (size_t m = 0; m < n; m++) residual += b->weight[m] * (b->value[m] - trial[m]) * (b->value[m] - trial[m]);
        double free_values = freedom(n, lambda, mean), rest = 1 - free_values / (double)n;
        double score = residual / (rest * rest);
        if (score >= best) continue;
        best = score;
        *left = free_values / (double)n;
        memcpy(z, trial, n * sizeof *z);
    }
    free(trial);
    return status;
}

/* Twice the blocks' distance suffices for knots. */
static lay_status rebuild(const bench *b, const double *z, size_t n, double left, lay_shaft *path, lay_error *err) {
    double dt = (double)b->block / b->chapter->wide_rate;
    size_t knots = n / 2;
    double *log_hz = lay_calloc(knots + 1, sizeof *log_hz), mean = 0;
    if (!log_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t m = 0; m < n; m++) mean += b->weight[m] / (double)n;
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
        double w = m < n ? b->weight[m] : 0;
        path->sd[i] = sqrt(left / fmax(w, 0.05 * mean));
    }
    return LAY_OK;
}

lay_status lay_phase_refine(const lay_chapter *chapter, const lay_profile *profile, double bin_hz, lay_shaft *path,
                            lay_error *err) {
    bench b = {.chapter = chapter, .path = path, .block = (size_t)(BLOCK_S * chapter->wide_rate + 0.5)};
    b.blocks = chapter->wide_count / b.block;
    choose_lines(&b, profile, bin_hz);
    if (b.line_count == 0 || b.blocks < 16) return LAY_OK;
    size_t n = b.blocks - 1;
    double left = 1, dt = (double)b.block / chapter->wide_rate, *z = lay_calloc(n, sizeof *z);
    b.re = lay_calloc(2 * b.line_count * b.blocks, sizeof *b.re);
    b.value = lay_calloc(3 * b.blocks, sizeof *b.value);
    lay_status status = LAY_OK;
    if (!z || !b.re || !b.value) {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
        goto done;
    }
    b.im = b.re + b.line_count * b.blocks;
    b.weight = b.value + b.blocks;
    b.hz = b.weight + b.blocks;
    for (size_t c = 0; c < chapter->channels; c++) {
        demodulate(&b, c);
        for (size_t l = 0; l < b.line_count; l++) hear_line(&b, l, dt);
    }
    for (size_t m = 0; m < n; m++) b.value[m] = b.weight[m] > 0 ? b.value[m] / b.weight[m] : 0;
    status = smooth(&b, n, z, &left, err);
    if (status == LAY_OK) status = rebuild(&b, z, n, left, path, err);
done:
    free(z);
    free(b.re);
    free(b.value);
    return status;
}
