/* Orders followed through analytic sweeps: level within 0.1 dB and phase within 2 degrees, neighbours below -40 dB. */
#include <layshaft/order.h>

#include "support/cmocka_all.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TRACKS 4
#define POINTS 20000

typedef struct sweep {
    double rate, from_hz, to_hz, seconds;
} sweep;

static double turns_at(const sweep *s, double t) {
    return s->from_hz * t + 0.5 * (s->to_hz - s->from_hz) / s->seconds * t * t;
}

static double hz_at(const sweep *s, double t) {
    return s->from_hz + (s->to_hz - s->from_hz) / s->seconds * t;
}

/* A shaft that the cubic between knots reproduces exactly. Free with lay_shaft_free. */
static lay_shaft shaft_of(const sweep *s) {
    size_t count = 101;
    lay_shaft shaft = {.count = count, .segment_count = 1};
    shaft.time = lay_calloc(count, sizeof(double));
    shaft.turns = lay_calloc(count, sizeof(double));
    shaft.hz = lay_calloc(count, sizeof(double));
    shaft.segment_start = lay_calloc(1, sizeof(size_t));
    for (size_t i = 0; i < count; i++) {
        shaft.time[i] = s->seconds * (double)i / (double)(count - 1);
        shaft.turns[i] = turns_at(s, shaft.time[i]);
        shaft.hz[i] = hz_at(s, shaft.time[i]);
    }
    return shaft;
}

typedef struct followed {
    size_t tracks, points;
    double time[POINTS], hz[POINTS];
    double complex z[TRACKS][POINTS];
} followed;

static lay_status gather(const lay_vk_block *block, void *user, lay_error *err) {
    (void)err;
    followed *f = user;
    for (size_t i = 0; i < block->points && f->points < POINTS; i++, f->points++) {
        f->time[f->points] = block->time[i];
        f->hz[f->points] = block->hz[i];
        for (size_t k = 0; k < f->tracks; k++)
            f->z[k][f->points] =
                block->envelope[(i * f->tracks + k) * 2] + I * block->envelope[(i * f->tracks + k) * 2 + 1];
    }
    return LAY_OK;
}

/* The case answers near `hz` with 5 % of critical damping. */
static double complex answer(double f, double hz) {
    double u = f / hz;
    return 1 / (1 - u * u + 2 * I * 0.05 * u);
}

/* One order or fixed tone of a signal. */
typedef struct part {
    double order, hz, amplitude, phase, resonance_hz;
} part;

static double complex part_envelope(const sweep *s, const part *p, double t) {
    double f = p->order * hz_at(s, t) + p->hz;
    double complex z = p->amplitude * cexp(I * p->phase);
    return p->resonance_hz > 0 ? z * answer(f, p->resonance_hz) : z;
}

static double *signal_of(const sweep *s, const part *parts, size_t count, size_t *frames) {
    *frames = (size_t)(s->seconds * s->rate);
    double *x = lay_calloc(*frames, sizeof *x);
    for (size_t i = 0; i < *frames; i++) {
        double t = (double)i / s->rate;
        for (size_t k = 0; k < count; k++) {
            double phase = 2 * LAY_PI * (parts[k].order * turns_at(s, t) + parts[k].hz * t);
            x[i] += creal(part_envelope(s, &parts[k], t) * cexp(I * phase));
        }
    }
    return x;
}

static void follow(const sweep *s, const part *parts, size_t count, const lay_vk_options *options, followed *out) {
    lay_shaft shaft = shaft_of(s);
    size_t frames;
    double *x = signal_of(s, parts, count, &frames);
    lay_vk *vk = NULL;
    memset(out, 0, sizeof *out);
    out->tracks = options->track_count;
    assert_int_equal(lay_vk_new(options, &shaft, gather, out, &vk, NULL), LAY_OK);
    assert_int_equal(lay_vk_feed(vk, x, frames, NULL), LAY_OK);
    assert_int_equal(lay_vk_finish(vk, NULL), LAY_OK);
    lay_vk_free(vk);
    lay_shaft_free(&shaft);
    free(x);
}

typedef struct worst {
    double db, deg;
} worst;

/* Largest errors of track `k` against the part it follows, `edge` seconds from either end. */
static worst compare(const sweep *s, const followed *f, size_t k, const part *p, double edge) {
    worst w = {0, 0};
    for (size_t i = 0; i < f->points; i++) {
        if (f->time[i] < edge || f->time[i] > s->seconds - edge) continue;
        double complex ratio = f->z[k][i] / part_envelope(s, p, f->time[i]);
        w.db = fmax(w.db, fabs(20 * log10(cabs(ratio))));
        w.deg = fmax(w.deg, fabs(carg(ratio)) * 180 / LAY_PI);
    }
    return w;
}

