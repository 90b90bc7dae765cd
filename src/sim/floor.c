#include "floor.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>

/* Sum of eight 16-bit uniforms (variance 1/12 each): excess kurtosis -0.15, four times faster than exact normals, and
 * Gaussian to the eye after any filter. */
void lay_sim_white(lay_random *random, double level, double *x, size_t n) {
    const double scale = level * sqrt(12.0 / 8.0) / 65536.0, middle = 8.0 * 65535.0 / 2.0;
    for (size_t i = 0; i < n; i++) {
        uint64_t a = lay_random_bits(random), b = lay_random_bits(random);
        uint64_t sum = (a & 0xffff) + (a >> 16 & 0xffff) + (a >> 32 & 0xffff) + (a >> 48);
        sum += (b & 0xffff) + (b >> 16 & 0xffff) + (b >> 32 & 0xffff) + (b >> 48);
        x[i] = ((double)sum - middle) * scale;
    }
}

/* Modes of a case: 4 to 6 resonances of quality 5..30 that lift 5..15 dB, two antiresonances. */
static void draw_structure(lay_random *random, double rate, lay_sim_cascade *cascade) {
    double top = fmin(7000.0, 0.4 * rate);
    for (int i = lay_random_int(random, 4, 6); i > 0; i--) {
        double hz = 250.0 * pow(top / 250.0, lay_random_unit(random));
        lay_sim_cascade_add(
            cascade, lay_sim_peaking(rate, hz, lay_random_between(random, 5, 30), lay_random_between(random, 5, 15)));
    }
    for (int i = 0; i < 2; i++) {
        double hz = 250.0 * pow(top / 250.0, lay_random_unit(random));
        lay_sim_cascade_add(
            cascade, lay_sim_peaking(rate, hz, lay_random_between(random, 5, 15), lay_random_between(random, -15, -5)));
    }
}

static void draw_air(lay_random *random, const lay_sim_traits *traits, double rate, lay_sim_cascade *cascade) {
    double lift = lay_sim_draw(random, traits->shelf_db);
    lay_sim_cascade_add(cascade, lay_sim_low_shelf(rate, lay_random_between(random, 150, 500), 0.5, lift));
    lay_sim_cascade_add(cascade, lay_sim_low_shelf(rate, lay_random_between(random, 0.08, 0.2) * rate, 0.6,
                                                   lay_random_between(random, 0, 10)));
    for (int i = 0; i < 2; i++)
        lay_sim_cascade_add(cascade,
                            lay_sim_peaking(rate, 200.0 * pow(0.4 * rate / 200.0, lay_random_unit(random)),
                                            lay_random_between(random, 0.5, 1.5), lay_random_between(random, -6, 6)));
}

/* Power below each grid frequency of unit white noise through `cascade`; the last entry is the whole. */
static void integrate(const lay_sim_cascade *cascade, double rate, double *below, double *gain, double *turn) {
    below[0] = 0;
    for (int i = 0; i <= LAY_SIM_GRID; i++) {
        double re, im;
        lay_sim_cascade_response(cascade, rate, 0.5 * rate * i / LAY_SIM_GRID, &re, &im);
        double power = (re * re + im * im) / LAY_SIM_GRID;
        if (i > 0) below[i] = below[i - 1] + power;
        if (!gain) continue;
        double angle = atan2(im, re), last = i > 0 ? turn[i - 1] : angle;
        gain[i] = sqrt(re * re + im * im);
        turn[i] = angle + 2.0 * LAY_PI * round((last - angle) / (2.0 * LAY_PI));
    }
}

static double scale_to(double *below, double share) {
    double scale = share / below[LAY_SIM_GRID];
    for (int i = 0; i <= LAY_SIM_GRID; i++) below[i] *= scale;
    return sqrt(scale);
}

lay_status lay_sim_floor_draw(lay_random *random, const lay_sim_traits *traits, double rate, lay_sim_floor *out,
                              lay_error *err) {
    *out = (lay_sim_floor){.rate = rate};
    out->gain = lay_calloc(LAY_SIM_GRID + 1, sizeof(double));
    out->turn = lay_calloc(LAY_SIM_GRID + 1, sizeof(double));
    out->air_below = lay_calloc(LAY_SIM_GRID + 1, sizeof(double));
    out->structure_below = lay_calloc(LAY_SIM_GRID + 1, sizeof(double));
    if (!out->gain || !out->turn || !out->air_below || !out->structure_below) {
        lay_sim_floor_free(out);
        return lay_fail(err, LAY_NO_MEMORY, "no memory for the noise floor");
    }
    draw_structure(random, rate, &out->structure);
    draw_air(random, traits, rate, &out->air);
    integrate(&out->air, rate, out->air_below, NULL, NULL);
    integrate(&out->structure, rate, out->structure_below, out->gain, out->turn);
    out->structure_share = traits->structure_share;
    out->air_share = 1.0 - traits->structure_share;
    out->air_level = scale_to(out->air_below, out->air_share);
    out->structure_level = scale_to(out->structure_below, out->structure_share);
    return LAY_OK;
}

void lay_sim_floor_free(lay_sim_floor *noise) {
    free(noise->gain);
    free(noise->turn);
    free(noise->air_below);
    free(noise->structure_below);
    *noise = (lay_sim_floor){0};
}

/* Linear interpolation in a grid table. */
static double between(const double *table, double position) {
    if (position <= 0) return table[0];
    if (position >= LAY_SIM_GRID) return table[LAY_SIM_GRID];
    int i = (int)position;
    double u = position - i;
    return table[i] + u * (table[i + 1] - table[i]);
}

void lay_sim_floor_gain(const lay_sim_floor *noise, double hz, double *gain, double *turn) {
    double position = hz / (0.5 * noise->rate) * LAY_SIM_GRID;
    *gain = between(noise->gain, position);
    *turn = between(noise->turn, position);
}

void lay_sim_floor_band(const lay_sim_floor *noise, double hz, double *air, double *structure) {
    double low, high, scale = LAY_SIM_GRID / (0.5 * noise->rate);
    lay_critical_band(hz, &low, &high);
    *air = between(noise->air_below, high * scale) - between(noise->air_below, low * scale);
    *structure = between(noise->structure_below, high * scale) - between(noise->structure_below, low * scale);
}
