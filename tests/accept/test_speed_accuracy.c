/* What finding the speed in the recording itself promises: engine orders and meshes of analytic phase in white noise,
 * nothing stated, no tach. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/played.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define RATE 16000.0

static void check(const char *name, played_motion motion, double noise, uint64_t seed) {
    played_box box;
    lay_track_gear gear;
    lay_track_result result;
    played_usual_box(&box);
    played p = {.rate = RATE, .motion = motion, .box = &box, .noise = noise, .seed = seed};
    lay_track_options options = played_options(RATE, &box, &gear);
    double *x = played_samples(&p);
    bool found = played_track(&options, x, played_frames(&p), &result);
    free(x);
    assert_true(found);
    played_error e = played_compare(&result.shaft, &motion);
    printf("  %-34s median %.4f %%, 95 %% below %.4f %%, worst %.3f %%; angle at order 100: %.3f rms, %.3f worst; "
           "covered %.0f %%, confidence %.3f\n",
           name, 100 * e.median, 100 * e.most, 100 * e.worst, e.angle_rms, e.angle_worst, 100 * e.covered,
           result.shaft.confidence);
    assert_true(e.median < 1e-3);
    assert_true(e.most < 5e-3);
    assert_true(e.angle_rms < 1);
    assert_true(e.covered > 0.97);
    assert_true(result.shaft.time[result.shaft.count - 1] <= motion.seconds + 1e-3);
    assert_true(result.shaft.confidence >= 0.5);
    assert_int_equal(result.shaft.source, LAY_SPEED_SIGNAL);
    lay_track_result_free(&result);
}

static double rpm(double value) {
    return value / 60;
}

static void run_up(void **state) {
    (void)state;
    check("run-up 1000 to 3500 rpm", (played_motion){rpm(1000), rpm(3500), 12, 0, 0}, 0.1, 1);
}

static void coast_down(void **state) {
    (void)state;
    check("coast-down 3500 to 1000 rpm", (played_motion){rpm(3500), rpm(1000), 12, 0, 0}, 0.1, 2);
}

static void steady(void **state) {
    (void)state;
    check("steady 2000 rpm, 0.2 % at 1 Hz", (played_motion){rpm(2000), rpm(2000), 10, 0.002, 1}, 0.1, 3);
}

static void slow(void **state) {
    (void)state;
    check("slow 900 rpm, 0.2 % at 1 Hz", (played_motion){rpm(900), rpm(900), 10, 0.002, 1}, 0.1, 4);
}

static void fast(void **state) {
    (void)state;
    check("fast 5000 rpm, 0.2 % at 1 Hz", (played_motion){rpm(5000), rpm(5000), 10, 0.002, 1}, 0.1, 5);
}

static void noisy(void **state) {
    (void)state;
    check("run-up in three times the noise", (played_motion){rpm(1000), rpm(3500), 12, 0, 0}, 0.3, 6);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(run_up), cmocka_unit_test(coast_down), cmocka_unit_test(steady),
        cmocka_unit_test(slow),   cmocka_unit_test(fast),       cmocka_unit_test(noisy),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
