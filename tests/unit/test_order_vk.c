/* Vold-Kalman filter: weights, gain, agreement with the sample-by-sample system, blocks without seams, bad input. */
#include <layshaft/order.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 1000.0

/* What the filter delivers, gathered. */
typedef struct gathered {
    double *sum;
    size_t frames, capacity, tracks, points;
    double complex envelope[4][4096];
    double time[4096];
} gathered;

static lay_status gather(const lay_vk_block *block, void *user, lay_error *err) {
    (void)err;
    gathered *g = user;
    assert_int_equal(block->first_frame, (int64_t)g->frames);
    assert_true(g->frames + block->frames <= g->capacity);
    if (block->sum) memcpy(g->sum + g->frames, block->sum, block->frames * sizeof *g->sum);
    g->frames += block->frames;
    for (size_t i = 0; i < block->points && g->points < 4096; i++, g->points++) {
        g->time[g->points] = block->time[i];
        for (size_t k = 0; k < g->tracks; k++) {
            const double *z = block->envelope + (i * g->tracks + k) * 2;
            g->envelope[k][g->points] = z[0] + I * z[1];
        }
    }
    return LAY_OK;
}

/* Runs the filter over x in pieces of `piece` frames. */
static void run(const lay_vk_options *options, const lay_shaft *shaft, const double *x, size_t count, size_t piece,
                gathered *out) {
    lay_vk *vk = NULL;
    memset(out, 0, sizeof *out);
    out->capacity = count;
    out->tracks = options->track_count;
    out->sum = lay_calloc(count, sizeof *out->sum);
    lay_error err = {0};
    assert_int_equal(lay_vk_new(options, shaft, gather, out, &vk, &err), LAY_OK);
    for (size_t i = 0; i < count; i += piece)
        assert_int_equal(lay_vk_feed(vk, x + i, count - i < piece ? count - i : piece, &err), LAY_OK);
    assert_int_equal(lay_vk_finish(vk, &err), LAY_OK);
    assert_int_equal(out->frames, count);
    lay_vk_free(vk);
}

/* references.md, section 4: table of r, reproduced there from the published formula for r^2. */
static void weights_are_those_published(void **state) {
    (void)state;
    assert_close(sqrt(lay_vk_weight(1, 10, 1000)), 20.487084, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(2, 10, 1000)), 652.15095, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(3, 10, 1000)), 20759.463, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(1, 1, 1000)), 204.86250, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(2, 1, 1000)), 65209.785, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(3, 1, 1000)), 2.0756928e7, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(1, 10, 48000)), 983.33960, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(2, 10, 48000)), 1.5024323e6, 0, 1e-7);
    assert_close(sqrt(lay_vk_weight(3, 10, 48000)), 2.2955475e9, 0, 1e-7);
}

/* Gain for a tone `off` Hz beside the track, dB. */
static double gain_at(int poles, double off) {
    enum { COUNT = 8000 };
    static double x[COUNT];
    static gathered g;
    lay_shaft shaft = {0};
    const lay_vk_track track = {10, 0};
    lay_vk_options o = {RATE, 1, &track, 1, poles, 10, LAY_VK_HZ, 0, false};
    assert_int_equal(lay_shaft_constant(10, (double)(COUNT - 1) / RATE, &shaft, NULL), LAY_OK);
    for (int i = 0; i < COUNT; i++) x[i] = cos(2 * LAY_PI * (100 + off) * i / RATE);
    run(&o, &shaft, x, COUNT, 777, &g);
    double sum = 0;
    size_t n = 0;
    for (size_t i = g.points / 4; i < 3 * g.points / 4; i++, n++) sum += cabs(g.envelope[0][i]);
    free(g.sum);
    lay_shaft_free(&shaft);
    return 20 * log10(sum / (double)n);
}

