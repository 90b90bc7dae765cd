#include "change.h"

#include <math.h>
#include <stdlib.h>

#define SECONDS_LEAST 1.0
#define STEADY_BANDS 4 /* a run in no more bands than that holds one speed: a neighbouring band is the same */
#define STRETCHES 8    /* of speed, whose residuals tell how well a change is known */
#define STRETCH_BANDS 6
#define STANDS 5.0      /* deviations of its noise by which a set of lines stands out */
#define STANDS_REST 2.0 /* what is left of them without its two strongest bands */
#define NOISE_ERROR 0.1 /* share by which the estimate of the noise may be off */
#define FLANK 25.0      /* change of ln power per change of ln speed: 1 dB per 1 % (common practice, no source) */
#define UNKNOWN_DB 0.7  /* sway within a run too short to tell (common practice, no source) */

double lay_band_hz(const lay_loud_condition *condition, size_t band) {
    return exp(LAY_BAND * (condition->first_band + (double)band + 0.5));
}

/* ---- which bands ---- */

static bool has_looks(const lay_loud_condition *c, long band) {
    return band >= 0 && band < (long)c->bands && c->looks[band] > 0;
}

static void pair_bands(lay_overlap *o, int apart) {
    o->count = 0;
    for (size_t b = 0; b < o->before->bands; b++) {
        long a = (long)b + o->before->first_band - o->after->first_band;
        if (!has_looks(o->before, (long)b)) continue;
        for (int off = 0; off <= apart; off++) {
            bool up = has_looks(o->after, a + off), down = has_looks(o->after, a - off);
            if (!up && !down) continue;
            o->pairs[o->count++] = (lay_band_pair){b, (size_t)(up ? a + off : a - off)};
            break;
        }
    }
}

static bool enough(const lay_overlap *o) {
    double before = 0, after = 0;
    for (size_t i = 0; i < o->count; i++) {
        before += o->before->seconds[o->pairs[i].before];
        after += o->after->seconds[o->pairs[i].after];
    }
    return fmin(before, after) >= SECONDS_LEAST;
}

lay_status lay_overlap_find(const lay_loud_condition *before, const lay_loud_condition *after, bool by_floor,
                            lay_overlap *out, lay_error *err) {
    *out = (lay_overlap){.before = before, .after = after, .by_floor = by_floor};
    out->pairs = lay_calloc(before->bands + 1, sizeof *out->pairs);
    if (!out->pairs) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    bool steady = before->bands <= STEADY_BANDS && after->bands <= STEADY_BANDS;
    pair_bands(out, 0);
    if (!enough(out) && steady) pair_bands(out, 1);
    if (!enough(out)) out->count = 0;
    return LAY_OK;
}

void lay_overlap_free(lay_overlap *overlap) {
    free(overlap->pairs);
    *overlap = (lay_overlap){0};
}

double lay_overlap_ground(const lay_overlap *o) {
    double sum = 0;
    for (size_t i = 0; i < o->count; i++)
        sum += log(o->after->ground[o->pairs[i].after] / o->before->ground[o->pairs[i].before]);
    return o->count ? LAY_LN_DB * sum / (double)o->count : 0;
}

void lay_overlap_seconds(const lay_overlap *o, double *before, double *after) {
    *before = *after = 0;
    for (size_t i = 0; i < o->count; i++) {
        *before += o->before->seconds[o->pairs[i].before];
        bool again = i > 0 && o->pairs[i].after == o->pairs[i - 1].after;
        *after += again ? 0 : o->after->seconds[o->pairs[i].after];
    }
}

/* ---- the ratio ---- */

bool lay_overlap_at(const lay_overlap *o, const lay_line_pair *lines, size_t count, size_t i, double power[2],
                    double variance[2]) {
    size_t b = o->pairs[i].before, a = o->pairs[i].after;
    double scale = o->by_floor ? o->before->ground[b] / o->after->ground[a] : 1;
    bool any = false;
    power[0] = power[1] = variance[0] = variance[1] = 0;
    for (size_t k = 0; k < count; k++) {
        const lay_loud_line *x = lines[k].before, *y = lines[k].after;
        if (!isfinite(x->variance[b]) || !isfinite(y->variance[a]) || !isfinite(scale)) continue;
        any = true;
        power[0] += x->power[b];
        variance[0] += x->variance[b];
        power[1] += y->power[a] * scale;
        variance[1] += y->variance[a] * scale * scale;
    }
    return any;
}

