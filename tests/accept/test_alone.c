/* One part alone, and order cuts, on a run-up whose parts are known: the part within 0.1 dB, what is left untouched
 * within 0.1 dB, and both together the recording. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 16000
#define SECONDS 20
enum { FRAMES = RATE * SECONDS };

/* Third gear: headset 23, third pair 17.25; engine of six cylinders fires at 3; a sideband of the countershaft (23/36).
 */
typedef struct tone {
    double order, amplitude, phase, swell; /* swell: depth of a slow change */
} tone;
static const tone ours[] = {{17.25, 0.2, 0.3, 0.2}, {34.5, 0.1, 1.1, 0}, {17.25 + 23.0 / 36, 0.05, 2, 0}};
static const tone others[] = {
    {23, 0.2, 0.7, 0}, {3, 0.5, 0.1, 0}, {6, 0.3, 0.2, 0}, {18, 0.05, 1, 0}, {16.5, 0.04, 2, 0}};
enum { OURS = sizeof ours / sizeof ours[0], OTHERS = sizeof others / sizeof others[0] };

static lay_unit *unit;
static lay_run_spec spec;
static lay_run_evidence run;
static double turns[FRAMES], recording[FRAMES], truth[FRAMES], part[FRAMES], rest[FRAMES];
static size_t filled;

static double value(const tone *t, size_t i) {
    double swell = 1 + t->swell * sin(2 * LAY_PI * 0.4 * (double)i / RATE);
    return t->amplitude * swell * cos(2 * LAY_PI * t->order * turns[i] + t->phase);
}

static int setup(void **state) {
    (void)state;
    scratch_open();
    unit = unit_of(fixture_unit_text);
    const char *path = scratch_path("run-up.wav");
    lay_writer *w = NULL;
    lay_random random;
    lay_random_seed(&random, 8);
    assert_int_equal(lay_writer_open(path, LAY_FILE_WAV_FLOAT, RATE, 2, &w, NULL), LAY_OK);
    for (size_t i = 0; i < FRAMES; i++) {
        double t = (double)i / RATE;
        turns[i] = 15 * t + 15 * t * t / SECONDS;
        recording[i] = 0.02 * lay_random_normal(&random);
        for (size_t k = 0; k < OURS; k++) truth[i] += value(&ours[k], i);
        recording[i] += truth[i];
        for (size_t k = 0; k < OTHERS; k++) recording[i] += value(&others[k], i);
        double frame[2] = {recording[i], turns[i] - floor(turns[i]) < 0.1 ? 0.8 : 0};
        recording[i] = (double)(float)frame[0];
        assert_int_equal(lay_writer_write(w, frame, 1, NULL), LAY_OK);
    }
    assert_int_equal(lay_writer_close(w, NULL), LAY_OK);
    spec = (lay_run_spec){.file = BORROWED("run-up.wav"),
                          .path = lay_strdup(path),
                          .gear = BORROWED("3"),
                          .load = LAY_LOAD_DRIVE,
                          .tach_channel = 2,
                          .pulses_per_rev = 1,
                          .tach_on = BORROWED(""),
                          .rpm_log = BORROWED(""),
                          .full_scale = 1};
    assert_int_equal(lay_run_analyse(unit, &spec, "runs.csv", NULL, &run, NULL), LAY_OK);
    assert_true(run.usable);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    lay_run_evidence_free(&run);
    free(spec.path);
    lay_unit_free(unit);
    scratch_close();
    return 0;
}

static lay_status take(const double *p, const double *r, size_t frames, void *user, lay_error *err) {
    (void)user;
    (void)err;
    assert_true(filled + frames <= FRAMES);
    memcpy(part + filled, p, frames * sizeof *p);
    memcpy(rest + filled, r, frames * sizeof *r);
    filled += frames;
    return LAY_OK;
}