/* references.md, section 4: -3.0103 dB at half the bandwidth; -8.486, -17.644, -28.784 dB at the bandwidth. */
static void the_gain_is_that_of_the_poles(void **state) {
    (void)state;
    const double at_width[] = {-8.486, -17.644, -28.784};
    for (int p = 1; p <= 3; p++) {
        assert_close(gain_at(p, 0), 0, 0.001, 0);
        assert_close(gain_at(p, 5), -3.0103, 0.02, 0);
        assert_close(gain_at(p, 10), at_width[p - 1], 0.15, 0);
    }
}

/* ---- against the sample-by-sample system ---- */

/* Minimises |y - Re(x e^{i phase})|^2 + r^2 / 2 |nabla^p x|^2 for one track by conjugate gradients on real unknowns. */
static void whole_system(const double *y, const double *phase, size_t n, int p, double r2, double complex *x) {
    double complex *r = calloc(n, sizeof *r), *d = calloc(n, sizeof *d), *q = calloc(n, sizeof *q),
                   *work = calloc(n + 3, sizeof *work);
    double rho = 0;
    for (size_t i = 0; i < n; i++) {
        x[i] = 0;
        r[i] = d[i] = y[i] * cexp(I * phase[i]); /* gradient of the real part's square in (re, -im) turned back */
        r[i] = d[i] = y[i] * cexp(-I * phase[i]);
        rho += creal(r[i]) * creal(r[i]) + cimag(r[i]) * cimag(r[i]);
    }
    for (int step = 0; step < 20000 && rho > 1e-22; step++) {
        for (size_t i = 0; i < n; i++) q[i] = creal(d[i] * cexp(I * phase[i])) * cexp(-I * phase[i]);
        size_t m = n;
        memcpy(work, d, n * sizeof *work);
        for (int k = 0; k < p; k++, m--)
            for (size_t i = 0; i + 1 < m; i++) work[i] = work[i + 1] - work[i];
        for (int k = 0; k < p; k++, m++) { /* transposed differences */
            work[m] = 0;
            double complex before = 0;
            for (size_t i = 0; i <= m; i++) {
                double complex here = i < m ? work[i] : 0;
                work[i] = before - here;
                before = here;
            }
        }
        double dq = 0, next = 0;
        for (size_t i = 0; i < n; i++) {
            q[i] += 0.5 * r2 * work[i];
            dq += creal(d[i]) * creal(q[i]) + cimag(d[i]) * cimag(q[i]);
        }
        for (size_t i = 0; i < n; i++) {
            x[i] += rho / dq * d[i];
            r[i] -= rho / dq * q[i];
            next += creal(r[i]) * creal(r[i]) + cimag(r[i]) * cimag(r[i]);
        }
        for (size_t i = 0; i < n; i++) d[i] = r[i] + next / rho * d[i];
        rho = next;
    }
    free(r);
    free(d);
    free(q);
    free(work);
}

static void it_agrees_with_the_whole_system(void **state) {
    (void)state;
    enum { COUNT = 1500 };
    static double x[COUNT], phase[COUNT];
    static double complex whole[COUNT];
    static gathered g;
    lay_random random;
    lay_random_seed(&random, 3);
    lay_shaft shaft = {0};
    assert_int_equal(lay_shaft_constant(10, (double)(COUNT - 1) / RATE, &shaft, NULL), LAY_OK);
    for (int i = 0; i < COUNT; i++) {
        phase[i] = 2 * LAY_PI * 12.3 * 10 * i / RATE;
        x[i] = (1 + 0.5 * sin(2 * LAY_PI * 1.3 * i / RATE)) * cos(phase[i] + 0.4) + 0.2 * lay_random_normal(&random);
    }
    const lay_vk_track track = {12.3, 0};
    for (int p = 1; p <= 2; p++) { /* three poles do not converge sample by sample */
        lay_vk_options o = {RATE, 1, &track, 1, p, 6, LAY_VK_HZ, 0, false};
        run(&o, &shaft, x, COUNT, COUNT, &g);
        whole_system(x, phase, COUNT, p, lay_vk_weight(p, 6, RATE), whole);
        double worst = 0;
        for (int i = 0; i < COUNT; i++) worst = fmax(worst, fabs(g.sum[i] - creal(whole[i] * cexp(I * phase[i]))));
        free(g.sum);
        print_message("[          ] %d poles: worst difference %.2e\n", p, worst);
        assert_true(worst < (p == 1 ? 0.005 : 0.0002));
    }
    lay_shaft_free(&shaft);
}

