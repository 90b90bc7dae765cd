/* Properties of finding the speed in the recording itself over random gear sets, engines and runs: what is sure is
 * right, and hardly any recording with clear meshes leaves it unsure. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/played.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 16000.0

typedef struct tally {
    int cases, right, sure, sure_and_wrong;
} tally;

/* Median error of speed, or 1 when nothing was found. */
static double error_of(const played_box *box, const played *p, bool stated, lay_track_result *r) {
    lay_track_gear gear;
    lay_track_options o = played_options(p->rate, box, &gear);
    double mean = 0.5 * (p->motion.from_hz + p->motion.to_hz);
    if (stated) {
        o.near_low_hz = fmin(p->motion.from_hz, p->motion.to_hz) / 1.12;
        o.near_high_hz = fmax(p->motion.from_hz, p->motion.to_hz) * 1.12;
    }
    o.firing_order = box->lines[0].order < 1 ? 2 : 0; /* boxes with engine begin with its half order */
    double *x = played_samples(p);
    bool found = played_track(&o, x, played_frames(p), r);
    free(x);
    if (!found) return 1;
    assert_true(r->shaft.confidence >= 0 && r->shaft.confidence <= 1);
    assert_true(r->rival_probability >= 0 && r->rival_probability <= 1);
    assert_true(mean > 0);
    return played_compare(&r->shaft, &p->motion).median;
}

static void count(tally *t, const char *what, double error, const lay_track_result *r) {
    bool sure = error < 1 && r->shaft.confidence >= 0.5;
    t->cases++;
    t->right += error < 2e-3;
    t->sure += sure;
    t->sure_and_wrong += sure && error > 0.01;
    if (error > 2e-3 || !sure)
        print_message("  %s: median error %.4f %%, confidence %.3f\n", what, 100 * error, r->shaft.confidence);
}

static void report(const char *what, const tally *t) {
    print_message("%s: of %d right %d, sure %d, sure and wrong %d\n", what, t->cases, t->right, t->sure,
                  t->sure_and_wrong);
}

/* Run-ups, coast-downs and steady runs between 900 and 4500 rpm. */
static played_motion random_motion(lay_random *r) {
    double low = lay_random_between(r, 15, 30), high = low * lay_random_between(r, 1.5, 2.5);
    played_motion m = {low, high, 9, 0.001, 0.3};
    int kind = lay_random_int(r, 0, 2);
    if (kind == 1) m.from_hz = high, m.to_hz = low;
    if (kind == 2) m.from_hz = m.to_hz = lay_random_between(r, 15, 75);
    return m;
}

/* Teeth of a headset and a pair; sometimes a third mesh idles along. */
static void add_gears(played_box *b, lay_random *r, double loud) {
    int in = lay_random_int(r, 17, 27), counter = lay_random_int(r, 29, 41), out = lay_random_int(r, 15, 35);
    double order = (double)in * out / counter;
    played_add_mesh(b, in, loud * lay_random_between(r, 0.03, 0.08));
    played_add_mesh(b, order, loud * lay_random_between(r, 0.03, 0.08));
    if (lay_random_int(r, 0, 1)) played_add_mesh(b, (double)in * lay_random_int(r, 15, 35) / counter, 0.015 * loud);
}

/* Paths from engine and gears to the microphone: each line some 5 dB more or less. */
static void scatter(played_box *b, lay_random *r) {
    for (size_t k = 0; k < b->line_count; k++) b->lines[k].amplitude *= exp(0.6 * lay_random_normal(r));
}

static tally random_boxes(uint64_t first, int cases, bool engine, bool meshes, bool stated, const char *what) {
    tally t = {.cases = 0};
    for (uint64_t seed = first; seed < first + (uint64_t)cases; seed++) {
        lay_random r;
        lay_random_seed(&r, seed);
        played_box box = {.line_count = 0};
        if (engine) played_add_engine(&box, lay_random_between(&r, 0.1, 0.3));
        add_gears(&box, &r, meshes ? 1 : 0);
        scatter(&box, &r);
        played p = {.rate = RATE,
                    .motion = random_motion(&r),
                    .box = &box,
                    .noise = lay_random_between(&r, 0.03, 0.4),
                    .seed = seed};
        lay_track_result found = {.gear = 0};
        char name[80];
        snprintf(name, sizeof name, "%s, seed %d, %.1f to %.1f turns/s", what, (int)seed, p.motion.from_hz,
                 p.motion.to_hz);
        double error = error_of(&box, &p, stated, &found);
        count(&t, name, error, &found);
        lay_track_result_free(&found);
    }
    report(what, &t);
    return t;
}

static void engine_and_meshes(void **state) {
    (void)state;
    tally t = random_boxes(1, 20, true, true, false, "engine and meshes");
    assert_true(t.sure_and_wrong <= 1);
    assert_true(t.right >= 18);
    assert_true(t.sure >= 15);
}

static void meshes_on_a_stand(void **state) {
    (void)state;
    tally t = random_boxes(100, 10, false, true, false, "meshes alone");
    assert_true(t.sure_and_wrong <= 1);
    assert_true(t.right >= 6);
}

/* Whole and half orders fit many speeds. */
static void engine_alone(void **state) {
    (void)state;
    tally t = random_boxes(200, 8, true, false, false, "engine alone");
    assert_true(t.sure_and_wrong <= 1);
}

static void range_stated(void **state) {
    (void)state;
    tally t = random_boxes(300, 8, true, true, true, "range stated");
    assert_int_equal(t.sure_and_wrong, 0);
    assert_true(t.right >= 7);
    assert_true(t.sure >= 7);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(engine_and_meshes),
        cmocka_unit_test(meshes_on_a_stand),
        cmocka_unit_test(engine_alone),
        cmocka_unit_test(range_stated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
