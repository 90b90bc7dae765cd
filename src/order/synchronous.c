#include "synchronous.h"

#include "dsp/hot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

lay_status lay_synchronous_init(lay_synchronous *s, const lay_envelope_options *options, size_t bands, size_t stretch,
                                lay_error *err) {
    *s = (lay_synchronous){.bands = bands, .stretch = stretch};
    for (size_t i = 0; i < options->locked_count && s->count < LAY_SYNCHRONOUS_MOST; i++)
        if (options->locked[i] > 0) s->order[s->count++] = options->locked[i];
    s->sum = lay_calloc(s->count * LAY_SYNCHRONOUS_STEPS * bands + 1, sizeof *s->sum);
    s->weight = lay_calloc(s->count * LAY_SYNCHRONOUS_STEPS + 1, sizeof *s->weight);
    if (s->sum && s->weight) return LAY_OK;
    lay_synchronous_free(s);
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the synchronous averages");
}

void lay_synchronous_free(lay_synchronous *s) {
    free(s->sum);
    free(s->weight);
    *s = (lay_synchronous){0};
}

LAY_HOT static void add_share(double *restrict sum, const double *restrict energy, double share, size_t bands) {
    for (size_t b = 0; b < bands; b++) sum[b] += share * energy[b];
}

/* The piece lies over the steps from `low` to `high` of the body's turn: each gets its share, so that none stays empty
 * at whole orders. */
static void add_piece(lay_synchronous *s, size_t which, double low, double high, const double *energy) {
    for (double from = low; from < high;) {
        double to = lay_lesser(high, floor(from) + 1), share = to - from;
        if (!(share > 0)) return;
        double turn = floor(floor(from) / LAY_SYNCHRONOUS_STEPS);
        size_t step = (size_t)(floor(from) - LAY_SYNCHRONOUS_STEPS * turn) % LAY_SYNCHRONOUS_STEPS;
        double *sum = s->sum + (which * LAY_SYNCHRONOUS_STEPS + step) * s->bands;
        s->weight[which * LAY_SYNCHRONOUS_STEPS + step] += share;
        add_share(sum, energy, share, s->bands);
        from = to;
    }
}

void lay_synchronous_put(lay_synchronous *s, size_t stretch, double turns, double span, const double *energy) {
    if (stretch != s->stretch) return;
    s->turns += span;
    for (size_t i = 0; i < s->count; i++) {
        double steps = s->order[i] * LAY_SYNCHRONOUS_STEPS;
        add_piece(s, i, (turns - 0.5 * span) * steps, (turns + 0.5 * span) * steps, energy);
    }
}

double lay_synchronous_turns(const lay_synchronous *s) {
    return s->turns;
}

/* One band: its average over the turn, brought to the mean 1, less 1, added to `turn`. */
static void add_band(const lay_synchronous *s, size_t which, size_t band, double *turn) {
    const double *weight = s->weight + which * LAY_SYNCHRONOUS_STEPS;
    double mean = 0, total = 0;
    for (size_t k = 0; k < LAY_SYNCHRONOUS_STEPS; k++) {
        mean += s->sum[(which * LAY_SYNCHRONOUS_STEPS + k) * s->bands + band];
        total += weight[k];
    }
    if (!(mean > 0)) return;
    mean /= total;
    for (size_t k = 0; k < LAY_SYNCHRONOUS_STEPS; k++)
        if (weight[k] > 0)
            turn[k] += s->sum[(which * LAY_SYNCHRONOUS_STEPS + k) * s->bands + band] / weight[k] / mean - 1;
}

void lay_synchronous_lines(const lay_synchronous *s, size_t which, size_t from, size_t to,
                           lay_locked_line lines[LAY_LOCKED_LINES]) {
    double turn[LAY_SYNCHRONOUS_STEPS] = {0};
    for (size_t b = from; b < to; b++) add_band(s, which, b, turn);
    double wave[4 * LAY_SYNCHRONOUS_STEPS]; /* cosines of half steps, over a turn and as far again */
    for (int k = 0; k < 4 * LAY_SYNCHRONOUS_STEPS; k++) wave[k] = cos(LAY_PI * k / LAY_SYNCHRONOUS_STEPS);
    for (int n = 1; n <= LAY_LOCKED_LINES; n++) {
        double re = 0, im = 0;
        for (int k = 0; k < LAY_SYNCHRONOUS_STEPS; k++) {
            int at = n * (2 * k + 1) % (2 * LAY_SYNCHRONOUS_STEPS);
            re += turn[k] * wave[at];
            im -= turn[k] * wave[at + 3 * LAY_SYNCHRONOUS_STEPS / 2]; /* the sine: three quarters of a turn on */
        }
        lines[n - 1].re = (float)(2 * re / LAY_SYNCHRONOUS_STEPS / (double)(to - from));
        lines[n - 1].im = (float)(2 * im / LAY_SYNCHRONOUS_STEPS / (double)(to - from));
    }
}