static void an_order_of_a_fast_sweep(void **state) {
    (void)state;
    static followed f;
    const sweep s = {16000, 10, 100, 10};
    const part p = {34.5, 0, 0.7, 1.1, 0};
    const lay_vk_track track = {34.5, 0};
    for (int poles = 1; poles <= 3; poles++)
        for (int width = 0; width < 2; width++) {
            lay_vk_options o = {s.rate, 1, &track, 1, poles, width ? 0.2 : 4, width ? LAY_VK_ORDERS : LAY_VK_HZ, 0, false};
            follow(&s, &p, 1, &o, &f);
            assert_true(f.points > 200);
            worst w = compare(&s, &f, 0, &p, 0);
            print_message("[          ] %d poles: %.5f dB, %.4f deg\n", poles, w.db, w.deg);
            assert_true(w.db < 0.1 && w.deg < 2);
        }
}

/* Two orders half an order apart pass a lightly damped resonance, as neighbours 5 to 25 Hz apart. */
static void neighbours_that_cross_a_resonance(void **state) {
    (void)state;
    static followed f;
    const sweep s = {8000, 16.7, 50, 20};
    const part parts[] = {{10, 0, 1, 0.3, 350}, {10.5, 0, 0.5, 2, 350}};
    const lay_vk_track tracks[] = {{10, 0}, {10.5, 0}};
    const lay_vk_options o = {s.rate, 1, tracks, 2, 2, 4, LAY_VK_HZ, 0, false};
    follow(&s, parts, 2, &o, &f);
    for (size_t k = 0; k < 2; k++) {
        worst w = compare(&s, &f, k, &parts[k], 0.3);
        print_message("[          ] order %.1f: %.4f dB, %.3f deg\n", parts[k].order, w.db, w.deg);
        assert_true(w.db < 0.1 && w.deg < 2);
    }
    follow(&s, parts, 1, &o, &f); /* only the first is there */
    double most = 0;
    for (size_t i = 0; i < f.points; i++)
        if (f.time[i] > 0.3 && f.time[i] < s.seconds - 0.3) most = fmax(most, cabs(f.z[1][i]) / cabs(f.z[0][i]));
    print_message("[          ] cross-talk %.1f dB\n", 20 * log10(most));
    assert_true(20 * log10(most) < -40);
}

/* An order runs through a hum that is fixed in Hz and 20 dB louder. */
static void an_order_crosses_a_fixed_tone(void **state) {
    (void)state;
    static followed f;
    const sweep s = {8000, 20, 40, 20};
    const part parts[] = {{10, 0, 0.1, 0.3, 0}, {0, 300, 1, 2, 0}};
    const lay_vk_track tracks[] = {{10, 0}, {0, 300}};
    const lay_vk_options o = {s.rate, 1, tracks, 2, 2, 2, LAY_VK_HZ, 0, false};
    follow(&s, parts, 2, &o, &f);
    worst w = compare(&s, &f, 0, &parts[0], 0.5);
    print_message("[          ] %.4f dB, %.3f deg\n", w.db, w.deg);
    assert_true(w.db < 0.1 && w.deg < 2);
}

/* Above half the rate an order is not there; nothing is invented and the rest is not disturbed. */
static void an_order_leaves_the_band(void **state) {
    (void)state;
    static followed f;
    const sweep s = {2000, 10, 40, 10};
    const part p = {40, 0, 1, 0.5, 0};
    const lay_vk_track track = {40, 0};
    const lay_vk_options o = {s.rate, 1, &track, 1, 2, 3, LAY_VK_HZ, 0, false};
    follow(&s, &p, 1, &o, &f);
    for (size_t i = 0; i < f.points; i++) {
        double hz = 40 * f.hz[i];
        if (hz >= 1000) assert_true(cabs(f.z[0][i]) == 0);
        if (hz < 980 && hz > 410) assert_true(fabs(cabs(f.z[0][i]) - 1) < 0.01);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_order_of_a_fast_sweep),
        cmocka_unit_test(neighbours_that_cross_a_resonance),
        cmocka_unit_test(an_order_crosses_a_fixed_tone),
        cmocka_unit_test(an_order_leaves_the_band),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
