/* A stated rpm that is off, found from the recording itself. */
#include <layshaft/speed.h>

#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 24000.0
#define SEEDS 60

/* Lines of a two-mesh gear with its shafts, most trusted first, as a caller gives them. */
static const double orders[] = {23, 46, 69, 17.25, 34.5, 51.75, 1, 2, 3, 0.6389, 1.2778};
static const double weights[] = {1, 0.7, 0.5, 1, 0.7, 0.5, 0.5, 0.4, 0.3, 0.3, 0.2};
#define ORDERS (sizeof orders / sizeof orders[0])

typedef struct steady_run {
    double hz, drift, wander_hz, phase, noise, seconds;
    double amplitude[ORDERS];
    double foreign_hz[3], foreign[3];
} steady_run;

/* Speed hz (1 + drift sin(w t + phase)); turns is its integral. */
static double turns_at(const steady_run *r, double t) {
    double w = 2 * LAY_PI * r->wander_hz;
    return r->hz * (t - r->drift / w * (cos(w * t + r->phase) - cos(r->phase)));
}

static double hz_at(const steady_run *r, double t) {
    return r->hz * (1 + r->drift * sin(2 * LAY_PI * r->wander_hz * t + r->phase));
}

static steady_run draw(uint64_t seed) {
    lay_random g;
    lay_random_seed(&g, seed);
    steady_run r = {.hz = lay_random_between(&g, 12, 60),
                    .drift = lay_random_between(&g, 0, 0.015),
                    .wander_hz = lay_random_between(&g, 0.02, 0.08),
                    .phase = lay_random_between(&g, 0, 6),
                    .noise = lay_random_between(&g, 0.3, 1.5),
                    .seconds = 20};
    for (size_t i = 0; i < ORDERS; i++) r.amplitude[i] = pow(10, lay_random_between(&g, -1.7, -0.3));
    for (size_t i = 0; i < 3; i++) {
        r.foreign_hz[i] = lay_random_between(&g, 100, 4000);
        r.foreign[i] = pow(10, lay_random_between(&g, -1.5, -0.5));
    }
    return r;
}

static lay_status find(const steady_run *r, uint64_t seed, double low, double high, double search, lay_shaft *shaft) {
    lay_refine_options o = {.rate = RATE,
                            .stated_low_hz = low,
                            .stated_high_hz = high,
                            .search = search,
                            .orders = orders,
                            .weights = weights,
                            .order_count = ORDERS};
    lay_refine *refine = NULL;
    lay_error err = {0};
    lay_random g;
    lay_random_seed(&g, seed + 1000);
    lay_status status = lay_refine_new(&o, &refine, &err);
    for (size_t i = 0; i < (size_t)(r->seconds * RATE) && status == LAY_OK; i++) {
        double t = (double)i / RATE, turns = turns_at(r, t), x = r->noise * lay_random_normal(&g);
        for (size_t k = 0; k < ORDERS; k++)
            if (r->amplitude[k] > 0) x += r->amplitude[k] * sin(2 * LAY_PI * orders[k] * turns + (double)k);
        for (size_t k = 0; k < 3; k++) x += r->foreign[k] * sin(2 * LAY_PI * r->foreign_hz[k] * t);
        status = lay_refine_feed(refine, &x, 1, 1, &err);
    }
    if (status == LAY_OK) status = lay_refine_finish(refine, shaft, &err);
    lay_refine_free(refine);
    return status;
}

/* Root mean square of the relative error of the speed, and the relative error of its mean. */
static double speed_error(const steady_run *r, const lay_shaft *s, double *mean_error) {
    double sum = 0, bias = 0, n = 0, turns, hz;
    size_t hint = 0;
    for (double t = 0.5; t < r->seconds - 0.5; t += 0.01)
        if (lay_shaft_at(s, t, &hint, &turns, &hz)) {
            double e = hz / hz_at(r, t) - 1;
            sum += e * e;
            bias += e;
            n++;
        }
    *mean_error = fabs(bias / fmax(n, 1));
    return n > 0 ? sqrt(sum / n) : 1;
}

