/* Lines: how often noise is taken for one, and what channels and run-ups do to levels. */
#include <layshaft/order.h>

#include "support/cmocka_all.h"
#include "support/close.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 12000.0
#define SEEDS 200

typedef struct source {
    uint64_t seed;
    int channels;
    double low_hz, high_hz, seconds, order, amplitude, noise, colour; /* colour: pole of a first-order filter */
} source;

static lay_shaft run_up(const source *s) {
    lay_shaft out = {.count = 101, .segment_count = 1, .confidence = 1};
    out.time = lay_calloc(101, sizeof(double));
    out.turns = lay_calloc(101, sizeof(double));
    out.hz = lay_calloc(101, sizeof(double));
    out.segment_start = lay_calloc(1, sizeof(size_t));
    for (int i = 0; i <= 100; i++) {
        double t = s->seconds * i / 100, slope = (s->high_hz - s->low_hz) / s->seconds;
        out.time[i] = t;
        out.turns[i] = s->low_hz * t + 0.5 * slope * t * t;
        out.hz[i] = s->low_hz + slope * t;
    }
    return out;
}

static lay_status analyse(const source *s, lay_order_options *o, size_t fed, lay_order_spectrum *out, lay_error *err) {
    lay_shaft shaft = run_up(s);
    lay_order *order = NULL;
    lay_random r;
    double low[4] = {0}, frame[4];
    lay_random_seed(&r, s->seed);
    o->rate = RATE;
    o->channels = s->channels;
    o->window = LAY_WINDOW_HANN;
    o->overlap = 0.5;
    lay_status status = lay_order_new(o, &shaft, &order, err);
    for (size_t i = 0; i < fed && status == LAY_OK; i++) {
        double t = (double)i / RATE, turns = s->low_hz * t + 0.5 * (s->high_hz - s->low_hz) / s->seconds * t * t;
        for (int c = 0; c < s->channels; c++) {
            low[c] = s->colour * low[c] + s->noise * lay_random_normal(&r);
            frame[c] = low[c] + s->amplitude * sin(2 * LAY_PI * s->order * turns);
        }
        status = lay_order_feed(order, frame, 1, err);
    }
    if (status == LAY_OK) status = lay_order_finish(order, out, err);
    lay_order_free(order);
    lay_shaft_free(&shaft);
    return status;
}

/* Lines of significance 2 or more in noise: at most one run in a hundred by its meaning; 200 runs give 2, and more than
 * 8 once in 4000 (Poisson). */
static void noise_makes_no_lines(void **state) {
    (void)state;
    const double colours[] = {0, 0.9};
    for (int k = 0; k < 2; k++) {
        int runs_with = 0;
        for (uint64_t seed = 0; seed < SEEDS; seed++) {
            source s = {.seed = seed,
                        .channels = 1,
                        .low_hz = 25,
                        .high_hz = 25,
                        .seconds = 12,
                        .noise = 1,
                        .colour = colours[k]};
            lay_order_options o = {.max_order = 100, .resolution = 1.0 / 32, .speed_classes = 1};
            lay_order_spectrum spectrum = {0};
            lay_line *lines = NULL;
            size_t count = 0;
            assert_int_equal(analyse(&s, &o, (size_t)(s.seconds * RATE), &spectrum, NULL), LAY_OK);
            assert_int_equal(lay_lines_find(&spectrum, 2, &lines, &count, NULL), LAY_OK);
            runs_with += count > 0;
            free(lines);
            lay_order_spectrum_free(&spectrum);
        }
        printf("  noise, pole %.1f: lines of significance 2 in %d of %d runs\n", colours[k], runs_with, SEEDS);
        assert_true(runs_with <= 8);
    }
}

/* A line well above the floor is found, once, with its level. */
static void a_line_is_found(void **state) {
    (void)state;
    source s = {.seed = 4,
                .channels = 1,
                .low_hz = 20,
                .high_hz = 35,
                .seconds = 15,
                .order = 23.017,
                .amplitude = 0.2,
                .noise = 1};
    lay_order_options o = {.max_order = 100, .resolution = 1.0 / 64, .speed_classes = 4};
    lay_order_spectrum spectrum = {0};
    lay_line *lines = NULL;
    size_t count = 0;
    assert_int_equal(analyse(&s, &o, (size_t)(s.seconds * RATE), &spectrum, NULL), LAY_OK);
    assert_int_equal(lay_lines_find(&spectrum, 3, &lines, &count, NULL), LAY_OK);
    assert_int_equal(count, 1);
    assert_close(lines[0].order, 23.017, 4 * lines[0].order_sd, 0);
    assert_close(lay_db_power(lines[0].power / 0.02), 0, 4 * lines[0].level_sd_db, 0);
    free(lines);
    lay_order_spectrum_free(&spectrum);
}

