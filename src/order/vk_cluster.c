#include "vk_cluster.h"

#include "dsp/hot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RIDGE 1e-12 /* keeps knots solvable that no sample and no penalty reaches */

static size_t width(const lay_vk_cluster *c) {
    return LAY_VK_SUPPORT * c->unknowns;
}

lay_status lay_vk_cluster_init(lay_vk_cluster *c, const size_t *track, size_t tracks, size_t channels, size_t capacity,
                               lay_error *err) {
    *c = (lay_vk_cluster){.tracks = tracks, .unknowns = 2 * tracks, .channels = channels, .capacity = capacity};
    size_t n = c->unknowns, w = width(c);
    c->track = lay_calloc(tracks, sizeof *c->track);
    c->window = lay_calloc(w * w, sizeof *c->window);
    c->kept_window = lay_calloc(w * w, sizeof *c->kept_window);
    c->right = lay_calloc(w * channels, sizeof *c->right);
    c->kept_right = lay_calloc(w * channels, sizeof *c->kept_right);
    c->products = lay_calloc(n * n, sizeof *c->products);
    c->rows = lay_calloc(capacity * n * w, sizeof *c->rows);
    c->known = lay_calloc(capacity * n * channels, sizeof *c->known);
    c->solution = lay_calloc(capacity * n * channels, sizeof *c->solution);
    if (!c->track || !c->window || !c->kept_window || !c->right || !c->kept_right || !c->products || !c->rows ||
        !c->known || !c->solution)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to follow %zu orders together", tracks);
    memcpy(c->track, track, tracks * sizeof *track);
    return LAY_OK;
}

void lay_vk_cluster_free(lay_vk_cluster *c) {
    free(c->track);
    free(c->window);
    free(c->kept_window);
    free(c->right);
    free(c->kept_right);
    free(c->products);
    free(c->rows);
    free(c->known);
    free(c->solution);
    *c = (lay_vk_cluster){0};
}

void lay_vk_cluster_restart(lay_vk_cluster *c) {
    memset(c->window, 0, width(c) * width(c) * sizeof *c->window);
    memset(c->right, 0, width(c) * c->channels * sizeof *c->right);
    c->first = c->count = 0;
}

/* Sum of n unit pointers that turn by an angle per sample, its middle one being 1: sin(n a / 2) / sin(a / 2). `half` is
 * a / 2. */
static double kernel(double half, size_t n) {
    double s = sin(half);
    return fabs(s) < 1e-9 ? (cos(half) > 0 || n % 2 ? (double)n : -(double)n) : sin((double)n * half) / s;
}

/* Sums over the samples of what two tracks contribute to one another: Re (re + i im) e^{i phase} = re cos - im sin. */
static void gram(const lay_vk_cluster *c, const double *phasor, const double *half, size_t n, double weight) {
    size_t unknowns = c->unknowns;
    for (size_t k = 0; k < c->tracks; k++)
        for (size_t l = 0; l <= k; l++) {
            const double *a = phasor + 2 * k, *b = phasor + 2 * l;
            double plus = 0.5 * weight * kernel(half[k] + half[l], n);
            double minus = 0.5 * weight * (k == l ? (double)n : kernel(half[k] - half[l], n));
            double cos_sum = plus * (a[0] * b[0] - a[1] * b[1]), sin_sum = plus * (a[1] * b[0] + a[0] * b[1]);
            double cos_off = minus * (a[0] * b[0] + a[1] * b[1]), sin_off = minus * (a[1] * b[0] - a[0] * b[1]);
            double *row = c->products + 2 * k * unknowns + 2 * l, *column = c->products + 2 * l * unknowns + 2 * k;
            row[0] = column[0] = cos_off + cos_sum;                       /* cos cos */
            row[unknowns + 1] = column[unknowns + 1] = cos_off - cos_sum; /* sin sin */
            row[1] = column[unknowns] = sin_off - sin_sum;                /* - cos sin */
            row[unknowns] = column[1] = -sin_off - sin_sum;               /* - sin cos */
        }
}

static inline void add_row(double *restrict row, const double *restrict from, double share, size_t n) {
    for (size_t b = 0; b < n; b++) row[b] += share * from[b];
}

LAY_HOT void lay_vk_cluster_add(lay_vk_cluster *c, const double *basis, const double *phasor, const double *half,
                                size_t count, double weight, const double *product) {
    size_t n = c->unknowns, w = width(c);
    gram(c, phasor, half, count, weight);
    for (size_t i = 0; i < LAY_VK_SUPPORT; i++)
        for (size_t j = 0; j <= i; j++) {
            for (size_t a = 0; a < n; a++)
                add_row(c->window + (i * n + a) * w + j * n, c->products + a * n, basis[i] * basis[j], n);
        }
    for (size_t i = 0; i < LAY_VK_SUPPORT; i++)
        for (size_t k = 0; k < c->tracks; k++)
            for (size_t ch = 0; ch < c->channels; ch++) {
                const double *sum = product + 2 * (k * c->channels + ch);
                c->right[(i * n + 2 * k) * c->channels + ch] += weight * basis[i] * sum[0];
                c->right[(i * n + 2 * k + 1) * c->channels + ch] += weight * basis[i] * sum[1];
            }
}

