/* How loud lines are, look by look: what noise leaves of scatter, and whose a line is where two parts have it. */
#include <layshaft/source.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/scratch.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define RATE 16000
#define TURNS_HZ 25.0

/* The first pair's second multiple is the headset's first: 20 a turn; all of the headset's are even ones of the pair.
 */
static const char unit_words[] = "[unit]\nname = test\ndriven by = input shaft\noutput = mainshaft\n"
                                 "[mesh headset]\ndriver = input shaft, 20\ndriven = countershaft, 40\n"
                                 "[mesh first pair]\ndriver = countershaft, 20\ndriven = first gear, 43\n"
                                 "[gear 1]\nlock = first gear, mainshaft\n";
static lay_unit *unit;

static int setup(void **state) {
    (void)state;
    scratch_open();
    unit = unit_of(unit_words);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    lay_unit_free(unit);
    scratch_close();
    return 0;
}

/* Noise of rms 0.05 and tones at the orders 10, 20, 30; the second channel is the tach. */
static const char *write_wav(const char *name, int seconds, const double tones[3]) {
    const char *path = scratch_path(name);
    lay_writer *w = NULL;
    lay_error err = {0};
    lay_random random;
    lay_random_seed(&random, 5);
    if (lay_writer_open(path, LAY_FILE_WAV_FLOAT, RATE, 2, &w, &err) != LAY_OK) fail_msg("%s", err.message);
    for (int n = 0; n < seconds * RATE; n++) {
        double turns = TURNS_HZ * n / RATE, frame[2] = {0.05 * lay_random_normal(&random), 0};
        for (int h = 0; h < 3; h++) frame[0] += tones[h] * sin(2 * LAY_PI * 10 * (h + 1) * turns);
        frame[1] = turns - floor(turns) < 0.1 ? 0.8 : 0;
        assert_int_equal(lay_writer_write(w, frame, 1, &err), LAY_OK);
    }
    assert_int_equal(lay_writer_close(w, &err), LAY_OK);
    return path;
}

static void measure(const char *path, lay_run_evidence *run, lay_levels *out) {
    lay_run_spec spec = {.file = BORROWED("tones.wav"),
                         .path = BORROWED(path),
                         .gear = BORROWED("1"),
                         .load = LAY_LOAD_DRIVE,
                         .tach_channel = 2,
                         .pulses_per_rev = 1,
                         .tach_on = BORROWED(""),
                         .rpm_log = BORROWED(""),
                         .full_scale = 1,
                         .line = 2};
    lay_error err = {0};
    if (lay_run_analyse(unit, &spec, "runs.csv", NULL, run, &err) != LAY_OK) fail_msg("%s", err.message);
    if (lay_run_levels(unit, &spec, "runs.csv", run, out, &err) != LAY_OK) fail_msg("%s", err.message);
}

/* Looks that share no turn scatter by noise / sqrt(bins). */
static void test_scatter_of_noise(void **state) {
    (void)state;
    lay_run_evidence run;
    lay_levels v;
    measure(write_wav("noise.wav", 60, (const double[3]){0, 0, 0}), &run, &v);
    size_t hop = (size_t)lround(v.turns / 8), lines = 0;
    double ratio = 0;
    for (size_t k = 0; k < v.line_count; k++) {
        double sum = 0, squares = 0, noise = 0, n = 0;
        if (v.lines[k].sideband != 0) continue;
        for (size_t i = 0; i < v.looks; i += hop) {
            double x = v.power[i * v.line_count + k];
            sum += x, squares += x * x, noise += v.noise[i * v.line_count + k], n += 1;
        }
        double variance = squares / n - sum / n * (sum / n), due = noise / n * (noise / n) / v.lines[k].bins;
        assert_true(n > 60);
        ratio += variance / due;
        lines++;
    }
    print_message("variance over what is due, %zu lines: %.3f\n", lines, ratio / (double)lines);
    assert_true(lines >= 8);
    assert_close(ratio / (double)lines, 1, 0.12, 0);
    lay_levels_free(&v);
    lay_run_evidence_free(&run);
}

static int owner_of(const lay_run_evidence *run, const lay_levels *v, const char *part, int harmonic) {
    for (size_t k = 0; k < v->line_count; k++) {
        const lay_level_line *l = &v->lines[k];
        if (l->sideband == 0 && l->harmonic == harmonic && strcmp(run->expected[l->part].name, part) == 0)
            return l->owner;
    }
    fail_msg("no line %d of %s", harmonic, part);
    return -1;
}

/* The order both have is the headset's as long as the pair does not sing at its own orders. */
static void test_shared_order(void **state) {
    (void)state;
    static const struct {
        double tones[3];
        bool headset_owns, pair_owns_first;
    } cases[] = {{{0, 0.2, 0}, true, true}, {{0.02, 0.2, 0}, true, true}, {{0.2, 0.2, 0.1}, false, true}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lay_run_evidence run;
        lay_levels v;
        char name[24];
        snprintf(name, sizeof name, "tones-%zu.wav", i);
        measure(write_wav(name, 12, cases[i].tones), &run, &v);
        assert_int_equal(owner_of(&run, &v, "headset", 1) < 0, cases[i].headset_owns);
        assert_int_equal(owner_of(&run, &v, "first pair", 1) < 0, cases[i].pair_owns_first);
        assert_true(owner_of(&run, &v, "first pair", 2) >= 0); /* nobody could tell it from the headset's */
        lay_levels_free(&v);
        lay_run_evidence_free(&run);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_scatter_of_noise),
        cmocka_unit_test(test_shared_order),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