#define BANDS_MOST 512
#define ROBUST_BANDS 6 /* fewer tell nothing of what is usual among them */
#define ROBUST 1.5     /* deviations from which on a band counts less (Huber 1964, from memory of the work) */
#define LEAST_SCALE 0.1
#define ROUNDS 5

typedef struct band_sums {
    double power[2], variance[2], noise[2], weight;
} band_sums;

typedef struct sums {
    band_sums band[BANDS_MOST];
    size_t bands;
    double power[2], variance[2], noise[2], plain[2]; /* weighted; plain: not */
} sums;

static double noise_of(const lay_overlap *o, const lay_line_pair *lines, size_t count, size_t i, bool after) {
    double sum = 0;
    for (size_t k = 0; k < count; k++) {
        double n = after ? lines[k].after->noise[o->pairs[i].after] : lines[k].before->noise[o->pairs[i].before];
        sum += isfinite(n) ? n : 0;
    }
    return sum;
}

/* Bands count alike where the lines stand well out of the noise, less where they drown; symmetric in before and after.
 */
static void collect(const lay_overlap *o, const lay_line_pair *lines, size_t count, sums *s) {
    s->bands = 0;
    for (size_t i = 0; i < o->count && s->bands < BANDS_MOST; i++) {
        band_sums *x = &s->band[s->bands];
        if (!lay_overlap_at(o, lines, count, i, x->power, x->variance)) continue;
        double b = o->before->looks[o->pairs[i].before], a = o->after->looks[o->pairs[i].after];
        double size = fmax(0, x->power[0]) + fmax(0, x->power[1]) + sqrt(x->variance[0] + x->variance[1]);
        for (int k = 0; k < 2; k++) x->noise[k] = noise_of(o, lines, count, i, k == 1);
        x->weight = size > 0 ? a * b / (a + b) / size : 0;
        s->bands++;
    }
}

static void add_up(sums *s) {
    for (int k = 0; k < 2; k++) {
        s->power[k] = s->variance[k] = s->noise[k] = s->plain[k] = 0;
        for (size_t i = 0; i < s->bands; i++) {
            const band_sums *x = &s->band[i];
            s->power[k] += x->weight * x->power[k];
            s->variance[k] += x->weight * x->weight * x->variance[k];
            s->noise[k] += x->weight * x->noise[k];
            s->plain[k] += x->power[k] / (double)s->bands;
        }
        s->variance[k] += NOISE_ERROR * NOISE_ERROR * s->noise[k] * s->noise[k];
    }
}

/* ln of the ratio in a band where both stand well out of the noise; NaN elsewhere. */
static double band_ln(const band_sums *x) {
    for (int k = 0; k < 2; k++)
        if (x->power[k] <= 3 * sqrt(x->variance[k])) return NAN;
    return log(x->power[1] / x->power[0]);
}

/* A foot that lifts for a second, or a knock, must not pass for a change: bands far from the median of all count less.
 */
static void doubt_strays(sums *s) {
    double sorted[BANDS_MOST], ln[BANDS_MOST];
    size_t n = 0;
    for (size_t i = 0; i < s->bands; i++) {
        ln[i] = band_ln(&s->band[i]);
        if (!isnan(ln[i])) sorted[n++] = ln[i];
    }
    if (n < ROBUST_BANDS) return;
    double centre = lay_median(sorted, n);
    for (int round = 0; round < ROUNDS; round++) {
        double sum = 0, weights = 0;
        n = 0;
        for (size_t i = 0; i < s->bands; i++)
            if (!isnan(ln[i])) sorted[n++] = fabs(ln[i] - centre);
        double scale = fmax(LEAST_SCALE, 1.4826 * lay_median(sorted, n));
        for (size_t i = 0; i < s->bands; i++) {
            if (isnan(ln[i])) continue;
            double w = fmin(1, ROBUST * scale / fmax(1e-12, fabs(ln[i] - centre)));
            sum += w * ln[i];
            weights += w;
        }
        centre = sum / weights;
        if (round + 1 < ROUNDS) continue;
        for (size_t i = 0; i < s->bands; i++)
            if (!isnan(ln[i])) {
                double w = ROBUST * scale / fmax(1e-12, fabs(ln[i] - centre));
                s->band[i].weight *= w < 1 ? w * w : 1; /* the sums are of powers, where a stray weighs more */
            }
    }
}

