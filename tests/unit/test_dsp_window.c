#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>
#include <string.h>

#define N 2048

static double w[N];

/* Equivalent noise bandwidth and overlap correlations of periodic windows: Heinzel, Ruediger and
 * Schilling 2002, tables of appendix C and D (ENBW), Harris 1978, table 1; recomputed with N = 2048. */
static const struct {
    lay_window window;
    double enbw, half, three_quarters;
} published[] = {
    {LAY_WINDOW_RECTANGULAR, 1.0, 0.5, 0.75},
    {LAY_WINDOW_HANN, 1.5, 0.1667, 0.6592},
    {LAY_WINDOW_BLACKMAN_HARRIS, 2.0044, 0.0376, 0.4600},
    {LAY_WINDOW_FLATTOP_HFT95, 3.8112, -0.014, 0.039},
};

static void bandwidths_and_overlaps_are_the_published_ones(void **state) {
    (void)state;
    for (size_t i = 0; i < LAY_WINDOW_COUNT; i++) {
        double digits = published[i].window == LAY_WINDOW_FLATTOP_HFT95 ? 6e-4 : 6e-5;
        lay_window_fill(published[i].window, w, N);
        assert_close(lay_window_enbw(w, N), published[i].enbw, 6e-5, 0);
        assert_close(lay_window_overlap_correlation(w, N, N / 2), published[i].half, digits, 0);
        assert_close(lay_window_overlap_correlation(w, N, N / 4), published[i].three_quarters, digits, 0);
        assert_close(lay_window_overlap_correlation(w, N, 0), 1.0, 1e-12, 0);
        assert_close(lay_window_overlap_correlation(w, N, N), 0.0, 0, 0);
    }
}

/* Level in dB, relative to the centre of the main lobe, at `bins` from it. */
static double response_db(double bins) {
    double re = 0.0, im = 0.0, sum = 0.0;
    for (size_t i = 0; i < N; i++) {
        double angle = 2.0 * LAY_PI * bins * (double)i / N;
        re += w[i] * cos(angle);
        im += w[i] * sin(angle);
        sum += w[i];
    }
    return 20.0 * log10(hypot(re, im) / sum);
}

/* Largest amplitude error, half a bin off the line, and highest side lobe: the same tables. */
static void a_tone_between_bins_loses_what_is_published(void **state) {
    (void)state;
    const struct {
        lay_window window;
        double error_db, side_lobe_db, first_null;
    } rows[] = {
        {LAY_WINDOW_RECTANGULAR, -3.9224, -13.3, 1},
        {LAY_WINDOW_HANN, -1.4236, -31.5, 2},
        {LAY_WINDOW_BLACKMAN_HARRIS, -0.8256, -92.0, 4},
        {LAY_WINDOW_FLATTOP_HFT95, 0.0044, -95.0, 5},
    };
    for (size_t i = 0; i < 4; i++) {
        lay_window_fill(rows[i].window, w, N);
        double worst = 0.0, lobe = -300.0;
        for (int k = 0; k <= 50; k++) {
            double db = response_db(k / 100.0);
            if (fabs(db) > fabs(worst)) worst = db;
        }
        assert_close(worst, rows[i].error_db, 1e-4, 0);
        for (double bins = rows[i].first_null; bins < rows[i].first_null + 8; bins += 0.03)
            lobe = fmax(lobe, response_db(bins));
        assert_close(lobe, rows[i].side_lobe_db, 0.15, 0);
    }
}

/* Welch 1967 with the overlap correlations of the Hann window, worked out beside the tables above. */
static void overlapping_averages_count_less(void **state) {
    (void)state;
    lay_window_fill(LAY_WINDOW_HANN, w, N);
    assert_close(lay_welch_effective(w, N, N / 2, 16), 15.208, 6e-4, 0);
    assert_close(lay_welch_effective(w, N, N / 2, 64), 60.681, 6e-4, 0);
    assert_close(lay_welch_effective(w, N, N / 4, 64), 33.520, 6e-4, 0);
    assert_close(lay_welch_effective(w, N, N, 64), 64.0, 1e-12, 0);
    assert_close(lay_welch_effective(w, N, N / 2, 1), 1.0, 1e-12, 0);
    assert_close(lay_welch_effective(w, N, N / 2, 0), 0.0, 0, 0);
    assert_close(lay_welch_effective(w, N, 0, 10), 1.0, 1e-9, 0);
    /* long records, 50 %: 1.8947 times the number of segments without overlap */
    assert_close(lay_welch_effective(w, N, N / 2, 100001) / 50000.5, 1.8947, 1e-4, 0);
}

static void every_window_has_a_name(void **state) {
    (void)state;
    for (int i = 0; i < LAY_WINDOW_COUNT; i++) assert_true(strlen(lay_window_name((lay_window)i)) > 3);
    lay_window_fill(LAY_WINDOW_HANN, w, 1);
    lay_window_fill(LAY_WINDOW_HANN, w, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bandwidths_and_overlaps_are_the_published_ones),
        cmocka_unit_test(a_tone_between_bins_loses_what_is_published),
        cmocka_unit_test(overlapping_averages_count_less),
        cmocka_unit_test(every_window_has_a_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