static void report(const char *name, double *rms, double *mean, double *confidence, size_t n, double *median_rms,
                   size_t *wrong) {
    size_t sure_and_wrong = 0;
    *wrong = 0;
    for (size_t i = 0; i < n; i++) {
        *wrong += rms[i] > 3e-3;
        sure_and_wrong += rms[i] > 3e-3 && confidence[i] > 0.7;
    }
    double c = lay_mean(confidence, n);
    *median_rms = lay_median(rms, n);
    printf("  %-36s median error %.2e rms, %.2e of the mean, 90 %% below %.2e; %zu of %zu off by 3e-3, %zu of them "
           "sure; confidence %.2f\n",
           name, *median_rms, lay_median(mean, n), lay_quantile(rms, n, 0.9), *wrong, n, sure_and_wrong, c);
}

static void wrong_stated(void **state) {
    (void)state;
    static double rms[SEEDS], mean[SEEDS], confidence[SEEDS];
    for (uint64_t seed = 0; seed < SEEDS; seed++) {
        steady_run r = draw(seed);
        lay_random g;
        lay_random_seed(&g, seed + 77);
        double stated = r.hz * (1 + lay_random_between(&g, -0.03, 0.03));
        lay_shaft s = {0};
        assert_int_equal(find(&r, seed, stated, stated, 0.06, &s), LAY_OK);
        rms[seed] = speed_error(&r, &s, &mean[seed]);
        confidence[seed] = s.confidence;
        if (getenv("VERBOSE"))
            printf("    seed %2d: %.2f Hz drift %.4f noise %.2f: %.2e conf %.2f\n", (int)seed, r.hz, r.drift, r.noise,
                   rms[seed], s.confidence);
        lay_shaft_free(&s);
    }
    double median;
    size_t wrong;
    report("stated speed up to 3 % off", rms, mean, confidence, SEEDS, &median, &wrong);
    assert_true(median < 1e-4);
    assert_true(wrong <= SEEDS / 20);
}

/* Noise and foreign tones alone: the stated speed stays and nobody is told that it was found. */
static void nothing_to_find(void **state) {
    (void)state;
    double worst = 0, highest = 0;
    size_t sure = 0;
    for (uint64_t seed = 0; seed < SEEDS; seed++) {
        steady_run r = draw(seed);
        lay_shaft s = {0};
        for (size_t k = 0; k < ORDERS; k++) r.amplitude[k] = 0;
        assert_int_equal(find(&r, seed, r.hz, r.hz, 0.06, &s), LAY_OK);
        double mean_error;
        worst = fmax(worst, speed_error(&r, &s, &mean_error));
        highest = fmax(highest, s.confidence);
        sure += s.confidence > 0.5;
        lay_shaft_free(&s);
    }
    printf("  nothing to find: largest confidence %.2f, above 0.5 in %zu of %d\n", highest, sure, SEEDS);
    assert_true(sure <= SEEDS / 20);
}

/* ---- a single mesh ---- */

#define MESH_TEETH 23.0
#define MESH_SECONDS 12.0

/* One mesh whose wheel, of 46, turns at half speed: each harmonic stands amid sidebands half a turn apart that pose as
 * the harmonic at speeds some per cent off, as on a gear bench. */
typedef struct mesh_run {
    double hz, harmonic[3], sideband; /* sidebands as a share of their harmonic */
    double foreign_hz, foreign;       /* and its harmonics, all alike */
} mesh_run;

static double mesh_sample(const mesh_run *r, double t) {
    double x = 0;
    for (int h = 1; h <= 3; h++)
        for (int s = -6; s <= 6; s++) {
            double height = r->harmonic[h - 1] * (s == 0 ? 1 : r->sideband / abs(s));
            if (height > 0) x += height * sin(2 * LAY_PI * r->hz * (h * MESH_TEETH + 0.5 * s) * t + h + 2 * s);
        }
    for (int h = 1; h <= 3; h++) x += r->foreign * sin(2 * LAY_PI * h * r->foreign_hz * t + h);
    return x;
}

static void find_mesh(const mesh_run *r, uint64_t seed, double stated, lay_shaft *out) {
    static const double lines[] = {23, 46, 69, 1, 2, 3, 0.5, 1, 1.5};
    static const double trust[] = {1, 0.5, 1.0 / 3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3};
    lay_refine_options o = {RATE, stated, stated, 0.05, lines, trust, 9};
    lay_refine *refine = NULL;
    lay_error err = {0};
    lay_random g;
    lay_random_seed(&g, seed);
    assert_int_equal(lay_refine_new(&o, &refine, &err), LAY_OK);
    for (size_t i = 0; i < (size_t)(MESH_SECONDS * RATE); i++) {
        double x = mesh_sample(r, (double)i / RATE) + lay_random_normal(&g);
        assert_int_equal(lay_refine_feed(refine, &x, 1, 1, &err), LAY_OK);
    }
    assert_int_equal(lay_refine_finish(refine, out, &err), LAY_OK);
    lay_refine_free(refine);
}

