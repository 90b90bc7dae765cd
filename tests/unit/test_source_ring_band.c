/* The band in which a bearing's blows ring: the one that rings is found, and silence is not taken for blows. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/struck.h"

/* A 6205 on the input shaft (CWRU, published multiples). */
static const lay_expected bearing = {.type = LAY_PART_BEARING,
                                     .name = "input shaft",
                                     .turning = true,
                                     .order = 1,
                                     .bpfo = 3.5848,
                                     .bpfi = 5.4152,
                                     .bsf2 = 4.7135,
                                     .ftf = 0.39828,
                                     .tolerance = 0.01};

static bool look(const struck_train *train, uint64_t seed, const lay_expected *wanted, lay_ring_band *out) {
    static const double bodies[] = {0.5, 1, 3, 23.0 / 36};
    lay_envelope_options o = {.locked = bodies, .locked_count = 4};
    struck sound = {.rate = 24000, .seconds = 20, .low_hz = 30, .high_hz = 30, .channels = 1};
    lay_run_evidence run;
    lay_error err = {0};
    struck_make(&sound, 1, seed);
    if (train) struck_rings(&sound, train);
    evidence_make(&run, fixture_unit, "3", NULL, 0);
    if (struck_analyse(&sound, o, 0, &run.envelope, &err) != LAY_OK) fail_msg("%s", err.message);
    bool found = lay_run_ring_band(&run, wanted, out);
    lay_run_evidence_free(&run);
    struck_free(&sound);
    return found;
}

static void the_ringing_band_is_found(void **state) {
    (void)state;
    static const double orders[] = {3.5848, 5.4152, 4.7135};
    for (int i = 0; i < 3; i++) {
        const double slip = 1.007; /* bearings slip */
        const struck_train train = {slip * orders[i], 0.3, 5200, 0.8e-3, 8, -1, 0};
        lay_ring_band ring;
        assert_true(look(&train, 3, &bearing, &ring));
        assert_true(ring.blows);
        assert_close(ring.order, orders[i], 1e-9, 0);
        assert_true(ring.low_hz < 5200 && ring.high_hz > 5200);
    }
}

static void no_blows_are_said_to_be_none(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 6; seed++) {
        lay_ring_band ring;
        assert_true(look(NULL, seed, &bearing, &ring));
        assert_false(ring.blows);
        assert_true(ring.high_hz > ring.low_hz && ring.low_hz > 0);
    }
}

/* Blows of something else, half way between the bearing's rates. */
static void foreign_blows_are_not_its_own(void **state) {
    (void)state;
    const struck_train train = {4.15, 0.3, 5200, 0.8e-3, 8, -1, 0};
    lay_ring_band ring;
    assert_true(look(&train, 3, &bearing, &ring));
    assert_false(ring.blows);
}

static void what_stands_still_has_no_band(void **state) {
    (void)state;
    lay_expected still = bearing;
    lay_ring_band ring;
    still.turning = false;
    assert_false(look(NULL, 1, &still, &ring));
    lay_run_evidence silent = {.usable = true}; /* without envelope spectra */
    assert_false(lay_run_ring_band(&silent, &bearing, &ring));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_ringing_band_is_found),
        cmocka_unit_test(no_blows_are_said_to_be_none),
        cmocka_unit_test(foreign_blows_are_not_its_own),
        cmocka_unit_test(what_stands_still_has_no_band),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
