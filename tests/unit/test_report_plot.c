/* The plot as a script: what is drawn, what labels say, and that no name breaks out of its quotes. */
#include <layshaft/report.h>

#include "report/plot_labels.h"
#include "report/utf8.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static lay_text script_of(const fixture *f, const char *png, const char *svg) {
    lay_text out = {0};
    lay_error err = {0};
    assert_int_equal(lay_report_plot_script(f->unit, &f->specs[0], &f->runs[0], 1, png, svg, &out, &err), LAY_OK);
    return out;
}

static void assert_has(const char *text, const char *words) {
    if (strstr(text, words) == NULL) fail_msg("'%s' is missing from:\n%.3000s", words, text);
}

static void test_script(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    lay_text out = script_of(&f, "job/a.png", "job/it's.svg");
    assert_has(out.text, "set title 'Run 1  third.wav   gear 3, drive, 1204 to 3187 rpm' noenhanced");
    assert_has(out.text, "set xlabel 'Order (events per turn of the input shaft)' noenhanced\n");
    assert_has(out.text, "set ylabel 'Level (dB re 1 um/s2)' noenhanced\n");
    assert_has(out.text, "size 1200,600");
    assert_has(out.text, "set output 'job/a.png'\nplot $spectrum");
    assert_has(out.text, "set output 'job/it''s.svg'\nplot $spectrum");
    assert_has(out.text, "$floor with lines");
    assert_has(out.text, "set label 'third pair' at ");
    assert_has(out.text, "set label 'third pair x2' at ");
    assert_has(out.text, "$class1 << END\n16.6552 55.00\n17.2500 71.20\n"); /* meshes: order and level */
    assert_has(out.text, "\n17.2500 71.2");                                 /* the curve keeps its peak */
    lay_text_free(&out);
    fixture_free(&f);
}

/* Every class has a shape of its own: colour is never the only sign. */
static void test_shapes(void **state) {
    (void)state;
    fixture f;
    fixture_make(&f);
    lay_text out = script_of(&f, "a.png", NULL);
    bool seen[100] = {false};
    int count = 0;
    for (const char *at = out.text; (at = strstr(at, " with points pt ")) != NULL; count++) {
        at += strlen(" with points pt ");
        int shape = atoi(at);
        assert_true(shape > 0 && shape < 100 && !seen[shape]);
        seen[shape] = true;
    }
    assert_int_equal(count, 6); /* shaft, mesh, engine, axle, ghost, fixed in Hz lie in view */
    lay_text_free(&out);
    fixture_free(&f);
}

static void test_labels_keep_clear(void **state) {
    (void)state;
    fixture f;
    lay_plot_label labels[LAY_PLOT_LABELS];
    fixture_make(&f);
    double top = lay_plot_max_order(&f.runs[0]), column = top / 140.0;
    assert_close(top, 1.1 * 41.3, 1e-9, 0);
    size_t count = lay_plot_labels_choose(f.unit, &f.runs[0], top, 140, labels);
    assert_int_equal(count, 10); /* all but the unknown one and the fourth of the third pair */
    bool strongest = false;
    for (size_t i = 0; i < count; i++) {
        const lay_plot_label *a = &labels[i];
        strongest = strongest || (strcmp(a->text, "third pair") == 0 && a->tier >= 0);
        double half = 0.5 * column * lay_utf8_columns(a->text);
        if (a->tier < 0) continue;
        assert_true(a->at - half >= 0.0 && a->at + half <= top);
        for (size_t k = 0; k < count; k++) {
            const lay_plot_label *b = &labels[k];
            if (k == i || b->tier < a->tier) continue;
            double other = 0.5 * column * lay_utf8_columns(b->text);
            if (b->tier == a->tier)
                assert_true(fabs(a->at - b->at) >= half + other);
            else
                assert_true(fabs(a->at - b->x) >= half); /* its leader passes beside the text */
        }
    }
    assert_true(strongest);
    fixture_free(&f);
}

static void test_hostile_names(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    lay_text out = {0};
    fixture_make(&f);
    f.specs[0].file = BORROWED("x'\nset output 'y");
    assert_int_equal(lay_report_plot_script(f.unit, &f.specs[0], &f.runs[0], 1, "a\nb.png", NULL, &out, &err),
                     LAY_BAD_INPUT);
    lay_text_free(&out);
    out = script_of(&f, "a.png", NULL);
    assert_has(out.text, "set title 'Run 1  x'' set output ''y   gear 3");
    lay_text_free(&out);
    fixture_free(&f);
}

static void test_degenerate_spectra(void **state) {
    (void)state;
    fixture f;
    lay_error err = {0};
    lay_text out = {0};
    fixture_make(&f);
    assert_int_equal(lay_report_plot_script(f.unit, &f.specs[1], &f.runs[1], 2, "a.png", NULL, &out, &err),
                     LAY_BAD_INPUT);
    memset(f.runs[0].spectrum.power, 0, FIXTURE_BINS * sizeof(double));
    f.runs[0].spectrum.floor[3] = NAN;
    f.runs[0].line_count = 0;
    lay_text_free(&out);
    out = script_of(&f, "a.png", NULL);
    assert_null(strstr(out.text, "nan"));
    assert_null(strstr(out.text, "inf"));
    lay_text_free(&out);
    fixture_free(&f);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_script), cmocka_unit_test(test_shapes),
                                       cmocka_unit_test(test_labels_keep_clear), cmocka_unit_test(test_hostile_names),
                                       cmocka_unit_test(test_degenerate_spectra)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
