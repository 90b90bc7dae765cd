#include "change.h"

#include <math.h>
#include <stdlib.h>

#define LOOKS_LEAST 3.0
#define STEADY_BANDS 4 /* a run in no more bands than that holds one speed: a neighbouring band is the same */
#define STRETCHES 8    /* of speed, whose residuals tell how well a change is known */
#define STRETCH_BANDS 6
#define STANDS 5.0       /* deviations of its noise by which a set of lines stands out */
#define STANDS_SHARE 0.1 /* and of the noise itself, whose estimate may be off by some of it */
#define UNKNOWN_DB 0.7   /* sway within a run too short to tell (common practice, no source) */

static const double ln_db = 4.342944819032518; /* dB of a power ratio of e */

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
        before += o->before->looks[o->pairs[i].before];
        after += o->after->looks[o->pairs[i].after];
    }
    return fmin(before, after) >= LOOKS_LEAST;
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
    return o->count ? ln_db * sum / (double)o->count : 0;
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

typedef struct sums {
    double before, after, before_var, after_var; /* weighted */
    double before_noise, after_noise;
    double weights, before_plain, after_plain;
    size_t bands;
} sums;

/* Bands count alike where the lines stand well out of the noise, less where they drown; symmetric in before and after.
 */
static double weight_of(const lay_overlap *o, size_t i, const double power[2], const double variance[2]) {
    double b = o->before->looks[o->pairs[i].before], a = o->after->looks[o->pairs[i].after];
    double size = fmax(0, power[0]) + fmax(0, power[1]) + sqrt(variance[0] + variance[1]);
    return size > 0 ? a * b / (a + b) / size : 0;
}

static double noise_of(const lay_overlap *o, const lay_line_pair *lines, size_t count, size_t i, bool after) {
    double sum = 0;
    for (size_t k = 0; k < count; k++) {
        double n = after ? lines[k].after->noise[o->pairs[i].after] : lines[k].before->noise[o->pairs[i].before];
        sum += isfinite(n) ? n : 0;
    }
    return sum;
}

static void add_up(const lay_overlap *o, const lay_line_pair *lines, size_t count, sums *s) {
    *s = (sums){0};
    for (size_t i = 0; i < o->count; i++) {
        double p[2], v[2];
        if (!lay_overlap_at(o, lines, count, i, p, v)) continue;
        double w = weight_of(o, i, p, v);
        s->before += w * p[0];
        s->after += w * p[1];
        s->before_var += w * w * v[0];
        s->after_var += w * w * v[1];
        s->before_noise += w * noise_of(o, lines, count, i, false);
        s->after_noise += w * noise_of(o, lines, count, i, true);
        s->before_plain += p[0];
        s->after_plain += p[1];
        s->weights += w;
        s->bands++;
    }
}

/* Variance of ln(after / before) from what stretches of speed leave over; they hang together within a stretch. */
static double residual_variance(const lay_overlap *o, const lay_line_pair *lines, size_t count, const sums *s,
                                double *dof) {
    double ratio = s->after / s->before, squares = 0, sum = 0;
    size_t stretches = s->bands < STRETCHES ? s->bands : STRETCHES, seen = 0, at = 0;
    for (size_t i = 0; i < o->count; i++) {
        double p[2], v[2];
        if (!lay_overlap_at(o, lines, count, i, p, v)) continue;
        size_t stretch = seen++ * stretches / s->bands;
        if (stretch != at) {
            squares += sum * sum;
            sum = 0;
            at = stretch;
        }
        sum += weight_of(o, i, p, v) * (p[1] - ratio * p[0]) / s->after;
    }
    squares += sum * sum;
    *dof = (double)stretches - 1;
    return squares * (double)stretches / *dof;
}

/* The same of runs at one speed, from the course over time of the loudest line. */
static double sway_variance(const lay_overlap *o, const lay_line_pair *lines, size_t count, double *dof) {
    const double unknown = UNKNOWN_DB / ln_db;
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

static bool stands(double power, double variance, double noise) {
    return power > STANDS * sqrt(variance) && power > STANDS_SHARE * noise;
}

void lay_estimate_of(const lay_overlap *o, const lay_line_pair *lines, size_t count, lay_estimate *out) {
    *out = (lay_estimate){.ln = NAN, .dof = 6};
    sums s;
    add_up(o, lines, count, &s);
    if (s.bands == 0) return;
    out->before = stands(s.before, s.before_var, s.before_noise);
    out->after = stands(s.after, s.after_var, s.after_noise);
    out->before_power = s.before_plain / (double)s.bands;
    out->after_power = s.after_plain / (double)s.bands;
    out->before_noise = sqrt(s.before_var) / fmax(s.after, sqrt(s.after_var));
    out->after_noise = sqrt(s.after_var) / fmax(s.before, sqrt(s.before_var));
    if (!out->before && !out->after) return;
    double before = fmax(s.before, sqrt(s.before_var)), after = fmax(s.after, sqrt(s.after_var));
    out->ln = log(after / before);
    double noise =
        (out->before ? s.before_var / (before * before) : 0) + (out->after ? s.after_var / (after * after) : 0);
    bool sweep = s.bands >= STRETCH_BANDS && out->before && out->after;
    double seen = sweep ? residual_variance(o, lines, count, &s, &out->dof) : sway_variance(o, lines, count, &out->dof);
    out->variance = fmax(noise, seen);
}