/* Variance of ln(after / before) from what stretches of speed leave over; they hang together within a stretch. */
static double residual_variance(const sums *s, double *dof) {
    double ratio = s->power[1] / s->power[0], squares = 0, sum = 0;
    size_t stretches = s->bands < STRETCHES ? s->bands : STRETCHES, at = 0;
    for (size_t i = 0; i < s->bands; i++) {
        const band_sums *x = &s->band[i];
        size_t stretch = i * stretches / s->bands;
        if (stretch != at) {
            squares += sum * sum;
            sum = 0;
            at = stretch;
        }
        sum += x->weight * (x->power[1] - ratio * x->power[0]) / s->power[1];
    }
    squares += sum * sum;
    *dof = (double)stretches - 1;
    return squares * (double)stretches / *dof;
}

/* The same of runs at one speed, from the course over time of the loudest line. */
static double sway_variance(const lay_overlap *o, const lay_line_pair *lines, size_t count, double *dof) {
    const double unknown = UNKNOWN_DB / LAY_LN_DB;
    double loudest = -1, variance = 2 * unknown * unknown;
    *dof = 6;
    for (size_t k = 0; k < count; k++) {
        double power = 0, before = lines[k].before->scatter, after = lines[k].after->scatter;
        for (size_t i = 0; i < o->count; i++) {
            double p[2], v[2];
            if (lay_overlap_at(o, &lines[k], 1, i, p, v)) power += fmax(0, p[0]) + fmax(0, p[1]);
        }
        if (power <= loudest) continue;
        loudest = power;
        variance = (isnan(before) ? unknown * unknown : before) + (isnan(after) ? unknown * unknown : after);
    }
    return variance;
}

/* Inside a band the two may have run at different speeds, and on the flank of a resonance the level goes with the
 * speed.
 */
static double speed_variance(const lay_overlap *o) {
    double sum = 0, n = (double)o->count;
    for (size_t i = 0; i < o->count; i++) {
        double apart = log(o->after->hz[o->pairs[i].after] / o->before->hz[o->pairs[i].before]) * FLANK;
        sum += apart * apart;
    }
    return sum / (n * n);
}

/* Out of the noise, and not in one or two bands alone: a tone fixed in Hz, met by a run at one speed, is no line. */
static bool stands(const sums *s, int side) {
    double rest = s->power[side], deviation = sqrt(s->variance[side]), first = 0, second = 0;
    for (size_t i = 0; i < s->bands; i++) {
        double part = s->band[i].weight * s->band[i].power[side];
        second = fmax(second, fmin(first, part));
        first = fmax(first, part);
    }
    if (s->bands >= STRETCH_BANDS) rest -= first + second;
    return s->power[side] > STANDS * deviation && rest > STANDS_REST * deviation;
}

void lay_estimate_of(const lay_overlap *o, const lay_line_pair *lines, size_t count, lay_estimate *out) {
    *out = (lay_estimate){.ln = NAN, .dof = 6};
    sums s;
    collect(o, lines, count, &s);
    if (s.bands == 0) return;
    doubt_strays(&s);
    add_up(&s);
    out->before = stands(&s, 0);
    out->after = stands(&s, 1);
    out->before_power = s.plain[0];
    out->after_power = s.plain[1];
    double deviation[2] = {sqrt(s.variance[0]), sqrt(s.variance[1])};
    double before = fmax(s.power[0], deviation[0]), after = fmax(s.power[1], deviation[1]);
    out->before_noise = deviation[0] / after;
    out->after_noise = deviation[1] / before;
    if (!out->before && !out->after) return;
    out->ln = log(after / before);
    double noise =
        (out->before ? s.variance[0] / (before * before) : 0) + (out->after ? s.variance[1] / (after * after) : 0);
    bool sweep = s.bands >= STRETCH_BANDS && out->before && out->after;
    double seen = sweep ? residual_variance(&s, &out->dof) : sway_variance(o, lines, count, &out->dof);
    out->variance = fmax(noise, seen) + speed_variance(o);
}
