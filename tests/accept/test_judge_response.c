/* Order or resonance: random order cuts of a structure whose natural frequencies are known. */
#include <layshaft/judge.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { CUTS = 24, MODES = 4 };

typedef struct mode {
    double hz, damping, gain_db;
} mode;

typedef struct made {
    lay_cut cuts[CUTS];
    size_t count;
    mode modes[MODES];
    size_t mode_count;
    mode peaks[MODES];
    size_t peak_count;
} made;

/* One direct path and modes that add to it: gain_db at each natural frequency, 0 dB far from all. */
static double answer_db(const made *m, double f) {
    double complex h = 1;
    for (size_t k = 0; k < m->mode_count; k++) {
        double u = f / m->modes[k].hz, z = 2 * m->modes[k].damping * u;
        h += (pow(10, m->modes[k].gain_db / 20) - 1) * (I * z) / (1 - u * u + I * z);
    }
    return 20 * log10(cabs(h));
}

static void make_cut(made *m, lay_random *r, double order, double low, double high, size_t steps, double noise,
                     double own) {
    lay_cut *c = &m->cuts[m->count++];
    double excitation = lay_random_between(r, -60, -30), slope = lay_random_between(r, -1, 4);
    double floor = excitation - lay_random_between(r, 8, 30);
    double bump = low * pow(high / low, lay_random_unit(r)); /* an order's own liking for one speed */
    *c = (lay_cut){.order = order};
    c->hz = lay_calloc(steps, sizeof(double));
    c->power = lay_calloc(steps, sizeof(double));
    c->floor = lay_calloc(steps, sizeof(double));
    c->seconds = lay_calloc(steps, sizeof(double));
    for (size_t i = 0; i < steps; i++) {
        double hz = low + (high - low) * ((double)i + 0.5) / (double)steps, off = log(hz / bump) / 0.06;
        if (lay_random_unit(r) < 0.05) continue; /* a step that held too little */
        double level = excitation + slope * 10 * log10(hz / low) + answer_db(m, order * hz) + own * exp(-off * off) +
                       noise * lay_random_normal(r);
        c->hz[c->count] = hz;
        c->floor[c->count] = pow(10, floor / 10);
        c->power[c->count] = pow(10, level / 10) + c->floor[c->count];
        c->seconds[c->count++] = 0.3;
    }
}

static void release(made *m) {
    for (size_t i = 0; i < m->count; i++) {
        free(m->cuts[i].hz);
        free(m->cuts[i].power);
        free(m->cuts[i].floor);
        free(m->cuts[i].seconds);
    }
}

/* Modes at least 15 % apart. */
static void draw_modes(made *m, lay_random *r, int count) {
    for (int tries = 0; (int)m->mode_count < count && tries < 200; tries++) {
        mode k = {exp(lay_random_between(r, log(150), log(3000))), lay_random_between(r, 0.01, 0.08),
                  lay_random_between(r, 6, 16)};
        bool apart = true;
        for (size_t i = 0; i < m->mode_count; i++) apart &= fabs(log(k.hz / m->modes[i].hz)) > 0.15;
        if (apart) m->modes[m->mode_count++] = k;
    }
}

/* Modes that lie close add up to other peaks than their own: what is to be found are the peaks of the sum, by how much
 * they stand over the higher of the two valleys beside them, and as wide as they are 3 dB below. */
static void take_peaks(made *m) {
    enum { GRID = 4000 };
    static double level[GRID];
    mode peaks[MODES];
    size_t count = 0;
    for (int i = 0; i < GRID; i++) level[i] = answer_db(m, 50 * exp(log(200) * i / GRID));
    for (int i = 1; i + 1 < GRID && count < MODES; i++) {
        if (level[i] < level[i - 1] || level[i] <= level[i + 1]) continue;
        double left = level[i], right = level[i];
        int a = i, b = i;
        for (int k = i; k >= 0 && level[k] <= level[i]; k--) left = fmin(left, level[k]);
        for (int k = i; k < GRID && level[k] <= level[i]; k++) right = fmin(right, level[k]);
        while (a > 0 && level[a] > level[i] - 3) a--;
        while (b + 1 < GRID && level[b] > level[i] - 3) b++;
        double gain = level[i] - fmax(left, right);
        if (gain >= 3) peaks[count++] = (mode){50 * exp(log(200) * i / GRID), 0.5 * log(200) * (b - a) / GRID, gain};
    }
    memcpy(m->peaks, peaks, count * sizeof *peaks);
    m->peak_count = count;
}

/* One job: 1 to 3 runs of the same unit, 1 to 8 orders each. */
static void draw(made *m, lay_random *r, int modes) {
    memset(m, 0, sizeof *m);
    draw_modes(m, r, modes);
    take_peaks(m);
    int runs = lay_random_int(r, 1, 3), orders = lay_random_int(r, 1, 8);
    double base[8];
    for (int k = 0; k < orders; k++) base[k] = lay_random_between(r, 5, 60);
    double noise = lay_random_between(r, 0.5, 2);
    for (int run = 0; run < runs; run++) {
        double low = lay_random_between(r, 12, 25), high = low * lay_random_between(r, 1.3, 4);
        size_t steps = (size_t)lay_random_int(r, 25, 80);
        for (int k = 0; k < orders; k++)
            make_cut(m, r, base[k], low, high, steps, noise, lay_random_unit(r) < 0.2 ? 6 : 0);
    }
}

