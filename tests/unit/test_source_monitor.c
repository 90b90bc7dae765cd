/* Parts watched live, against tones of known level: the level, how soon a change shows, and the speed however it is
 * known. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 16000, CHANNELS = 2, BLOCK = 1600 };
#define HZ 35.0
#define ORDER 17.25 /* of the third pair */

static lay_unit *unit;

/* Channel 1: the mesh with two harmonics in noise; channel 2: a pulse per turn. */
typedef struct scene {
    double turns, t, hz, slope; /* turns/s, and turns/s per s */
    double rms[3];
    lay_random random;
} scene;

static void play(scene *s, lay_monitor *m, double seconds) {
    double x[BLOCK * CHANNELS];
    for (double left = seconds; left > 0.5 / RATE; left -= (double)BLOCK / RATE) {
        for (int i = 0; i < BLOCK; i++) {
            double y = 0.01 * lay_random_normal(&s->random);
            for (int h = 1; h <= 3; h++) y += s->rms[h - 1] * sqrt(2) * sin(2 * LAY_PI * h * ORDER * s->turns);
            x[i * CHANNELS] = y;
            x[i * CHANNELS + 1] = s->turns - floor(s->turns) < 0.1 ? 0.8 : 0;
            s->hz += s->slope / RATE;
            s->turns += s->hz / RATE;
        }
        lay_monitor_feed(m, x, BLOCK);
    }
}

static scene usual(void) {
    scene s = {.hz = HZ, .rms = {0.1, 0.03, 0.01}};
    lay_random_seed(&s.random, 3);
    return s;
}

static int first_channel[] = {1};

static lay_run_spec row(bool tach, double low, double high) {
    return (lay_run_spec){.file = BORROWED(""),
                          .path = BORROWED(""),
                          .gear = BORROWED("3"),
                          .tach_channel = tach ? 2 : 0,
                          .channels = first_channel,
                          .channel_count = 1,
                          .pulses_per_rev = 1,
                          .tach_on = BORROWED(""),
                          .rpm_log = BORROWED(""),
                          .full_scale = 1,
                          .rpm_low = low,
                          .rpm_high = high};
}

static lay_monitor *monitor_of(const lay_run_spec *spec) {
    lay_monitor *m = NULL;
    lay_error err = {0};
    const lay_monitor_options o = {
        .unit = unit, .gear = lay_unit_gear(unit, "3"), .spec = spec, .rate = RATE, .channels = CHANNELS};
    if (lay_monitor_new(&o, &m, &err) != LAY_OK) fail_msg("%s", err.message);
    return m;
}

static lay_monitor_view look(lay_monitor *m) {
    lay_monitor_view view;
    lay_error err = {0};
    if (lay_monitor_look(m, &view, &err) != LAY_OK) fail_msg("%s", err.message);
    return view;
}

static const lay_monitor_row *row_of(const lay_monitor_view *v, const char *name) {
    for (size_t i = 0; i < v->count; i++)
        if (strcmp(v->rows[i].part->name, name) == 0) return &v->rows[i];
    fail_msg("no row for %s", name);
    return NULL;
}

static double level(const lay_monitor_view *v, const char *name) {
    return 10 * log10(row_of(v, name)->power);
}

#define SAID_DB (10 * log10(0.01 + 0.0009 + 0.0001))

static void the_level_is_that_of_the_tones(void **state) {
    (void)state;
    const lay_run_spec specs[] = {row(true, 0, 0), row(false, 60 * HZ, 60 * HZ), row(false, 61.5 * HZ, 61.5 * HZ),
                                  row(false, 0, 0)};
    static const lay_speed_source sources[] = {LAY_SPEED_TACH, LAY_SPEED_STATED, LAY_SPEED_STATED, LAY_SPEED_SIGNAL};
    for (size_t i = 0; i < 4; i++) {
        lay_monitor *m = monitor_of(&specs[i]);
        scene s = usual();
        play(&s, m, 9);
        lay_monitor_view v = look(m);
        if (!v.known) fail_msg("%zu: %s", i, v.trouble);
        v = look(m); /* the speed is exact the second time */
        assert_int_equal(v.source, sources[i]);
        assert_close(v.hz, HZ, 0.05, 0);
        assert_close(level(&v, "third pair"), SAID_DB, 0.3, 0);
        assert_close(row_of(&v, "third pair")->hz, ORDER * HZ, 0.5, 0);
        assert_true(row_of(&v, "third pair")->power > 20 * row_of(&v, "third pair")->floor);
        assert_true(row_of(&v, "headset")->power < 3 * row_of(&v, "headset")->floor);
        lay_monitor_free(m);
    }
}

/* A louder tone is shown to within 1 dB when half a second of it came. */
static void a_change_shows_within_half_a_second(void **state) {
    (void)state;
    for (int tach = 0; tach < 2; tach++) {
        const lay_run_spec spec = row(tach == 1, tach ? 0 : 60 * HZ, tach ? 0 : 60 * HZ);
        lay_monitor *m = monitor_of(&spec);
        scene s = usual();
        play(&s, m, 5);
        look(m);
        lay_monitor_view v = look(m);
        double before = level(&v, "third pair");
        for (int h = 0; h < 3; h++) s.rms[h] *= 2;
        play(&s, m, 0.5);
        v = look(m);
        assert_close(level(&v, "third pair") - before, 20 * log10(2), 1, 0);
        lay_monitor_free(m);
    }
}