/* Channels add up by power, and averages count them. */
static void channels_add(void **state) {
    (void)state;
    double power[3], averages[3];
    for (int channels = 1; channels <= 2; channels++) {
        source s = {.seed = 5,
                    .channels = channels,
                    .low_hz = 25,
                    .high_hz = 25,
                    .seconds = 12,
                    .order = 10.5,
                    .amplitude = 2,
                    .noise = 0.1};
        lay_order_options o = {.max_order = 60, .resolution = 1.0 / 32, .speed_classes = 1};
        lay_order_spectrum spectrum = {0};
        lay_line line;
        assert_int_equal(analyse(&s, &o, (size_t)(s.seconds * RATE), &spectrum, NULL), LAY_OK);
        lay_line_at(&spectrum, 10.5, 0.05, &line);
        power[channels] = line.power;
        averages[channels] = spectrum.averages;
        lay_order_spectrum_free(&spectrum);
    }
    assert_close(power[1], 2, 0, 0.01);
    assert_close(power[2], 4, 0, 0.01);
    assert_close(averages[2], 2 * averages[1], 0, 0.05);
}

/* In a row of the map a bin counts only while it lies below Nyquist. */
static void rows_below_nyquist(void **state) {
    (void)state;
    source s = {.seed = 6,
                .channels = 1,
                .low_hz = 10,
                .high_hz = 100,
                .seconds = 20,
                .order = 80,
                .amplitude = 1,
                .noise = 0.01};
    lay_order_options o = {.max_order = 100, .resolution = 1.0 / 32, .speed_classes = 6};
    lay_order_spectrum spectrum = {0};
    assert_int_equal(analyse(&s, &o, (size_t)(s.seconds * RATE), &spectrum, NULL), LAY_OK);
    size_t bin = (size_t)lround(80 / spectrum.step);
    for (size_t c = 0; c < spectrum.classes; c++) {
        double power = spectrum.map[c * spectrum.bins + bin];
        printf("  row at %.1f turns/s: top order %.1f, order 80 stands at %.4f\n", spectrum.class_hz[c],
               spectrum.top_order[c], power);
        if (spectrum.class_segments[c] > 0 && spectrum.top_order[c] > 81) assert_close(power, 0.5, 0, 0.05);
        assert_true(spectrum.top_order[c] * spectrum.class_hz[c] < RATE / 2 || spectrum.class_segments[c] < 1);
    }
    assert_close(spectrum.power[bin], 0.5, 0, 0.05);
    lay_order_spectrum_free(&spectrum);
}

/* A recording shorter than its shaft: the segment is halved until one fits. */
static void short_recording(void **state) {
    (void)state;
    source s = {.seed = 7,
                .channels = 1,
                .low_hz = 25,
                .high_hz = 25,
                .seconds = 60,
                .order = 10,
                .amplitude = 1,
                .noise = 0.01};
    lay_order_options o = {.max_order = 60, .resolution = 1.0 / 64, .speed_classes = 1};
    lay_order_spectrum spectrum = {0};
    lay_error err = {0};
    lay_line line;
    assert_int_equal(analyse(&s, &o, (size_t)(1.0 * RATE), &spectrum, &err), LAY_OK); /* 25 of the wanted 64 turns */
    assert_close(spectrum.step, 1.0 / 16, 1e-12, 0);
    lay_line_at(&spectrum, 10, 0.1, &line);
    assert_close(line.power, 0.5, 0, 0.03);
    lay_order_spectrum_free(&spectrum);
    assert_int_equal(analyse(&s, &o, (size_t)(0.2 * RATE), &spectrum, &err), LAY_BAD_INPUT);
    assert_null(spectrum.power);
}

/* The floor of a constant-law periodogram is its mean, with dense lines too. */
static void floor_under_families(void **state) {
    (void)state;
    enum { N = 6400 };
    static double power[N], level[N];
    lay_random r;
    const double averages[] = {4, 30, 400};
    for (int k = 0; k < 3; k++) {
        lay_random_seed(&r, 8);
        for (int i = 0; i < N; i++) {
            double sum = 0;
            for (int j = 0; j < (int)averages[k]; j++) sum -= log(1 - lay_random_unit(&r));
            power[i] = sum / averages[k] * pow(10, -i / 3200.0); /* slopes by 20 dB */
            if (i % 32 < 5) power[i] += 300;                     /* half-order family, Hann lobes */
        }
        assert_int_equal(lay_floor_estimate(power, N, 385, averages[k], level, NULL), LAY_OK);
        double bias = 0;
        for (int i = 0; i < N; i++) bias += lay_db_power(level[i] / pow(10, -i / 3200.0)) / N;
        printf("  floor under a family of lines, %g averages: %.3f dB off\n", averages[k], bias);
        assert_close(bias, 0, 0.35, 0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_makes_no_lines), cmocka_unit_test(a_line_is_found),
        cmocka_unit_test(channels_add),         cmocka_unit_test(rows_below_nyquist),
        cmocka_unit_test(short_recording),      cmocka_unit_test(floor_under_families),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