/* Level of a tone in x against what it was made with, dB, the first and last second left out. */
static double level_of(const tone *t, const double *x) {
    double product = 0, square = 0;
    for (size_t i = RATE; i < FRAMES - RATE; i++) {
        product += x[i] * value(t, i);
        square += value(t, i) * value(t, i);
    }
    return 20 * log10(fmax(product / square, 1e-6));
}

static void the_part_and_the_rest(void **state) {
    (void)state;
    lay_part_orders orders;
    double values[LAY_PART_ORDERS_MAX];
    assert_int_equal(lay_run_part_orders(unit, &run, "Third Pair", &orders, NULL), LAY_OK);
    for (size_t i = 0; i < orders.count; i++) values[i] = orders.items[i].order;
    const lay_alone_options o = {.orders = values, .order_count = orders.count};
    filled = 0;
    assert_int_equal(lay_run_alone(unit, &spec, "runs.csv", &run, &o, take, NULL, NULL), LAY_OK);
    assert_int_equal(filled, FRAMES);
    for (size_t i = 0; i < FRAMES; i++) assert_close(part[i] + rest[i], recording[i], 1e-7, 0);
    for (size_t k = 0; k < OURS; k++) {
        assert_close(level_of(&ours[k], part), 0, 0.1, 0);
        assert_true(level_of(&ours[k], rest) < -35);
    }
    for (size_t k = 0; k < OTHERS; k++) {
        assert_close(level_of(&others[k], rest), 0, 0.1, 0);
        assert_true(level_of(&others[k], part) < -35);
    }
    double error = 0, whole = 0;
    for (size_t i = RATE; i < FRAMES - RATE; i++) {
        error += (part[i] - truth[i]) * (part[i] - truth[i]);
        whole += truth[i] * truth[i];
    }
    print_message("[          ] what is not the part's own: %.1f dB below it\n", -10 * log10(error / whole));
    assert_true(10 * log10(error / whole) < -20); /* the noise within the filters */
}

static void one_order(void **state) {
    (void)state;
    const double order = 23;
    const lay_alone_options o = {.orders = &order, .order_count = 1};
    filled = 0;
    assert_int_equal(lay_run_alone(unit, &spec, "runs.csv", &run, &o, take, NULL, NULL), LAY_OK);
    assert_close(level_of(&others[0], part), 0, 0.1, 0);
    assert_close(level_of(&ours[0], rest), 0, 0.1, 0);
}

/* A band keeps what lies in it and gives the rest back; order 34.5 runs from 517 to 1552 Hz. */
static void a_band(void **state) {
    (void)state;
    const lay_alone_options o = {.low_hz = 500, .high_hz = 8000};
    filled = 0;
    assert_int_equal(lay_run_alone(unit, &spec, "runs.csv", &run, &o, take, NULL, NULL), LAY_OK);
    assert_int_equal(filled, FRAMES);
    for (size_t i = 0; i < FRAMES; i++) assert_close(part[i] + rest[i], recording[i], 1e-7, 0);
    assert_close(level_of(&ours[1], part), 0, 0.1, 0);
    assert_close(level_of(&others[1], rest), 0, 0.1, 0);
}

static void part_orders_are_named(void **state) {
    (void)state;
    lay_part_orders o;
    assert_int_equal(lay_run_part_orders(unit, &run, "third pair", &o, NULL), LAY_OK);
    assert_close(o.items[0].order, 17.25, 1e-9, 0); /* the strongest first */
    assert_int_equal(o.items[0].harmonic, 1);
    bool sideband = false;
    for (size_t i = 0; i < o.count; i++)
        sideband |= o.items[i].sideband == 1 && strcmp(unit->bodies[o.items[i].body].name, "countershaft") == 0;
    assert_true(sideband);
    assert_int_equal(lay_run_part_orders(unit, &run, "engine", &o, NULL), LAY_OK);
    assert_close(o.items[0].order, 3, 1e-9, 0);
    assert_int_equal(lay_run_part_orders(unit, &run, "countershaft", &o, NULL), LAY_OK);
    assert_true(o.part == NULL && o.body >= 0);
    bool turn = false;
    for (size_t i = 0; i < o.count; i++) turn |= fabs(o.items[i].order - 23.0 / 36) < 1e-9;
    assert_true(turn);
}

