/* Interpolation at random places: tones come back, what must be filtered is gone. */
#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>

#define N 4000

static double frames[3 * N];
static lay_random r;
static lay_sinc *sinc;

static int make(void **state) {
    (void)state;
    lay_random_seed(&r, 21);
    return lay_sinc_new(16, 9.0, &sinc, NULL) == LAY_OK ? 0 : -1;
}

static int drop(void **state) {
    (void)state;
    lay_sinc_free(sinc);
    return 0;
}

/* `nyquist`: frequency as a fraction of the Nyquist rate. */
static void fill_tone(size_t stride, double nyquist, double phase) {
    for (size_t i = 0; i < N; i++)
        for (size_t c = 0; c < stride; c++)
            frames[i * stride + c] = sin(LAY_PI * nyquist * (double)i + phase + (double)c);
}

/* Largest deviation from `gain` times the tone, in dB below its amplitude. */
static double worst_db(size_t stride, double nyquist, double gain, double cutoff) {
    double phase = lay_random_between(&r, 0.0, 6.0), worst = 0.0;
    fill_tone(stride, nyquist, phase);
    size_t channel = stride - 1;
    double margin = (double)lay_sinc_reach(sinc, cutoff);
    for (int i = 0; i < 500; i++) {
        double at = lay_random_between(&r, margin, N - 1 - margin);
        double y = lay_sinc_at(sinc, frames + channel, N, stride, at, cutoff);
        double expected = gain * sin(LAY_PI * nyquist * at + phase + (double)channel);
        worst = fmax(worst, fabs(y - expected));
    }
    return 20.0 * log10(worst);
}

static void tones_below_0_8_nyquist_come_back_within_80_db(void **state) {
    (void)state;
    for (size_t stride = 1; stride <= 3; stride++)
        for (int i = 0; i < 40; i++) {
            double nyquist = lay_random_between(&r, 0.0, 0.8);
            double db = worst_db(stride, nyquist, 1.0, 1.0);
            if (!(db < -80.0)) fail_msg("%.3f of Nyquist, stride %zu: error %.1f dB", nyquist, stride, db);
        }
}

static void a_stretched_kernel_passes_low_tones_and_removes_high_ones(void **state) {
    (void)state;
    for (int i = 0; i < 60; i++) {
        double cutoff = lay_random_between(&r, 0.05, 0.99);
        /* the transition reaches from 0.8 to 1.2 of the cutoff */
        double low = cutoff * lay_random_between(&r, 0.0, 0.8);
        double high = lay_random_between(&r, 1.2 * cutoff, 2.0 - 1.2 * cutoff);
        size_t stride = (size_t)lay_random_int(&r, 1, 3);
        double kept = worst_db(stride, low, 1.0, cutoff);
        if (!(kept < -80.0)) fail_msg("cutoff %.3f: a tone at %.3f is off by %.1f dB", cutoff, low, kept);
        if (1.2 * cutoff >= 1.0) continue;
        double left = worst_db(stride, fmin(high, 1.0), 0.0, cutoff);
        if (!(left < -80.0)) fail_msg("cutoff %.3f: a tone at %.3f is left with %.1f dB", cutoff, high, left);
    }
}

/* Half the amplitude at the cutoff: the symmetry of the window method (Kaiser 1974). */
static void the_cutoff_is_where_6_db_are_lost(void **state) {
    (void)state;
    assert_true(worst_db(1, 0.3, 0.5, 0.3) < -60.0);
}

static void whole_positions_give_the_samples(void **state) {
    (void)state;
    for (size_t i = 0; i < N; i++) frames[i] = lay_random_normal(&r);
    for (size_t i = 0; i < N; i += 7)
        assert_close(lay_sinc_at(sinc, frames, N, 1, (double)i, 1.0), frames[i], 1e-14, 0);
}

/* The two roads, by rows and along the kernel, meet at full bandwidth, at the ends of the data too. */
static void both_tables_agree(void **state) {
    (void)state;
    for (size_t i = 0; i < N; i++) frames[i] = lay_random_normal(&r);
    for (int i = 0; i < 2000; i++) {
        double at = lay_random_between(&r, -20.0, 40.0);
        double whole = lay_sinc_at(sinc, frames, 20, 1, at, 1.0);
        double almost = lay_sinc_at(sinc, frames, 20, 1, at, 1.0 - 1e-9);
        assert_close(almost, whole, 1e-6, 0);
    }
}

static void outside_counts_as_silence(void **state) {
    (void)state;
    fill_tone(1, 0.1, 1.0);
    const double far[] = {-1e300, -1e6, -17.5, N + 17.5, 1e18, 1e300, NAN, INFINITY, -INFINITY};
    const double cutoffs[] = {1.0, 0.999, 0.9995};
    for (size_t i = 0; i < sizeof far / sizeof *far; i++)
        for (size_t c = 0; c < 3; c++) assert_close(lay_sinc_at(sinc, frames, N, 1, far[i], cutoffs[c]), 0.0, 0, 0);
    assert_close(lay_sinc_at(sinc, frames, 0, 1, 0.0, 1.0), 0.0, 0, 0);
    assert_close(lay_sinc_at(sinc, frames, 0, 1, 0.0, 0.5), 0.0, 0, 0);
}

static void senseless_cutoffs_are_limited(void **state) {
    (void)state;
    const double cutoffs[] = {0.0, -1.0, 1e-300, NAN, INFINITY, 2.0};
    fill_tone(1, 0.1, 1.0);
    for (size_t i = 0; i < 6; i++) {
        assert_true(lay_sinc_reach(sinc, cutoffs[i]) >= 16);
        assert_true(lay_sinc_reach(sinc, cutoffs[i]) <= 16000001);
        assert_true(isfinite(lay_sinc_at(sinc, frames, N, 1, 2000.3, cutoffs[i])));
    }
}

/* Samples beyond the reach have no influence. */
static void the_reach_is_enough(void **state) {
    (void)state;
    for (int i = 0; i < 200; i++) {
        double cutoff = lay_random_between(&r, 0.02, 1.0), at = 2000.0 + lay_random_unit(&r);
        if (i % 4 == 0) cutoff = 1.0;
        size_t reach = lay_sinc_reach(sinc, cutoff);
        for (size_t k = 0; k < N; k++) frames[k] = k + reach < 2000 || k > 2001 + reach ? 1e6 : 0.0;
        assert_close(lay_sinc_at(sinc, frames, N, 1, at, cutoff), 0.0, 0, 0);
    }
}

static void impossible_kernels_are_refused(void **state) {
    (void)state;
    lay_sinc *none = sinc;
    lay_error err;
    assert_int_equal(lay_sinc_new(0, 9.0, &none, &err), LAY_BAD_INPUT);
    assert_null(none);
    assert_int_equal(lay_sinc_new(16, NAN, &none, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_sinc_new(1 << 30, 9.0, &none, &err), LAY_BAD_INPUT);
    lay_sinc_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tones_below_0_8_nyquist_come_back_within_80_db),
        cmocka_unit_test(a_stretched_kernel_passes_low_tones_and_removes_high_ones),
        cmocka_unit_test(the_cutoff_is_where_6_db_are_lost),
        cmocka_unit_test(whole_positions_give_the_samples),
        cmocka_unit_test(both_tables_agree),
        cmocka_unit_test(outside_counts_as_silence),
        cmocka_unit_test(senseless_cutoffs_are_limited),
        cmocka_unit_test(the_reach_is_enough),
        cmocka_unit_test(impossible_kernels_are_refused),
    };
    return cmocka_run_group_tests(tests, make, drop);
}