/* ---- blocks ---- */

/* However it is fed, and however far apart the blocks: the same to rounding, and no seam between blocks. */
static void blocks_leave_no_seam(void **state) {
    (void)state;
    enum { COUNT = 20000 };
    static double x[COUNT];
    static gathered a, b;
    lay_random random;
    lay_random_seed(&random, 5);
    lay_shaft shaft = {0};
    assert_int_equal(lay_shaft_constant(10, (double)(COUNT - 1) / RATE, &shaft, NULL), LAY_OK);
    for (int i = 0; i < COUNT; i++) x[i] = cos(2 * LAY_PI * 123.0 * i / RATE) + 0.3 * lay_random_normal(&random);
    const lay_vk_track track = {12.3, 0};
    for (int p = 1; p <= 3; p++) {
        lay_vk_options o = {RATE, 1, &track, 1, p, 15, LAY_VK_HZ, 0, false};
        run(&o, &shaft, x, COUNT, 1, &a);
        run(&o, &shaft, x, COUNT, COUNT, &b);
        for (int i = 0; i < COUNT; i++) assert_true(fabs(a.sum[i] - b.sum[i]) < 1e-12);
        free(b.sum);
        /* the same with what lies 8 s ahead left out: nothing before is changed */
        for (int i = 12000; i < COUNT; i++) x[i] += 5;
        run(&o, &shaft, x, COUNT, COUNT, &b);
        for (int i = 12000; i < COUNT; i++) x[i] -= 5;
        double worst = 0;
        for (int i = 0; i < 11000; i++) worst = fmax(worst, fabs(a.sum[i] - b.sum[i]));
        free(a.sum);
        free(b.sum);
        assert_true(worst < 1e-6);
    }
    lay_shaft_free(&shaft);
}

/* Two stretches with a break, and silence where there is no angle. */
static void breaks_are_silent(void **state) {
    (void)state;
    enum { COUNT = 6000 };
    static double x[COUNT];
    static gathered g;
    double time[] = {0.5, 2, 3, 5}, turns[] = {0, 15, 100, 120}, hz[] = {10, 10, 10, 10};
    size_t starts[] = {0, 2};
    lay_shaft shaft = {.time = time, .turns = turns, .hz = hz, .count = 4, .segment_start = starts, .segment_count = 2};
    for (int i = 0; i < COUNT; i++) {
        double t = i / RATE;
        x[i] = t < 2.5 ? cos(2 * LAY_PI * 12 * (10 * (t - 0.5))) : cos(2 * LAY_PI * 12 * (100 + 10 * (t - 3)));
    }
    const lay_vk_track track = {12, 0};
    for (int width = 0; width < 2; width++) {
        lay_vk_options o = {RATE, 1, &track, 1, 2, width ? 0.5 : 5, width ? LAY_VK_ORDERS : LAY_VK_HZ, 0, false};
        run(&o, &shaft, x, COUNT, 500, &g);
        for (int i = 0; i < COUNT; i++) {
            double t = i / RATE;
            bool known = (t >= 0.5 && t <= 2) || (t >= 3 && t <= 5);
            assert_close(g.sum[i], known ? x[i] : 0, 1e-6, 0);
        }
        assert_true(g.points > 100);
        for (size_t i = 0; i < g.points; i++) assert_close(cabs(g.envelope[0][i]), 1, 1e-6, 0);
        free(g.sum);
    }
}