static void refused(const char *name, const char *words) {
    lay_part_orders o;
    lay_error err = {0};
    assert_int_equal(lay_run_part_orders(unit, &run, name, &o, &err), LAY_BAD_INPUT);
    if (!strstr(err.message, words)) fail_msg("'%s' is not in: %s", words, err.message);
}

static void what_has_no_orders_is_said(void **state) {
    (void)state;
    refused("thrd pair", "did you mean 'third pair'");
    for (size_t i = 0; i < unit->bearing_count; i++) refused(unit->bearings[i].name, "it strikes");
    lay_run_evidence unusable = {.usable = false};
    lay_part_orders o;
    lay_error err = {0};
    assert_int_equal(lay_run_part_orders(unit, &unusable, "third pair", &o, &err), LAY_BAD_INPUT);
    const double order = 17.25;
    const lay_alone_options options = {.orders = &order, .order_count = 1}, band = {.low_hz = 9000, .high_hz = 9500};
    assert_int_equal(lay_run_alone(unit, &spec, "runs.csv", &unusable, &options, take, NULL, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_run_alone(unit, &spec, "runs.csv", &run, &band, take, NULL, &err), LAY_BAD_INPUT);
}

/* ---- order cuts ---- */

static void cuts_have_the_level_at_every_speed(void **state) {
    (void)state;
    const double orders[] = {17.25, 34.5, 23, 27.3}; /* nothing stands at the last */
    const double level[] = {NAN, 0.1, 0.2, 0};
    lay_cut *cuts = NULL;
    assert_int_equal(lay_run_cuts(unit, &spec, "runs.csv", &run, orders, 4, 0, &cuts, NULL), LAY_OK);
    for (size_t k = 0; k < 4; k++) {
        assert_true(cuts[k].count > 20);
        assert_close(cuts[k].hz[0], 15, 1, 0);
        assert_close(cuts[k].hz[cuts[k].count - 1], 45, 1, 0);
        double over = 0;
        for (size_t i = 0; i < cuts[k].count; i++) {
            if (i > 0) assert_true(cuts[k].hz[i] > cuts[k].hz[i - 1]);
            if (k == 1 || k == 2) assert_close(lay_db_power(cuts[k].power[i] / (0.5 * level[k] * level[k])), 0, 0.5, 0);
            over += cuts[k].power[i] / cuts[k].floor[i] / (double)cuts[k].count;
        }
        if (k == 3) assert_close(lay_db_power(over), 0, 1.5, 0); /* noise alone is at the floor */
    }
    lay_cuts_free(cuts, 4);
}

static void cuts_that_cannot_be_taken(void **state) {
    (void)state;
    const double far = 900, order = 17.25;
    lay_cut *cuts = NULL;
    lay_error err = {0};
    assert_int_equal(lay_run_cuts(unit, &spec, "runs.csv", &run, &far, 1, 0, &cuts, &err), LAY_BAD_INPUT);
    assert_null(cuts);
    assert_int_equal(lay_run_cuts(unit, &spec, "runs.csv", &run, &order, 0, 0, &cuts, &err), LAY_BAD_INPUT);
    lay_run_evidence unusable = {.usable = false};
    assert_int_equal(lay_run_cuts(unit, &spec, "runs.csv", &unusable, &order, 1, 0, &cuts, &err), LAY_BAD_INPUT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_part_and_the_rest),
        cmocka_unit_test(one_order),
        cmocka_unit_test(a_band),
        cmocka_unit_test(part_orders_are_named),
        cmocka_unit_test(what_has_no_orders_is_said),
        cmocka_unit_test(cuts_have_the_level_at_every_speed),
        cmocka_unit_test(cuts_that_cannot_be_taken),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
