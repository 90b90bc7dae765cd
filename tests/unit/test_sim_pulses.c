/* The simulated tach: as many pulses as turns say, where they should be, and the errors asked for. */
#include "sim/impact.h"
#include "sim/pulses.h"
#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>

#define RATE 48000.0
#define BLOCK 32

/* Rising edges by the middle level, sub-sample, from 10 s at `hz` turns/s; their count and the sd of intervals in s. */
static int edges_of(lay_sim_pulses *p, double hz, double *mean_s, double *deviation_s) {
    double middle = 0.5 * (p->low + p->high), sign = p->high > p->low ? 1 : -1, last = 0, previous = 0, sum = 0,
           squares = 0;
    int count = 0, intervals = 0;
    for (int b = 0; b < (int)(10 * RATE) / BLOCK; b++) {
        double x[BLOCK];
        lay_sim_pulses_block(p, hz * b * BLOCK / RATE, hz * (b + 1) * BLOCK / RATE, x, BLOCK);
        for (int i = 0; i < BLOCK; i++) {
            double now = sign * (x[i] - middle), at = b * BLOCK + i;
            if (at > 0 && last < 0 && now >= 0) {
                double edge = (at - now / (now - last)) / RATE;
                if (count++ > 0) {
                    sum += edge - previous;
                    squares += (edge - previous) * (edge - previous);
                    intervals++;
                }
                previous = edge;
            }
            last = now;
        }
    }
    *mean_s = sum / intervals;
    *deviation_s = sqrt(fmax(0, squares / intervals - *mean_s * *mean_s));
    return count;
}

static void pulses_count_the_turns(void **state) {
    (void)state;
    const double hz = 31.37;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        lay_random random;
        lay_sim_pulses p;
        lay_random_seed(&random, seed);
        lay_sim_pulses_draw(&random, seed % 2 ? 1 : 36, 0.637, &p);
        p.missing = p.twice = p.jitter = 0;
        double mean, deviation, expected = hz * 0.637 * p.per_turn;
        int count = edges_of(&p, hz, &mean, &deviation);
        assert_close(count, 10 * expected, 1.01, 0);
        assert_close(mean, 1 / expected, 0, 1e-4);
        assert_true(deviation < 0.25 / RATE);
    }
}

static void errors_come_as_often_as_asked(void **state) {
    (void)state;
    lay_random random;
    lay_sim_pulses p;
    double mean, deviation;
    lay_random_seed(&random, 5);
    lay_sim_pulses_draw(&random, 60, 1, &p);
    p.missing = 0.02, p.twice = 0;
    int count = edges_of(&p, 30, &mean, &deviation);
    assert_close(count, 18000 * 0.98, 4 * sqrt(18000 * 0.02), 0);
    lay_sim_pulses_draw(&random, 60, 1, &p);
    p.missing = 0, p.twice = 0.02;
    count = edges_of(&p, 30, &mean, &deviation);
    assert_close(count, 18000 * 1.02, 4 * sqrt(18000 * 0.02), 0);
}

/* A train strikes once per 1/order turns, rings at its crest, and slips as a random walk. */
static void impacts_keep_their_rate(void **state) {
    (void)state;
    lay_sim_impacts train = {
        .timing = LAY_SIM_LOCKED, .order = 3.585, .jitter = 0.015, .peak = 0.7, .flank = {1, 1}, .echo_left = -1};
    train.ring = lay_sim_ringing_at(RATE, 4000, 12);
    lay_random_seed(&train.random, 9);
    double excitation[BLOCK + 2], highest = 0, quiet = 1;
    int strikes = 0;
    for (int b = 0; b < (int)(10 * RATE) / BLOCK; b++) {
        double x[BLOCK] = {0}, top = 0;
        lay_sim_impacts_block(&train, 25.0 * b * BLOCK / RATE, 25.0 * (b + 1) * BLOCK / RATE, 1, 1, RATE, excitation, x,
                              BLOCK);
        for (int i = 0; i < BLOCK; i++) top = fmax(top, fabs(x[i]));
        strikes += top > 0.35 && quiet < 0.35;
        quiet = top;
        highest = fmax(highest, top);
    }
    assert_close(strikes, 10 * 25 * 3.585, 4 * 0.015 * sqrt(896) + 2, 0);
    assert_close(highest, 0.7, 0, 0.03);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pulses_count_the_turns),
        cmocka_unit_test(errors_come_as_often_as_asked),
        cmocka_unit_test(impacts_keep_their_rate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