/* Eliminate the first knot of the window into the row of knot number `at` of those held. */
static void eliminate(lay_vk_cluster *c, size_t at) {
    size_t n = c->unknowns, w = width(c), channels = c->channels;
    double *rows = c->rows + at * n * w, *known = c->known + at * n * channels;
    for (size_t a = 0; a < n; a++) {
        double pivot = sqrt(fmax(c->window[a * w + a], 0) + RIDGE);
        double *row = rows + a * w;
        memset(row, 0, a * sizeof *row);
        row[a] = pivot;
        for (size_t i = a + 1; i < w; i++) row[i] = c->window[i * w + a] / pivot;
        for (size_t ch = 0; ch < channels; ch++) known[a * channels + ch] = c->right[a * channels + ch] / pivot;
        for (size_t i = a + 1; i < w; i++) {
            if (row[i] == 0) continue;
            double *to = c->window + i * w;
            for (size_t k = a + 1; k <= i; k++) to[k] -= row[i] * row[k];
            for (size_t ch = 0; ch < channels; ch++) c->right[i * channels + ch] -= row[i] * known[a * channels + ch];
        }
    }
}

/* The window moves on by one knot. */
static void shift(lay_vk_cluster *c) {
    size_t n = c->unknowns, w = width(c), rest = w - n;
    for (size_t i = 0; i < rest; i++) {
        memmove(c->window + i * w, c->window + (i + n) * w + n, rest * sizeof *c->window);
        memset(c->window + i * w + rest, 0, n * sizeof *c->window);
    }
    memset(c->window + rest * w, 0, n * w * sizeof *c->window);
    memmove(c->right, c->right + n * c->channels, rest * c->channels * sizeof *c->right);
    memset(c->right + rest * c->channels, 0, n * c->channels * sizeof *c->right);
}

void lay_vk_cluster_next(lay_vk_cluster *c, double lambda, double penalty[LAY_VK_SUPPORT][LAY_VK_SUPPORT]) {
    size_t n = c->unknowns, w = width(c);
    for (size_t i = 0; i < LAY_VK_SUPPORT; i++)
        for (size_t j = 0; j <= i; j++)
            for (size_t a = 0; a < n; a++) c->window[(i * n + a) * w + j * n + a] += lambda * penalty[i][j];
    eliminate(c, c->count++);
    shift(c);
}

static void back(lay_vk_cluster *c, size_t knots) {
    size_t n = c->unknowns, w = width(c), channels = c->channels;
    for (size_t at = knots; at-- > 0;)
        for (size_t a = n; a-- > 0;) {
            const double *row = c->rows + (at * n + a) * w;
            double *x = c->solution + at * n * channels;
            size_t reach = at + LAY_VK_SUPPORT <= knots ? w : (knots - at) * n;
            for (size_t ch = 0; ch < channels; ch++) {
                double sum = c->known[(at * n + a) * channels + ch];
                for (size_t i = a + 1; i < reach; i++) sum -= row[i] * x[i * channels + ch];
                x[a * channels + ch] = sum / row[a];
            }
        }
}

void lay_vk_cluster_solve(lay_vk_cluster *c) {
    size_t w = width(c), bytes = w * w * sizeof *c->window, right = w * c->channels * sizeof *c->right;
    memcpy(c->kept_window, c->window, bytes);
    memcpy(c->kept_right, c->right, right);
    for (size_t k = 0; k < LAY_VK_SUPPORT - 1; k++) {
        eliminate(c, c->count + k);
        shift(c);
    }
    back(c, c->count + LAY_VK_SUPPORT - 1);
    memcpy(c->window, c->kept_window, bytes);
    memcpy(c->right, c->kept_right, right);
}

void lay_vk_cluster_value(const lay_vk_cluster *c, size_t interval, const double *basis, size_t t, size_t channel,
                          double out[2]) {
    size_t step = c->unknowns * c->channels;
    const double *x = c->solution + (interval - c->first) * step + 2 * t * c->channels + channel;
    out[0] = out[1] = 0;
    for (size_t i = 0; i < LAY_VK_SUPPORT; i++) {
        out[0] += basis[i] * x[i * step];
        out[1] += basis[i] * x[i * step + c->channels];
    }
}

void lay_vk_cluster_forget(lay_vk_cluster *c, size_t knot) {
    if (knot <= c->first) return;
    size_t gone = knot - c->first < c->count ? knot - c->first : c->count, left = c->count - gone;
    size_t n = c->unknowns, w = width(c);
    memmove(c->rows, c->rows + gone * n * w, left * n * w * sizeof *c->rows);
    memmove(c->known, c->known + gone * n * c->channels, left * n * c->channels * sizeof *c->known);
    c->first += gone;
    c->count = left;
}
