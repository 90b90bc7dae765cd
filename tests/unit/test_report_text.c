/* The terminal report: what it says, and that no name on earth makes it wider than the terminal. */
#include <layshaft/report.h>

#include "report/utf8.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The report of a fixture; caller frees. */
static lay_text text_of(const fixture *f, bool colour, int width) {
    lay_text out = {0};
    assert_int_equal(lay_report_text(f->unit, &f->table, &f->diagnosis, colour, width, &out), LAY_OK);
    assert_non_null(out.text);
    return out;
}

/* Take "ESC [ ... m" out, in place. */
static void strip_colour(char *text) {
    char *to = text;
    for (const char *from = text; *from;) {
        if (from[0] == '\033' && from[1] == '[')
            from = strchr(from, 'm') + 1;
        else
            *to++ = *from++;
    }
    *to = 0;
}

/* No line wider than `width`, no controls but newlines, no broken UTF-8, no blanks before a line's end. */
static void assert_page(char *text, int width) {
    for (char *line = text; *line;) {
        char *end = strchr(line, '\n');
        assert_non_null(end);
        *end = 0;
        if (lay_utf8_columns(line) > width) fail_msg("%d columns: %s", lay_utf8_columns(line), line);
        uint32_t code;
        for (const char *c = line; *c; c += lay_utf8_next(c, &code)) {
            lay_utf8_next(c, &code);
            if (code < 0x20 || (code == 0xFFFD && (unsigned char)*c != 0xEF)) fail_msg("unsafe byte in: %s", line);
        }
        if (end > line && end[-1] == ' ') fail_msg("blank at the end of: %s", line);
        *end = '\n';
        line = end + 1;
    }
}

static void assert_says(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from:\n%s", words, text);
}

static void test_says(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    lay_text out = text_of(&f, false, 0);
    assert_says(out.text, "ATTENTION: a part of the transmission stands out");
    assert_says(out.text, "1. third pair\n");
    assert_says(out.text, "third gear (29 teeth)");
    assert_says(out.text, "very likely (94 %)");
    assert_says(out.text, "71.2 dB re 1 um/s2, 21.3 dB above the noise floor");
    assert_says(out.text, "14.2 dB over the noise around it: heard as a tone");
    assert_says(out.text, "run 1: third.wav, gear 3, drive");
    assert_says(out.text, "axle (these recordings cannot separate them)");
    assert_says(out.text, "Tooth flanks of third gear on the drive side");
    assert_says(out.text, "2. headset");
    assert_says(out.text, "3. unknown source: unlikely (under 1 %)");
    assert_says(out.text, "gear 4 on drive, 15 s");
    assert_says(out.text, "1204 to 3187 rpm, mean 2110, from tach pulses (99 % sure)");
    assert_says(out.text, "    34.500   1213.5   64.0  22.0   7.0  third pair, harmonic 2 (97 %)");
    assert_says(out.text, "Warning: channel 1: 214 samples are clipped");
    assert_says(out.text, "never a\ncertificate");
    assert_page(out.text, 80);
    lay_text_free(&out);
    fixture_free(&f);
}

static void test_colour_repeats_the_words(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    lay_text plain = text_of(&f, false, 80), inked = text_of(&f, true, 80);
    assert_null(strchr(plain.text, '\033'));
    assert_non_null(strchr(inked.text, '\033'));
    strip_colour(inked.text);
    assert_string_equal(plain.text, inked.text);
    lay_text_free(&plain);
    lay_text_free(&inked);
    fixture_free(&f);
}

/* Every name of the fixture replaced by one and the same; all widths. */
static void survives(const char *name) {
    fixture f;
    fixture_make(&f);
    char *reasons[] = {BORROWED(name)};
    for (int i = 0; i < FIXTURE_RUNS; i++) f.specs[i].file = BORROWED(name);
    f.specs[1].gear = BORROWED(name);
    f.suspects[0].part = f.suspects[0].body = f.suspects[1].part = BORROWED(name);
    f.suspects[0].reasons = f.suspects[0].not_separable_from = (lay_strings){reasons, 1, 1};
    f.diagnosis.verdict.summary = BORROWED(name);
    for (size_t i = 0; i < f.runs[0].expected_count; i++) f.runs[0].expected[i].name = name;
    for (size_t i = 0; i < f.unit->body_count; i++) {
        free(f.unit->bodies[i].name);
        f.unit->bodies[i].name = lay_strdup(name);
    }
    for (int width = 60; width <= 130; width += 7) {
        lay_text out = text_of(&f, true, width);
        strip_colour(out.text);
        assert_page(out.text, width);
        lay_text_free(&out);
    }
    fixture_free(&f);
}

static void test_hostile_names(void **state) {
    (void)state;
    survives("");
    survives("a name that goes on and on with many words about where in the case this wheel is to be found, and why");
    survives("DonaudampfschifffahrtsgetriebezwischenwellenschraegzahnradpaarhinterdemlagerbockDonaudampfschifffahrtsget"
             "riebe");
    survives(
        "\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4"
        "\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4");
    survives("\033]0;title\007\033[2J\r\n%s%n\xFF\xC0\xAF \xE2\x80\xAE end");
}

static void test_extreme_numbers(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    const double values[] = {NAN, INFINITY, -INFINITY, 1e300, -1e300, 0.0};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
        f.suspects[0].probability = f.suspects[0].level_db = f.suspects[0].prominence_db = values[i];
        f.runs[0].duration_s = f.runs[0].mean_hz = f.runs[0].speed_confidence = f.runs[0].speed_correction = values[i];
        f.lines[5].line.order = f.lines[5].line.hz = f.lines[5].line.power = f.lines[5].line.tnr_db = values[i];
        lay_text out = text_of(&f, false, 80);
        assert_page(out.text, 80);
        lay_text_free(&out);
    }
    fixture_free(&f);
}

static void test_nothing_found(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    f.diagnosis.verdict.suspect_count = 0;
    f.diagnosis.verdict.outcome = LAY_CLEAR;
    f.runs[0].line_count = 0;
    lay_text out = text_of(&f, false, 80);
    assert_says(out.text, "CLEAR: nothing stands out");
    assert_says(out.text, "none stands out of the noise");
    assert_null(strstr(out.text, "What else"));
    lay_text_free(&out);
    fixture_free(&f);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_says), cmocka_unit_test(test_colour_repeats_the_words),
                                       cmocka_unit_test(test_hostile_names), cmocka_unit_test(test_extreme_numbers),
                                       cmocka_unit_test(test_nothing_found)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
