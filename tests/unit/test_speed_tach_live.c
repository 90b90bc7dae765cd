/* A tach while it runs: the speed of the last seconds, and pulses that are missing or too many, at once. */
#include "support/close.h"
#include "support/cmocka_all.h"

#include <layshaft/speed.h>
#include <math.h>
#include <string.h>

enum { RATE = 20000, BLOCK = 512 };
#define WINDOW 3.0

/* Feeds `seconds` of one pulse per turn from `turns` on, at `hz`, without every `miss`th; returns the turns after. */
static double feed(lay_tach_live *live, double turns, double hz, double seconds, int miss) {
    double block[BLOCK * 2];
    size_t n = 0;
    for (int i = 0; i < (int)(seconds * RATE); i++, turns += hz / RATE) {
        bool there = miss == 0 || (int)floor(turns) % miss != 0;
        block[n * 2] = 9;
        block[n * 2 + 1] = there && turns - floor(turns) < 0.1 ? 0.7 : 0.01;
        if (++n == BLOCK) {
            lay_tach_live_feed(live, block + 1, 2, n);
            n = 0;
        }
    }
    lay_tach_live_feed(live, block + 1, 2, n);
    return turns;
}

static void the_last_seconds_count(void **state) {
    (void)state;
    lay_error err = {0};
    lay_tach_live *live = NULL;
    lay_tach_look look;
    const lay_tach_options o = {.rate = RATE, .pulses_per_rev = 1, .body_order = 1};
    assert_int_equal(lay_tach_live_new(&o, WINDOW, &live, &err), LAY_OK);
    assert_int_equal(lay_tach_live_look(live, &look, &err), LAY_BAD_INPUT); /* nothing came yet */
    double turns = feed(live, 0, 20, 4, 0);
    assert_int_equal(lay_tach_live_look(live, &look, &err), LAY_OK);
    assert_close(look.hz, 20, 0.01, 0);
    assert_int_equal(look.missing + look.extra + look.glitches, 0);
    assert_true(look.since_s < 0.06);
    turns = feed(live, turns, 35, 3.2, 17); /* the 20 turns per second have left the window */
    assert_int_equal(lay_tach_live_look(live, &look, &err), LAY_OK);
    assert_close(look.hz, 35, 0.02, 0);
    assert_close(look.min_hz, 35, 0.05, 0);
    assert_in_range(look.missing, 5, 7); /* every 17th of 105 */
    feed(live, turns, 35, 5, 1);         /* none at all */
    assert_int_equal(lay_tach_live_look(live, &look, &err), LAY_BAD_INPUT);
    assert_true(strlen(err.message) > 0);
    lay_tach_live_free(live);
    lay_tach_live_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_last_seconds_count)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
