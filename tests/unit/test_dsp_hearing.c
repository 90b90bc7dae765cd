#include <layshaft/dsp.h>
#include <support/close.h>
#include <support/cmocka_all.h>

#include <math.h>

/* A-weighting of IEC 61672-1, as printed for the nominal third octaves in public tables
 * (lichtbeeldgeluid.nl/geluid/tabellen); the values hold at the exact frequencies 10^(n/10) Hz. */
static void a_weighting_is_the_printed_table(void **state) {
    (void)state;
    const double from_20_hz[] = {-50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9,
                                 -8.6,  -6.6,  -4.8,  -3.2,  -1.9,  -0.8,  0.0,   0.6,   1.0,   1.2,   1.3,
                                 1.2,   1.0,   0.5,   -0.1,  -1.1,  -2.5,  -4.3,  -6.6,  -9.3};
    for (int n = 13; n <= 43; n++) assert_close(lay_a_weighting(pow(10.0, n / 10.0)), from_20_hz[n - 13], 0.051, 0);
}

static void c_weighting_is_the_printed_table(void **state) {
    (void)state;
    const struct {
        int n;
        double db;
    } rows[] = {{15, -3.0}, {18, -0.8}, {30, 0.0}, {39, -3.0}, {42, -8.5}, {43, -11.2}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_close(lay_c_weighting(pow(10.0, rows[i].n / 10.0)), rows[i].db, 0.051, 0);
}

/* Unrounded values at exact third-octave centres, from the pole formula of IEC 61672-1. */
static void a_weighting_to_a_thousandth(void **state) {
    (void)state;
    const struct {
        int n;
        double db;
    } rows[] = {{15, -39.440}, {20, -19.143}, {24, -8.630}, {27, -3.233},
                {33, 1.200},   {36, 0.970},   {39, -1.111}, {43, -9.317}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_close(lay_a_weighting(pow(10.0, rows[i].n / 10.0)), rows[i].db, 6e-4, 0);
    assert_close(lay_a_weighting(12.5), -63.584, 6e-4, 0);
    assert_close(lay_a_weighting(1000.0), 0.0, 1e-12, 0);
}

static void silence_has_a_lowest_level(void **state) {
    (void)state;
    assert_close(lay_a_weighting(0.0), -200.0, 0, 0);
    assert_close(lay_c_weighting(1e-9), -200.0, 0, 0);
    assert_close(lay_db_power(0.0), -200.0, 0, 0);
    assert_close(lay_db_power(-1.0), -200.0, 0, 0);
    assert_close(lay_db_power(1e-300), -200.0, 0, 0);
    assert_close(lay_db_power(100.0), 20.0, 1e-12, 0);
    assert_close(lay_db_to_power(-3.0), 0.501187233627272, 0, 1e-14);
    assert_true(isnan(lay_db_power(NAN)) && isnan(lay_a_weighting(NAN)));
}

/* Critical bands, neighbour bands and limits by the formulas of ECMA-418-1 (value from memory of it;
 * their continuity where the branches meet was checked). */
static void critical_bands_and_limits(void **state) {
    (void)state;
    const struct {
        double hz, width, low, high, lower, upper, tnr, pr;
    } rows[] = {
        {100, 100.72, 49.64, 150.36, 20.00, 253.77, 16.33, 19.00},
        {171.4, 102.12, 120.34, 222.46, 20.00, 329.16, 14.38, 16.66},
        {200, 102.87, 148.56, 251.44, 47.94, 359.58, 13.82, 15.99},
        {250, 104.47, 197.77, 302.23, 96.44, 413.06, 13.02, 15.02},
        {500, 117.26, 441.37, 558.63, 333.75, 686.25, 10.51, 12.01},
        {1000, 162.22, 922.18, 1084.39, 782.50, 1261.50, 8.00, 9.00},
        {2000, 300.77, 1855.26, 2156.03, 1586.00, 2519.70, 8.00, 9.00},
        {4000, 685.42, 3671.94, 4357.36, 3099.60, 5208.90, 8.00, 9.00},
        {5000, 914.02, 4563.83, 5477.85, 3831.80, 6618.30, 8.00, 9.00},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double low, high, lower, upper;
        lay_critical_band(rows[i].hz, &low, &high);
        lay_prominence_bands(rows[i].hz, &lower, &upper);
        assert_close(lay_critical_bandwidth(rows[i].hz), rows[i].width, 6e-3, 0);
        assert_close(low, rows[i].low, 6e-3, 0);
        assert_close(high, rows[i].high, 6e-3, 0);
        assert_close(lower, rows[i].lower, 6e-3, 0);
        assert_close(upper, rows[i].upper, 6e-3, 0);
        assert_close(lay_tnr_limit(rows[i].hz), rows[i].tnr, 6e-3, 0);
        assert_close(lay_pr_limit(rows[i].hz), rows[i].pr, 6e-3, 0);
    }
}

static void bands_keep_their_order_from_10_hz_up(void **state) {
    (void)state;
    for (double hz = 10.0; hz < 20000.0; hz *= 1.003) {
        double low, high, lower, upper;
        lay_critical_band(hz, &low, &high);
        lay_prominence_bands(hz, &lower, &upper);
        assert_true(0.0 <= lower && lower <= low && low < hz && hz < high && high < upper);
        if (hz > 500.0) /* the tone is the geometric centre */
            assert_close(sqrt(low * high), hz, 0, 1e-12);
    }
}

/* A tone of 60 dB in flat noise of 30 dB per hertz: worked out from the definitions of ECMA-418-1. */
static void tone_to_noise_ratio_of_a_known_mixture(void **state) {
    (void)state;
    const struct {
        double hz, tnr, pr;
    } rows[] = {
        {250, 9.810, 10.175}, {500, 9.309, 9.777}, {1000, 7.899, 8.656}, {2000, 5.218, 6.139}, {5000, 0.390, 3.106}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double low, high, lower, upper;
        double noise = lay_db_to_power(30.0), tone = lay_db_to_power(60.0);
        lay_critical_band(rows[i].hz, &low, &high);
        lay_prominence_bands(rows[i].hz, &lower, &upper);
        double width = high - low;
        assert_close(lay_db_power(tone / (noise * width)), rows[i].tnr, 6e-4, 0);
        double middle = tone + noise * width, sides = noise * (low - lower + upper - high) / 2.0;
        assert_close(lay_db_power(middle / sides), rows[i].pr, 6e-4, 0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_weighting_is_the_printed_table),
        cmocka_unit_test(c_weighting_is_the_printed_table),
        cmocka_unit_test(a_weighting_to_a_thousandth),
        cmocka_unit_test(silence_has_a_lowest_level),
        cmocka_unit_test(critical_bands_and_limits),
        cmocka_unit_test(bands_keep_their_order_from_10_hz_up),
        cmocka_unit_test(tone_to_noise_ratio_of_a_known_mixture),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