static void a_run_up_is_followed(void **state) {
    (void)state;
    for (int tach = 0; tach < 2; tach++) {
        const lay_run_spec spec = row(tach == 1, 0, 0);
        lay_monitor *m = monitor_of(&spec);
        scene s = usual();
        play(&s, m, 8);
        look(m);
        s.slope = tach ? 3 : 1; /* turns/s each second */
        for (int k = 0; k < 20; k++) {
            play(&s, m, 0.2);
            lay_monitor_view v = look(m);
            if (!v.known) fail_msg("%d %d: %s", tach, k, v.trouble);
            assert_close(v.hz, s.hz, 0.35 * s.slope + 0.05, 0); /* the middle of half a second, and a pulse */
            assert_close(level(&v, "third pair"), SAID_DB, tach ? 0.5 : 1.5, 0);
        }
        lay_monitor_free(m);
    }
}

/* Noise whose energy swells at the rate of an outer race: that bearing stands out, the others do not, and an even noise
 * leaves all of them low. */
static void blows_show_at_their_bearing(void **state) {
    (void)state;
    for (int faulty = 0; faulty < 2; faulty++) {
        const lay_run_spec spec = row(true, 0, 0);
        lay_monitor *m = monitor_of(&spec);
        lay_monitor_view v = look(m);
        const lay_monitor_row *bearing = NULL;
        for (size_t i = 0; i < v.count && !bearing; i++)
            if (v.rows[i].blows) bearing = &v.rows[i];
        assert_non_null(bearing);
        double order = bearing->order, x[BLOCK * CHANNELS], turns = 0, phase = 0;
        lay_random random;
        lay_random_seed(&random, 9);
        for (int k = 0; k < 80; k++) {
            for (int i = 0; i < BLOCK; i++, turns += HZ / RATE, phase += order * HZ / RATE) {
                double since = phase - floor(phase); /* of a blow, that rings at 5 kHz */
                double ring = exp(-since / (order * HZ) * 1500) * sin(2 * LAY_PI * 5000 * since / (order * HZ));
                x[i * CHANNELS] = 0.05 * lay_random_normal(&random) + (faulty ? 0.2 : 0) * ring;
                x[i * CHANNELS + 1] = turns - floor(turns) < 0.1 ? 0.8 : 0;
            }
            lay_monitor_feed(m, x, BLOCK);
            v = look(m);
        }
        double most = 0;
        for (size_t i = 0; i < v.count; i++)
            if (v.rows[i].blows && &v.rows[i] != bearing) most = fmax(most, v.rows[i].power);
        double own = 10 * log10(bearing->power), other = most > 0 ? 10 * log10(most) : 0;
        if (faulty ? own < 8 || own < other + 3 : own > 5 || other > 5)
            fail_msg("%d: own %.1f, others %.1f dB", faulty, own, other);
        lay_monitor_free(m);
    }
}

static void without_a_speed_it_says_so(void **state) {
    (void)state;
    const lay_run_spec specs[] = {row(true, 0, 0), row(false, 60 * HZ, 60 * HZ), row(false, 0, 0)};
    for (size_t i = 0; i < 3; i++) {
        lay_monitor *m = monitor_of(&specs[i]);
        lay_monitor_view v = look(m);
        assert_false(v.known);
        scene s = usual();
        s.hz = 0;
        s.rms[0] = s.rms[1] = s.rms[2] = 0;
        for (int k = 0; k < 20; k++) {
            play(&s, m, 0.5);
            v = look(m);
            assert_false(v.known);
            assert_true(strlen(v.trouble) > 0);
            assert_true(row_of(&v, "third pair")->power == 0);
        }
        lay_monitor_free(m);
    }
}

static void refused(lay_run_spec spec, const char *words) {
    lay_monitor *m = NULL;
    lay_error err = {0};
    const lay_monitor_options o = {
        .unit = unit, .gear = lay_unit_gear(unit, "3"), .spec = &spec, .rate = RATE, .channels = CHANNELS};
    assert_int_equal(lay_monitor_new(&o, &m, &err), LAY_BAD_INPUT);
    if (!strstr(err.message, words)) fail_msg("'%s' is not in: %s", words, err.message);
    assert_null(m);
}

static void wrong_rows_are_refused(void **state) {
    (void)state;
    lay_run_spec spec = row(true, 0, 0);
    spec.tach_channel = 3;
    refused(spec, "tach is to be channel 3");
    spec = row(true, 0, 0);
    spec.tach_on = BORROWED("camshaft");
    refused(spec, "camshaft");
    spec = row(false, 0, 0);
    spec.channels = (int[]){4};
    refused(spec, "channel 4");
    lay_monitor_free(NULL);
}

static int setup(void **state) {
    (void)state;
    unit = unit_of(fixture_unit_text);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    lay_unit_free(unit);
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_level_is_that_of_the_tones), cmocka_unit_test(a_change_shows_within_half_a_second),
        cmocka_unit_test(a_run_up_is_followed),           cmocka_unit_test(without_a_speed_it_says_so),
        cmocka_unit_test(wrong_rows_are_refused),         cmocka_unit_test(blows_show_at_their_bearing),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