static void what_is_no_number_counts_as_nothing(void **state) {
    (void)state;
    enum { COUNT = 3000 };
    static double x[COUNT];
    static gathered g;
    lay_shaft shaft = {0};
    assert_int_equal(lay_shaft_constant(10, 3, &shaft, NULL), LAY_OK);
    for (int i = 0; i < COUNT; i++) x[i] = i % 500 == 7 ? NAN : i % 500 == 9 ? INFINITY : cos(2 * LAY_PI * 0.05 * i);
    const lay_vk_track track = {5, 0};
    lay_vk_options o = {RATE, 1, &track, 1, 2, 5, LAY_VK_HZ, 0, false};
    run(&o, &shaft, x, COUNT, COUNT, &g);
    for (int i = 0; i < COUNT; i++) assert_true(fabs(g.sum[i]) < 1.1);
    free(g.sum);
    lay_shaft_free(&shaft);
}

static void options_that_make_no_filter_are_refused(void **state) {
    (void)state;
    lay_shaft shaft = {0}, still = {0};
    assert_int_equal(lay_shaft_constant(10, 3, &shaft, NULL), LAY_OK);
    const lay_vk_track good = {5, 0}, high = {51, 0}, none = {0, 0}, broken = {NAN, 0};
    const lay_vk_options bad[] = {
        {RATE, 1, &good, 0, 2, 5, LAY_VK_HZ, 0, false}, {RATE, 1, &high, 1, 2, 5, LAY_VK_HZ, 0, false},
        {RATE, 1, &none, 1, 2, 5, LAY_VK_HZ, 0, false}, {RATE, 1, &broken, 1, 2, 5, LAY_VK_HZ, 0, false},
        {RATE, 1, &good, 1, 2, 0, LAY_VK_HZ, 0, false}, {RATE, 1, &good, 1, 2, 900, LAY_VK_HZ, 0, false},
        {RATE, 1, &good, 1, 4, 5, LAY_VK_HZ, 0, false}, {RATE, 0, &good, 1, 2, 5, LAY_VK_HZ, 0, false},
        {0, 1, &good, 1, 2, 5, LAY_VK_HZ, 0, false},    {RATE, 1, &good, 1, 2, 90, LAY_VK_ORDERS, 0, false},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        lay_vk *vk = (lay_vk *)1;
        lay_error err = {0};
        assert_int_equal(lay_vk_new(&bad[i], &shaft, gather, NULL, &vk, &err), LAY_BAD_INPUT);
        assert_null(vk);
        assert_true(strlen(err.message) > 20);
    }
    lay_vk *vk = NULL;
    const lay_vk_options fine = {RATE, 1, &good, 1, 2, 5, LAY_VK_HZ, 0, false};
    assert_int_equal(lay_vk_new(&fine, &still, gather, NULL, &vk, NULL), LAY_BAD_INPUT);
    lay_shaft_free(&shaft);
}

static lay_status refuse(const lay_vk_block *block, void *user, lay_error *err) {
    (void)block;
    (void)user;
    return lay_fail(err, LAY_IO, "full");
}

static void an_error_of_the_sink_ends_it(void **state) {
    (void)state;
    static double x[5000];
    lay_shaft shaft = {0};
    assert_int_equal(lay_shaft_constant(10, 4.9, &shaft, NULL), LAY_OK);
    const lay_vk_track track = {5, 0};
    const lay_vk_options o = {RATE, 1, &track, 1, 2, 5, LAY_VK_HZ, 0, false};
    lay_vk *vk = NULL;
    lay_error err = {0};
    assert_int_equal(lay_vk_new(&o, &shaft, refuse, NULL, &vk, &err), LAY_OK);
    lay_status status = lay_vk_feed(vk, x, 5000, &err);
    if (status == LAY_OK) status = lay_vk_finish(vk, &err);
    assert_int_equal(status, LAY_IO);
    assert_string_equal(err.message, "full");
    lay_vk_free(vk);
    lay_shaft_free(&shaft);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(weights_are_those_published),
        cmocka_unit_test(the_gain_is_that_of_the_poles),
        cmocka_unit_test(it_agrees_with_the_whole_system),
        cmocka_unit_test(blocks_leave_no_seam),
        cmocka_unit_test(breaks_are_silent),
        cmocka_unit_test(what_is_no_number_counts_as_nothing),
        cmocka_unit_test(options_that_make_no_filter_are_refused),
        cmocka_unit_test(an_error_of_the_sink_ends_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
