/* One part alone where another source makes nearly the same order: what the unit file knows, what a slipping bearing
 * may claim, what is far louder. Part and other order within 0.1 dB each in its own file. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RATE 16000
#define SECONDS 20
enum { FRAMES = RATE * SECONDS };

/* Third gear: headset 23, third pair 17.25, as the fixture; a four-cylinder engine, bearings and two rotors besides. */
static const char unit_text_close[] = "[unit]\nname = Close\ndriven by = input shaft\noutput = mainshaft\n"
                                      "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
                                      "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 26\n"
                                      "[gear 3]\nlock = third gear, mainshaft\n"
                                      "[bearing input shaft]\ninner = input shaft\nouter = case\nrolling elements = 9\n"
                                      "element diameter = 12.7 mm\npitch diameter = 58.5 mm\n"
                                      "[engine]\ncylinders = 4\nstrokes = 4\nturns with = input shaft\n"
                                      "[other pump]\nturns with = input shaft\nratio = 17.31\norders = 1\n"
                                      "[other fan]\nturns with = input shaft\nratio = 23.03\norders = 1\n";

typedef struct tone {
    double order, amplitude, swell; /* swell: depth of a slow change */
} tone;

static lay_unit *unit;
static double turns[FRAMES], part[FRAMES], rest[FRAMES];
static size_t filled;

static double value(const tone *t, size_t i) {
    double swell = 1 + t->swell * sin(2 * LAY_PI * 0.4 * (double)i / RATE);
    return t->amplitude * swell * cos(2 * LAY_PI * t->order * turns[i] + t->order);
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

static void record(const char *path, const tone *tones, size_t count) {
    lay_writer *w = NULL;
    lay_random random;
    remove(path);
    lay_random_seed(&random, 8);
    assert_int_equal(lay_writer_open(path, LAY_FILE_WAV_FLOAT, RATE, 2, &w, NULL), LAY_OK);
    for (size_t i = 0; i < FRAMES; i++) {
        double t = (double)i / RATE, frame[2];
        turns[i] = 20 * t + 16.5 * t * t / SECONDS;
        frame[0] = 0.005 * lay_random_normal(&random);
        for (size_t k = 0; k < count; k++) frame[0] += value(&tones[k], i);
        frame[1] = turns[i] - floor(turns[i]) < 0.1 ? 0.8 : 0;
        assert_int_equal(lay_writer_write(w, frame, 1, NULL), LAY_OK);
    }
    assert_int_equal(lay_writer_close(w, NULL), LAY_OK);
}

/* Record the tones, and take `name` out of them as the program does. */
static void take_out(const char *name, const tone *tones, size_t count) {
    const char *path = scratch_path("close.wav");
    lay_run_spec spec = {.file = BORROWED("close.wav"),
                         .path = BORROWED(path),
                         .gear = BORROWED("3"),
                         .load = LAY_LOAD_DRIVE,
                         .tach_channel = 2,
                         .pulses_per_rev = 1,
                         .tach_on = BORROWED(""),
                         .rpm_log = BORROWED(""),
                         .full_scale = 1};
    lay_run_evidence run;
    lay_part_orders orders;
    double values[LAY_PART_ORDERS_MAX];
    record(path, tones, count);
    assert_int_equal(lay_run_analyse(unit, &spec, "runs.csv", NULL, &run, NULL), LAY_OK);
    assert_true(run.usable);
    assert_int_equal(lay_run_part_orders(unit, &run, name, &orders, NULL), LAY_OK);
    for (size_t i = 0; i < orders.count; i++) values[i] = orders.items[i].order;
    const lay_alone_options o = {.orders = values, .order_count = orders.count};
    filled = 0;
    assert_int_equal(lay_run_alone(unit, &spec, "runs.csv", &run, &o, take, NULL, NULL), LAY_OK);
    assert_int_equal(filled, FRAMES);
    lay_run_evidence_free(&run);
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

/* tones[0] is the part's, the others are not. */
static void parted(const char *name, const tone *tones, size_t count) {
    take_out(name, tones, count);
    print_message("[          ] %s: %.3f dB", name, level_of(&tones[0], part));
    assert_close(level_of(&tones[0], part), 0, 0.1, 0);
    for (size_t k = 1; k < count; k++) {
        print_message(", order %g in the rest %.3f dB", tones[k].order, level_of(&tones[k], rest));
        assert_close(level_of(&tones[k], rest), 0, 0.1, 0);
    }
    print_message("\n");
}

/* One line of the spectrum, two orders of the unit file. */
static void a_rotor_of_nearly_the_same_order(void **state) {
    (void)state;
    const tone even[] = {{17.25, 0.2, 0.2}, {17.31, 0.1, 0}, {2, 0.5, 0}, {4, 0.3, 0}};
    const tone louder[] = {{17.25, 0.1, 0.2}, {17.31, 0.4, 0.3}, {2, 0.5, 0}, {4, 0.3, 0}};
    const tone closest[] = {{23, 0.2, 0.2}, {23.03, 0.1, 0}, {2, 0.5, 0}, {4, 0.3, 0}};
    parted("third pair", even, 4);
    parted("third pair", louder, 4);
    parted("headset", closest, 4);
}

/* Four times the rate of the bearing's elements, 17.557, less what it may slip, reaches a line at 17.4, and the pump's
 * 17.31 one at 17.37: such lines are followed where they were measured. */
static void a_loud_line_that_another_part_may_claim(void **state) {
    (void)state;
    const tone slipping[] = {{17.25, 0.05, 0.2}, {17.4, 0.5, 0}, {2, 0.5, 0}};
    const tone beside[] = {{17.25, 0.02, 0.2}, {17.37, 0.5, 0}, {2, 0.5, 0}};
    const tone wider[] = {{17.25, 0.02, 0.2}, {17.55, 0.5, 0}, {2, 0.5, 0}};
    parted("third pair", slipping, 3);
    parted("third pair", beside, 3);
    parted("third pair", wider, 3);
}

/* Following what the unit file knows costs nothing where it is silent. */
static void silent_neighbours_take_nothing(void **state) {
    (void)state;
    const tone alone[] = {{17.25, 0.2, 0.5}, {2, 0.5, 0}, {4, 0.3, 0}};
    const tone headset[] = {{23, 0.2, 0.3}, {2, 0.5, 0}, {4, 0.3, 0}};
    parted("third pair", alone, 3);
    assert_true(level_of(&alone[0], rest) < -35);
    parted("headset", headset, 3);
    assert_true(level_of(&headset[0], rest) < -35);
}

static int setup(void **state) {
    unit = unit_of(unit_text_close);
    return scratch_setup(state);
}

static int teardown(void **state) {
    lay_unit_free(unit);
    return scratch_teardown(state);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_rotor_of_nearly_the_same_order),
        cmocka_unit_test(a_loud_line_that_another_part_may_claim),
        cmocka_unit_test(silent_neighbours_take_nothing),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
