/* The picture of a run's speed: what the script says, that no name breaks out of its quotes, that gnuplot draws it. */
#include <layshaft/report.h>

#include "report/speed_shades.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"
#include "support/speed_row.h"

#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define RATE 6000.0
#define MESH 17.25 /* third pair per turn of the input shaft: 27 x 23/36 */

static void assert_has(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from:\n%.400s", words, text);
}

/* Spectra of 20 s in which third pair and engine firing follow the shaft, in noise 10 dB louder at the end, mains hum
 * on top; the shaft stands still in the gaps. */
static lay_spectrogram map_of(const speed_fixture *f) {
    lay_stft_options o = lay_report_speed_map(fixture_unit, &f->speed);
    lay_stft *stft = NULL;
    lay_spectrogram map = {0};
    lay_error err = {0};
    lay_random random;
    lay_random_seed(&random, 41);
    o.rate = RATE;
    assert_int_equal(lay_stft_new(&o, &stft, &err), LAY_OK);
    for (size_t i = 0; i < (size_t)(20 * RATE); i++) {
        double t = (double)i / RATE, turns, hz, x = 0.1 * exp(0.06 * t) * lay_random_normal(&random);
        x += 0.05 * sin(2 * LAY_PI * 50 * t);
        if (lay_shaft_at(&f->speed.shaft, t, NULL, &turns, &hz))
            x += 0.1 * sin(2 * LAY_PI * MESH * turns) + 0.2 * sin(2 * LAY_PI * 3 * turns);
        lay_stft_feed(stft, &x, 1, 1);
    }
    assert_int_equal(lay_stft_finish(stft, &map, &err), LAY_OK);
    lay_stft_free(stft);
    return map;
}

static lay_text script_of(const speed_fixture *f, const lay_spectrogram *map, const char *png, const char *svg) {
    lay_text out = {0};
    lay_error err = {0};
    if (lay_report_speed_script(fixture_unit, &f->row, map, png, svg, &out, &err) != LAY_OK)
        fail_msg("%s", err.message);
    return out;
}

static void test_script(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    lay_spectrogram map = map_of(&f);
    lay_text out = script_of(&f, &map, "job/it's.png", "job/a.svg");
    assert_has(out.text, "set label 'Run 2  third.wav   gear 3' at screen");
    assert_has(out.text, "set label '1200 to 2920 rpm from the recording itself, as good as certain (97 %)' at screen");
    assert_has(out.text, "set output 'job/it''s.png'\n");
    assert_has(out.text, "set output 'job/a.svg'\n");
    assert_has(out.text, "set label 'third pair' at graph");
    assert_has(out.text, "set label 'order 17.25' at graph");
    assert_has(out.text, "set label 'engine firing' at graph");
    assert_has(out.text, "rectangle from 11.000, graph 0 to 12.400, graph 1");
    assert_has(out.text, "set label 'no speed' at 1.150");
    assert_has(out.text, "set label 'input shaft (rpm)' at screen");
    assert_has(out.text, "$speed << END\n2.300 1200.00 1176.00 1224.00\n");     /* 2 sd of 1 % */
    assert_has(out.text, "\n11.000 2070.00 2028.60 2111.40\n\n12.400 2260.00"); /* the gap stays open */
    assert_null(strstr(out.text, "not confirmed"));
    assert_null(strstr(out.text, "nan"));
    assert_null(strstr(out.text, "inf"));
    lay_text_free(&out);
    lay_spectrogram_free(&map);
    speed_fixture_free(&f);
}

static void test_unsure(void **state) {
    (void)state;
    speed_fixture f;
    speed_fixture_make(&f);
    lay_spectrogram map = map_of(&f);
    f.speed.shaft.confidence = 0.2;
    lay_text out = script_of(&f, &map, "a.png", NULL);
    assert_has(out.text, "set label 'not confirmed' at graph");
    assert_has(out.text, "from the recording itself, not confirmed (20 %)'");
    lay_text_free(&out);
    lay_shaft_free(&f.speed.shaft);
    f.speed.found = false;
    f.spec.file = BORROWED("x'\nset output 'y");
    out = script_of(&f, &map, "a.png", NULL);
    assert_has(out.text, "set label 'Run 2  x'' set output ''y   gear 3' at screen");
    lay_text_free(&out);
    lay_spectrogram_free(&map);
    speed_fixture_free(&f);
}

