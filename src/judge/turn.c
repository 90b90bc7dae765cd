#include "turn.h"

#include <math.h>
#include <stdlib.h>

#define SEEN_DB 10.0  /* mesh line over chance */
#define NEAR_OTHERS 1 /* cycles per turn around another wheel's mesh that belong to it */

void lay_turn_lines_free(lay_turn_lines *lines) {
    free(lines->mean);
    free(lines->chance);
    *lines = (lay_turn_lines){0};
}

static void transform(lay_fft *fft, const double *x, double *pairs, double complex *out, size_t count) {
    lay_fft_forward(fft, x, pairs);
    for (size_t i = 0; i < count; i++) out[i] = (pairs[2 * i] + I * pairs[2 * i + 1]) / (double)lay_fft_size(fft);
}

static void add_variance(lay_turn_lines *lines, const lay_tsa_average *a, size_t channel, lay_fft *fft, double *pairs,
                         double complex *one) {
    double parts = (double)a->records;
    for (size_t r = 0; r < a->records; r++) {
        transform(fft, a->record + (r * a->channels + channel) * a->points, pairs, one, lines->count);
        for (size_t i = 0; i < lines->count; i++) {
            double complex off = one[i] - lines->mean[i];
            lines->chance[i] += (creal(off) * creal(off) + cimag(off) * cimag(off)) / (parts * (parts - 1));
        }
    }
}

lay_status lay_turn_lines_of(const lay_tsa_average *a, size_t channel, lay_turn_lines *lines, lay_error *err) {
    *lines = (lay_turn_lines){0};
    lay_fft *fft = NULL;
    lay_status status = lay_fft_new(a->points, &fft, err);
    if (status != LAY_OK) return status;
    lines->count = a->points / 2;
    lines->parted = a->records >= 2;
    lines->mean = lay_calloc(lines->count, sizeof *lines->mean);
    lines->chance = lay_calloc(lines->count, sizeof *lines->chance);
    double *pairs = lay_calloc(a->points + 2, sizeof *pairs);
    double complex *one = lay_calloc(lines->count, sizeof *one);
    if (lines->mean && lines->chance && pairs && one) {
        transform(fft, a->mean + channel * a->points, pairs, lines->mean, lines->count);
        if (lines->parted) add_variance(lines, a, channel, fft, pairs, one);
    } else {
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the turn of a wheel");
    }
    free(pairs);
    free(one);
    lay_fft_free(fft);
    return status;
}

static double power(double complex z) {
    return creal(z) * creal(z) + cimag(z) * cimag(z);
}

double lay_turn_power(const lay_turn_lines *lines, size_t line) {
    return power(lines->mean[line]);
}

double lay_turn_chance(const lay_turn_lines *lines, size_t line) {
    size_t low = line > 8 ? line - 8 : 1, high = line + 8 < lines->count ? line + 8 : lines->count - 1, n = 0;
    double around[17];
    for (size_t i = low; i <= high && n < 17; i++) around[n++] = lines->chance[i];
    return fmax(lay_median(around, n), lines->chance[line] / 3);
}

static bool of_another(const lay_look_wheel *w, int line) {
    for (size_t m = 1; m < w->mesh_count; m++) {
        int off = line % w->teeth[m], away = off < w->teeth[m] - off ? off : w->teeth[m] - off;
        if (w->teeth[m] != w->teeth[0] && away <= NEAR_OTHERS) return true;
    }
    return false;
}

static int strongest(const lay_turn_lines *lines, int teeth) {
    int best = 1;
    for (int h = 2; (size_t)(h * teeth) < lines->count; h++)
        if (power(lines->mean[h * teeth]) > power(lines->mean[best * teeth])) best = h;
    return best;
}

static void measure_sides(const lay_look_wheel *w, const lay_turn_lines *lines, int mesh, lay_turn_view *out) {
    for (int k = 1; k <= LAY_TURN_SIDES; k++) {
        double sum = 0, chance = 0;
        int n = 0;
        for (int side = -k; side <= k; side += 2 * k) {
            int line = mesh + side;
            if (line < 1 || (size_t)line >= lines->count || of_another(w, line)) continue;
            sum += power(lines->mean[line]);
            chance += lay_turn_chance(lines, (size_t)line);
            n++;
        }
        if (n == 0) continue;
        out->side_db[k - 1] = lay_db_power(fmax(sum / n / power(lines->mean[mesh]), 1e-12));
        if (lines->parted) out->over_db[k - 1] = lay_db_power(fmax(sum, 1e-30) / fmax(chance, 1e-30));
    }
}

/* A (1 + m cos(a + alpha)) turned in phase by beta cos(a + gamma) has the sidebands (m e^{i alpha} + i beta e^{i
 * gamma}) / 2 above and its mirror below, re the carrier, while both are small; so their sum and difference part the
 * two. */
static void modulation(const lay_look_wheel *w, const lay_turn_lines *lines, int mesh, lay_turn_view *out) {
    if (mesh < 2 || (size_t)mesh + 1 >= lines->count) return;
    double complex above = lines->mean[mesh + 1] / lines->mean[mesh],
                   below = conj(lines->mean[mesh - 1] / lines->mean[mesh]);
    bool no_above = of_another(w, mesh + 1), no_below = of_another(w, mesh - 1);
    if (no_above && no_below) return;
    if (no_above || no_below) { /* one side is all there is */
        out->once_db = lay_db_power(power(no_above ? below : above));
        return;
    }
    out->swell = cabs(above + below);
    out->swing = cabs(above - below);
    double half = 0.5 * (out->swell + out->swing);
    out->once_db = lay_db_power(half * half);
}

lay_status lay_turn_look(const lay_look_wheel *wheel, lay_turn_view *out, lay_error *err) {
    *out = (lay_turn_view){.swell = NAN, .swing = NAN, .once_db = NAN};
    for (int k = 0; k < LAY_TURN_SIDES; k++) out->side_db[k] = out->over_db[k] = NAN;
    lay_turn_lines lines = {0};
    lay_status status = lay_turn_lines_of(&wheel->average, wheel->channel, &lines, err);
    int teeth = wheel->teeth[0];
    if (status == LAY_OK && (size_t)teeth + 1 < lines.count) {
        out->harmonic = strongest(&lines, teeth);
        int mesh = out->harmonic * teeth;
        double there = power(lines.mean[mesh]);
        out->seen = there > 0 && lines.parted &&
                    lay_db_power(there / fmax(lay_turn_chance(&lines, (size_t)mesh), 1e-30)) >= SEEN_DB;
        if (out->seen) {
            measure_sides(wheel, &lines, mesh, out);
            modulation(wheel, &lines, mesh, out);
        }
    }
    lay_turn_lines_free(&lines);
    return status;
}