/* Orders whose cuts pass a frequency with room on either side. */
static int orders_past(const made *m, double hz, double margin) {
    int n = 0;
    for (size_t c = 0; c < m->count; c++) {
        bool seen = false, passes = false;
        for (size_t d = 0; d < m->count; d++) {
            const lay_cut *x = &m->cuts[d];
            if (x->order != m->cuts[c].order) continue;
            if (d < c) seen = true;
            if (x->count >= 4 && x->order * x->hz[0] * margin < hz && x->order * x->hz[x->count - 1] / margin > hz)
                passes = true;
        }
        n += !seen && passes;
    }
    return n;
}

static const lay_resonance *near(const lay_response *r, const mode *m) {
    for (size_t i = 0; i < r->resonance_count; i++) {
        double off = fabs(r->resonances[i].hz / m->hz - 1);
        if (off < fmax(0.02, 2 * m->damping / 3)) return &r->resonances[i];
    }
    return NULL;
}

/* True when a claim lies by no mode at all. */
static int false_claims(const lay_response *r, const made *m) {
    int n = 0;
    for (size_t i = 0; i < r->resonance_count; i++) {
        bool any = false;
        for (size_t k = 0; k < m->peak_count; k++)
            any |= fabs(r->resonances[i].hz / m->peaks[k].hz - 1) < fmax(0.06, 2 * m->peaks[k].damping);
        n += !any;
    }
    return n;
}

static void no_resonance_no_claim(void **state) {
    (void)state;
    int jobs = 400, claimed = 0;
    for (int j = 0; j < jobs; j++) {
        made m;
        lay_random r;
        lay_response out;
        bool found;
        lay_random_seed(&r, 90000 + (uint64_t)j);
        draw(&m, &r, 0);
        assert_int_equal(lay_response_find(m.cuts, m.count, &out, &found, NULL), LAY_OK);
        claimed += found && out.resonance_count > 0;
        lay_response_free(&out);
        release(&m);
    }
    print_message("[          ] claimed in %d of %d jobs without resonance\n", claimed, jobs);
    assert_true(claimed <= jobs / 50);
}

static void resonances_are_found_where_they_are(void **state) {
    (void)state;
    int modes = 0, hit = 0, wrong = 0, claims = 0, jobs = 300;
    double gain = 0;
    for (int j = 0; j < jobs; j++) {
        made m;
        lay_random r;
        lay_response out;
        bool found;
        lay_random_seed(&r, 70000 + (uint64_t)j);
        draw(&m, &r, lay_random_int(&r, 1, MODES));
        assert_int_equal(lay_response_find(m.cuts, m.count, &out, &found, NULL), LAY_OK);
        for (size_t k = 0; k < m.peak_count; k++) {
            if (m.peaks[k].gain_db < 6 || orders_past(&m, m.peaks[k].hz, fmax(1.1, 1 + 3 * m.peaks[k].damping)) < 2)
                continue;
            const lay_resonance *claim = near(&out, &m.peaks[k]);
            modes++;
            hit += claim != NULL;
            if (claim) gain += fabs(claim->gain_db - m.peaks[k].gain_db);
            if (!claim && getenv("LIST_MISSES"))
                print_message("job %d: %.0f Hz %.1f %% %.1f dB, %d orders, residual %.2f\n", j, m.peaks[k].hz,
                              100 * m.peaks[k].damping, m.peaks[k].gain_db, orders_past(&m, m.peaks[k].hz, 1.12),
                              out.residual_db);
        }
        wrong += false_claims(&out, &m);
        claims += (int)out.resonance_count;
        lay_response_free(&out);
        release(&m);
    }
    print_message("[          ] %d of %d resonances found, %d of %d claims by none, gain off by %.1f dB on average\n",
                  hit, modes, wrong, claims, gain / hit);
    assert_true(hit >= 0.95 * modes);
    assert_true(wrong <= 0.02 * claims);
}

/* Levels that rise with speed are excitation: the slope comes out, the answer stays flat. */
static void a_slope_is_excitation(void **state) {
    (void)state;
    made m = {.mode_count = 0};
    lay_random r;
    lay_response out;
    bool found;
    lay_random_seed(&r, 4);
    const double orders[] = {8, 11, 17.25, 23};
    for (int k = 0; k < 4; k++) make_cut(&m, &r, orders[k], 15, 50, 60, 0.5, 0);
    assert_int_equal(lay_response_find(m.cuts, m.count, &out, &found, NULL), LAY_OK);
    assert_true(found);
    assert_int_equal(out.resonance_count, 0);
    assert_close(out.residual_db, 0.5, 0.15, 0);
    for (size_t i = 0; i < out.points; i++) assert_true(isnan(out.answer_db[i]) || fabs(out.answer_db[i]) < 1.5);
    lay_response_free(&out);
    release(&m);
}

/* One order alone proves nothing, steady runs neither. */
static void too_little_is_said(void **state) {
    (void)state;
    lay_random r;
    lay_response out;
    bool found = true;
    lay_random_seed(&r, 5);
    made one = {.modes = {{400, 0.02, 12}}, .mode_count = 1};
    make_cut(&one, &r, 15, 15, 50, 60, 0.5, 0);
    assert_int_equal(lay_response_find(one.cuts, one.count, &out, &found, NULL), LAY_OK);
    assert_false(found);
    release(&one);
    made steady = {.mode_count = 0};
    for (int k = 0; k < 6; k++) make_cut(&steady, &r, 8 + k, 30, 30.2, 1, 0.5, 0);
    found = true;
    assert_int_equal(lay_response_find(steady.cuts, steady.count, &out, &found, NULL), LAY_OK);
    assert_false(found);
    release(&steady);
    assert_int_equal(lay_response_find(NULL, 0, &out, &found, NULL), LAY_OK);
    assert_false(found);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_resonance_no_claim),
        cmocka_unit_test(resonances_are_found_where_they_are),
        cmocka_unit_test(a_slope_is_excitation),
        cmocka_unit_test(too_little_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
