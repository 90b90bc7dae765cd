#include "still.h"

#include <math.h>
#include <stdlib.h>

#define LOOK_S 8.0 /* length of the spectra that tell such tones from a shaft's */
#define LEAST_S 3.0
#define TOP 0.4
#define GRID_TOLERANCE 2.5e-3 /* of the grid's frequency */
#define HUM_HARMONICS 12
#define HUM_LEAST 3       /* harmonics that make a hum */
#define TONE_LOW_HZ 600.0 /* below, a shaft's own lines are as narrow */
#define MAINS_HZ 0.3      /* a tone this near to a multiple of the mains is of the mains */
#define MOST_TONES 32
#define LEAST_RATIO 30.0
#define ENVELOPE_S 0.5 /* between the points at which a tone's amplitude is taken */

typedef struct look {
    size_t n, bins;
    double bin_hz;
    double *window, *x, *pairs, *power, *sum, *floor;
    lay_fft *fft;
    lay_whitener whitener;
    double tones[MOST_TONES]; /* Hz */
    size_t tone_count;
} look;

static void close_look(look *l) {
    free(l->window);
    free(l->x);
    free(l->pairs);
    free(l->power);
    free(l->sum);
    free(l->floor);
    lay_fft_free(l->fft);
    lay_whitener_free(&l->whitener);
}

static lay_status open_look(const lay_chapter *c, look *l, lay_error *err) {
    size_t n = 64 * (size_t)(fmin(LOOK_S * c->wide_rate, (double)c->wide_count) / 64);
    *l = (look){.n = n, .bin_hz = c->wide_rate / (double)n, .bins = (size_t)(TOP * (double)n)};
    l->window = lay_calloc(n, sizeof *l->window);
    l->x = lay_calloc(n, sizeof *l->x);
    l->pairs = lay_calloc(n + 2, sizeof *l->pairs);
    l->power = lay_calloc(l->bins, sizeof *l->power);
    l->sum = lay_calloc(l->bins, sizeof *l->sum);
    l->floor = lay_calloc(l->bins, sizeof *l->floor);
    if (!l->window || !l->x || !l->pairs || !l->power || !l->sum || !l->floor)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_window_fill(LAY_WINDOW_HANN, l->window, n);
    lay_status status = lay_fft_new(n, &l->fft, err);
    return status == LAY_OK ? lay_whitener_init(&l->whitener, l->bins, l->bin_hz, err) : status;
}

/* sum[bins]: mean over channels and time of power over local floor. */
static void add_spectra(look *l, const lay_chapter *c) {
    size_t frames = 0;
    for (size_t ch = 0; ch < c->channels; ch++)
        for (size_t at = 0; at + l->n <= c->wide_count; at += l->n / 2, frames++) {
            const float *x = c->wide + ch * c->wide_capacity + at;
            for (size_t i = 0; i < l->n; i++) l->x[i] = l->window[i] * (double)x[i];
            lay_fft_forward(l->fft, l->x, l->pairs);
            for (size_t i = 0; i < l->bins; i++)
                l->power[i] = l->pairs[2 * i] * l->pairs[2 * i] + l->pairs[2 * i + 1] * l->pairs[2 * i + 1];
            lay_whitener_floor(&l->whitener, l->power, l->floor);
            for (size_t i = 0; i < l->bins; i++) l->sum[i] += l->power[i] / l->floor[i];
        }
    for (size_t i = 0; i < l->bins && frames > 0; i++) l->sum[i] /= (double)frames;
}

/* Height of bin i when it stands out from both sides three bins (the main lobe and one) away, else 0: a shaft that
 * moves smears over more. */
static double narrow_line(const look *l, size_t i) {
    if (i < 4 || i + 4 >= l->bins) return 0;
    double sides = fmax(l->sum[i - 3], l->sum[i + 3]);
    return l->sum[i] > 4 * sides ? l->sum[i] : 0;
}

static size_t bin_of(const look *l, double hz) {
    return (size_t)(hz / l->bin_hz + 0.5);
}

static double hum_score(const look *l, double mains, int *found) {
    double score = 0;
    *found = 0;
    for (int k = 1; k <= HUM_HARMONICS; k++) {
        double ratio = narrow_line(l, bin_of(l, k * mains));
        if (ratio < LEAST_RATIO) continue;
        score += log(ratio);
        (*found)++;
    }
    return score;
}

static double find_mains(const look *l) {
    static const double grids[] = {50, 60};
    double best = 0, mains = 0;
    for (size_t g = 0; g < 2; g++)
        for (double off = -GRID_TOLERANCE; off <= GRID_TOLERANCE; off += 1e-4) {
            int found;
            double score = hum_score(l, grids[g] * (1 + off), &found);
            if (found < HUM_LEAST || score <= best) continue;
            best = score;
            mains = grids[g] * (1 + off);
        }
    return mains;
}