static void harmonics_of_one_mesh_suffice(void **state) {
    (void)state;
    static const double off[] = {-0.03, -0.02, -0.005, 0, 0.005, 0.02, 0.03};
    for (size_t i = 0; i < sizeof off / sizeof off[0]; i++) {
        mesh_run r = {33.3317, {1, 1, 0.3}, 0.3, 0, 0};
        lay_shaft s = {0};
        find_mesh(&r, i, r.hz * (1 + off[i]), &s);
        assert_close(s.hz[0], r.hz, 0, 2e-4);
        assert_close(s.correction, 1 / (1 + off[i]) - 1, 2e-4, 0);
        assert_true(s.confidence >= 0.6);
        lay_shaft_free(&s);
    }
}

/* One line may be anybody's, and three of a stranger that starts far from the mesh fit no speed. */
static void one_line_and_strangers_do_not(void **state) {
    (void)state;
    const mesh_run runs[] = {
        {33.3317, {1, 0, 0}, 0, 0, 0},
        {33.3317, {1, 0, 0}, 0.3, 0, 0},
        {33.3317, {1, 0, 0}, 0, 610, 0.5},
        {33.3317, {0, 0, 0}, 0, 1530, 0.5},
    };
    for (size_t i = 0; i < sizeof runs / sizeof runs[0]; i++) {
        lay_shaft s = {0};
        find_mesh(&runs[i], 50 + i, 33, &s);
        assert_close(s.hz[0], 33, 0, 1e-12);
        assert_true(s.confidence < 0.3);
        lay_shaft_free(&s);
    }
}

/* A run-up of which only the range is known. */
static void range(void **state) {
    (void)state;
    static double rms[20], mean[20], confidence[20];
    for (uint64_t seed = 0; seed < 20; seed++) {
        steady_run r = draw(seed);
        lay_shaft s = {0};
        r.drift = 0.35, r.wander_hz = 0.03, r.noise = 0.5, r.hz = 25 + (double)seed;
        assert_int_equal(find(&r, seed, r.hz * 0.6, r.hz * 1.4, 0.05, &s), LAY_OK);
        rms[seed] = speed_error(&r, &s, &mean[seed]);
        confidence[seed] = s.confidence;
        if (getenv("VERBOSE")) printf("    seed %2d: %.2e conf %.2f\n", (int)seed, rms[seed], s.confidence);
        lay_shaft_free(&s);
    }
    double median;
    size_t wrong;
    report("range of 0.6 to 1.4", rms, mean, confidence, 20, &median, &wrong);
    assert_true(median < 5e-4);
}

static void nonsense(void **state) {
    (void)state;
    lay_refine *refine = NULL;
    lay_shaft s = {0};
    lay_error err = {0};
    lay_refine_options o = {.rate = RATE, .stated_low_hz = 0, .stated_high_hz = 30, .search = 0.06};
    assert_int_equal(lay_refine_new(&o, &refine, &err), LAY_BAD_INPUT);
    o.stated_low_hz = 40;
    assert_int_equal(lay_refine_new(&o, &refine, &err), LAY_BAD_INPUT);
    o.stated_low_hz = o.stated_high_hz = 30;
    assert_int_equal(lay_refine_new(&o, &refine, &err), LAY_OK);
    for (int i = 0; i < 48000; i++) {
        double x = i % 3 ? NAN : INFINITY;
        assert_int_equal(lay_refine_feed(refine, &x, 1, 1, &err), LAY_OK);
    }
    assert_int_equal(lay_refine_finish(refine, &s, &err), LAY_OK);
    assert_close(s.hz[0], 30, 0, 1e-12);
    assert_true(s.confidence < 0.4);
    lay_shaft_free(&s);
    lay_refine_free(refine);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(wrong_stated),
        cmocka_unit_test(nothing_to_find),
        cmocka_unit_test(harmonics_of_one_mesh_suffice),
        cmocka_unit_test(one_line_and_strangers_do_not),
        cmocka_unit_test(range),
        cmocka_unit_test(nonsense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