static void test_refusals(void **state) {
    (void)state;
    speed_fixture f;
    lay_text out = {0};
    lay_error err = {0};
    lay_spectrogram none = {0};
    speed_fixture_make(&f);
    lay_spectrogram map = map_of(&f);
    assert_int_equal(lay_report_speed_script(fixture_unit, &f.row, &none, "a.png", NULL, &out, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_report_speed_script(fixture_unit, &f.row, &map, "a\nb.png", NULL, &out, &err), LAY_BAD_INPUT);
    assert_null(out.text);
    lay_spectrogram_free(&map);
    speed_fixture_free(&f);
}

/* The darkest place of a column in the band of the mesh is where the mesh is; hum and a rising floor do not matter. */
static void test_shades(void **state) {
    (void)state;
    speed_fixture f;
    lay_shades shades;
    lay_error err;
    size_t right = 0, count = 0, dark = 0;
    speed_fixture_make(&f);
    lay_spectrogram m = map_of(&f);
    assert_int_equal(lay_shades_make(&m, &shades, &err), LAY_OK);
    for (size_t c = 0; c < m.columns; c++) {
        double turns, hz, t = m.start_s + (double)c * m.step_s;
        const unsigned char *column = shades.shade + c * m.bins;
        size_t first = (size_t)(200 / m.step_hz), best = first;
        for (size_t b = first; b < m.bins; b++) {
            if (column[b] > column[best]) best = b;
            dark += column[b] > 50;
        }
        if (!lay_shaft_at(&f.speed.shaft, t, NULL, &turns, &hz)) continue;
        count++;
        right += fabs((double)best * m.step_hz - MESH * hz) < 15;
    }
    assert_true(count > 50 && (double)right > 0.95 * (double)count);
    assert_true((double)dark < 0.05 * (double)(m.columns * m.bins)); /* noise stays light */
    lay_shades_free(&shades);
    memset(m.power, 0, m.columns * m.bins * sizeof *m.power);
    assert_int_equal(lay_shades_make(&m, &shades, &err), LAY_OK); /* silence is white */
    for (size_t i = 0; i < m.columns * m.bins; i++) assert_int_equal(shades.shade[i], 0);
    lay_shades_free(&shades);
    lay_spectrogram_free(&m);
    speed_fixture_free(&f);
}

/* Noise 40 dB stronger at low frequencies and 20 dB stronger at the end, a line 18 dB over it: white and dark all over.
 */
static void test_uneven_noise(void **state) {
    (void)state;
    lay_spectrogram m = {.columns = 200, .bins = 400, .step_s = 0.1, .step_hz = 5};
    lay_shades shades;
    lay_error err;
    lay_random random;
    size_t white[4] = {0}, dark[2] = {0};
    lay_random_seed(&random, 8);
    m.power = lay_calloc(m.columns * m.bins, sizeof *m.power);
    assert_non_null(m.power);
    for (size_t c = 0; c < m.columns; c++)
        for (size_t b = 0; b < m.bins; b++) {
            double db = 20.0 * (double)c / 200 - 40.0 * (double)b / 400 + (b == c + 50 ? 18.0 : 0);
            m.power[c * m.bins + b] = lay_db_to_power(db) * -log(1 - lay_random_unit(&random)); /* chi-square, 2 */
        }
    assert_int_equal(lay_shades_make(&m, &shades, &err), LAY_OK);
    for (size_t c = 0; c < m.columns; c++)
        for (size_t b = 0; b < m.bins; b++) {
            unsigned char shade = shades.shade[c * m.bins + b];
            if (b == c + 50)
                dark[c / 100] += shade > 25;
            else
                white[2 * (c / 100) + b / 200] += shade == 0;
        }
    for (size_t i = 0; i < 4; i++)
        assert_close((double)white[i] / 20000, 0.935, 0.025, 0); /* 6 dB over the median: 1 - 2^-4 */
    for (size_t i = 0; i < 2; i++) assert_true(dark[i] > 85);
    lay_shades_free(&shades);
    lay_spectrogram_free(&m);
}

static void assert_drawn(const speed_fixture *f, const lay_spectrogram *map, const char *name) {
    char png[40], svg[40];
    struct stat info;
    lay_error err = {0};
    snprintf(png, sizeof png, "%s.png", name);
    snprintf(svg, sizeof svg, "%s.svg", name);
    lay_text script = script_of(f, map, scratch_path(png), scratch_path(svg));
    lay_status status = lay_report_gnuplot(&script, &err);
    lay_text_free(&script);
    if (status != LAY_OK && strstr(err.message, "not installed") != NULL) return;
    if (status != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(stat(scratch_path(png), &info), 0);
    assert_true(info.st_size > 5000);
    assert_int_equal(stat(scratch_path(svg), &info), 0);
    assert_true(info.st_size > 5000 && info.st_size < 2000000); /* the map is an image in it, not a million boxes */
}

static void test_gnuplot(void **state) {
    (void)state;
    speed_fixture f;
    signal(SIGPIPE, SIG_IGN);
    scratch_open();
    speed_fixture_make(&f);
    lay_spectrogram map = map_of(&f);
    assert_drawn(&f, &map, "gaps");
    f.speed.shaft.confidence = 0.2;
    assert_drawn(&f, &map, "unsure");
    lay_shaft_free(&f.speed.shaft);
    f.speed.found = false;
    assert_drawn(&f, &map, "none");
    lay_spectrogram_free(&map);
    speed_fixture_free(&f);
    scratch_close();
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_script),       cmocka_unit_test(test_unsure),
                                       cmocka_unit_test(test_refusals),     cmocka_unit_test(test_shades),
                                       cmocka_unit_test(test_uneven_noise), cmocka_unit_test(test_gnuplot)};
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