static void add_tone(look *l, double hz) {
    if (l->tone_count < MOST_TONES) l->tones[l->tone_count++] = hz;
}

static bool of_mains(double hz, double mains) {
    return mains > 0 && fabs(hz / mains - round(hz / mains)) * mains < MAINS_HZ;
}

static void find_tones(look *l, bool hum_only) {
    double mains = find_mains(l);
    for (int k = 1; k <= HUM_HARMONICS && mains > 0; k++)
        if (narrow_line(l, bin_of(l, k * mains)) >= LEAST_RATIO / 4) add_tone(l, k * mains);
    for (size_t i = bin_of(l, TONE_LOW_HZ); i + 4 < l->bins; i++) {
        bool peak = l->sum[i] > l->sum[i - 1] && l->sum[i] >= l->sum[i + 1];
        if (!peak || narrow_line(l, i) < LEAST_RATIO) continue;
        double a = sqrt(l->sum[i - 1]), b = sqrt(l->sum[i]), c = sqrt(l->sum[i + 1]), bend = a - 2 * b + c;
        double hz = ((double)i + (bend < 0 ? 0.5 * (a - c) / bend : 0)) * l->bin_hz;
        if (!hum_only || of_mains(hz, mains)) add_tone(l, hz);
    }
}

/* Complex amplitude of the tone about each of `points` times ENVELOPE_S apart, by a Hann window two of them wide. */
static void envelope(const float *x, size_t count, double rate, double hz, size_t points, double *re, double *im) {
    double step = ENVELOPE_S * rate, turn = 2 * LAY_PI * hz / rate, dc = cos(turn), ds = sin(turn);
    double roll = LAY_PI / step, rc = cos(roll), rs = sin(roll);
    for (size_t p = 0; p < points; p++) {
        double centre = (double)p * step, weight = 0;
        size_t from = (size_t)fmax(0, centre - step), to = (size_t)fmin((double)count, centre + step);
        double c = cos(turn * (double)from), s = sin(turn * (double)from);
        double wc = cos(roll * ((double)from - centre)), ws = sin(roll * ((double)from - centre));
        for (size_t i = from; i < to; i++) {
            double w = 1 + wc, next = c * dc - s * ds, next_w = wc * rc - ws * rs;
            re[p] += w * (double)x[i] * c;
            im[p] += w * (double)x[i] * s;
            weight += w;
            s = s * dc + c * ds;
            c = next;
            ws = ws * rc + wc * rs;
            wc = next_w;
        }
        re[p] *= weight > 0 ? 2 / weight : 0;
        im[p] *= weight > 0 ? 2 / weight : 0;
    }
}

static lay_status subtract(float *x, size_t count, double rate, double hz, lay_error *err) {
    double step = ENVELOPE_S * rate, turn = 2 * LAY_PI * hz / rate;
    size_t points = (size_t)((double)count / step) + 2;
    double *re = lay_calloc(2 * points, sizeof *re), *im = re + points;
    if (!re) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    envelope(x, count, rate, hz, points, re, im);
    double c = 1, s = 0, dc = cos(turn), ds = sin(turn);
    for (size_t i = 0; i < count; i++) {
        double at = (double)i / step, u = at - floor(at);
        size_t p = (size_t)at;
        x[i] -= (float)((re[p] + u * (re[p + 1] - re[p])) * c + (im[p] + u * (im[p + 1] - im[p])) * s);
        double next = c * dc - s * ds;
        s = s * dc + c * ds;
        c = next;
    }
    free(re);
    return LAY_OK;
}

lay_status lay_still_remove(lay_chapter *chapter, bool hum_only, size_t *removed, lay_error *err) {
    look l = {0};
    *removed = 0;
    if ((double)chapter->wide_count < LEAST_S * chapter->wide_rate) return LAY_OK;
    lay_status status = open_look(chapter, &l, err);
    if (status == LAY_OK) {
        add_spectra(&l, chapter);
        find_tones(&l, hum_only);
        *removed = l.tone_count;
    }
    for (size_t k = 0; k < l.tone_count && status == LAY_OK; k++)
        for (size_t c = 0; c < chapter->channels && status == LAY_OK; c++) {
            status = subtract(chapter->wide + c * chapter->wide_capacity, chapter->wide_count, chapter->wide_rate,
                              l.tones[k], err);
            if (status == LAY_OK && l.tones[k] < 0.25 * chapter->wide_rate)
                status = subtract(chapter->narrow + c * chapter->narrow_capacity, chapter->narrow_count,
                                  0.5 * chapter->wide_rate, l.tones[k], err);
        }
    close_look(&l);
    return status;
}
