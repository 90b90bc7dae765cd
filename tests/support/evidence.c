#include "evidence.h"

#include <math.h>
#include <stdlib.h>

#include "cmocka_all.h"

#define BINS 7681 /* 0..120 */
#define AVERAGES 200.0
#define SPEED_HZ 30.0

/* Power a Hann window gives a tone `d` bins away (Harris 1978). */
static double hann_power(double d) {
    if (fabs(d) < 1e-9) return 1;
    if (fabs(fabs(d) - 1) < 1e-9) return 0.25;
    double h = sin(LAY_PI * d) / (LAY_PI * d * (1 - d * d));
    return h * h;
}

static void fill_power(lay_order_spectrum *s, const made_tone *tones, size_t count) {
    lay_random random;
    lay_random_seed(&random, 4711);
    for (size_t i = 0; i < s->bins; i++) {
        s->floor[i] = 1;
        s->power[i] = fmax(0.5, 1 + lay_random_normal(&random) / sqrt(AVERAGES));
        for (size_t t = 0; t < count; t++) {
            double away = (double)i - tones[t].order / s->step;
            if (fabs(away) < 12) s->power[i] += lay_db_to_power(tones[t].db) * hann_power(away);
        }
        s->map[i] = s->power[i];
    }
}

static void make_spectrum(lay_order_spectrum *s, const made_tone *tones, size_t count) {
    *s = (lay_order_spectrum){.step = 1.0 / 64,
                              .bins = BINS,
                              .enbw = 1.5,
                              .segments = 300,
                              .averages = AVERAGES,
                              .revolutions = 64 * 150,
                              .mean_hz = SPEED_HZ,
                              .min_hz = SPEED_HZ,
                              .max_hz = SPEED_HZ,
                              .classes = 1};
    double **arrays[] = {&s->power, &s->floor, &s->map};
    double **single[] = {&s->top_order, &s->class_hz, &s->class_segments};
    for (int i = 0; i < 3; i++) {
        *arrays[i] = lay_calloc(BINS, sizeof(double));
        *single[i] = lay_calloc(1, sizeof(double));
        assert_non_null(*arrays[i]);
        assert_non_null(*single[i]);
    }
    s->top_order[0] = 120;
    s->class_hz[0] = SPEED_HZ;
    s->class_segments[0] = 300;
    fill_power(s, tones, count);
}

void evidence_make(lay_run_evidence *run, const lay_unit *unit, const char *gear, const made_tone *tones,
                   size_t count) {
    lay_error err = {0};
    lay_line *lines = NULL;
    *run = (lay_run_evidence){.gear = lay_unit_gear(unit, gear),
                              .load = LAY_LOAD_DRIVE,
                              .full_scale = 1,
                              .duration_s = 320,
                              .usable = true,
                              .tach_body = -1,
                              .speed_source = LAY_SPEED_TACH,
                              .speed_confidence = 1,
                              .mean_hz = SPEED_HZ,
                              .min_hz = SPEED_HZ,
                              .max_hz = SPEED_HZ,
                              .revolutions = 64 * 150};
    assert_true(run->gear >= 0);
    assert_int_equal(lay_unit_solve(unit, run->gear, &run->kinematics, &err), LAY_OK);
    assert_int_equal(lay_unit_expect(unit, &run->kinematics, &run->expected, &run->expected_count, &err), LAY_OK);
    make_spectrum(&run->spectrum, tones, count);
    assert_int_equal(lay_lines_find(&run->spectrum, 3, &lines, &run->line_count, &err), LAY_OK);
    run->lines = lay_calloc(run->line_count + 1, sizeof *run->lines);
    assert_non_null(run->lines);
    for (size_t i = 0; i < run->line_count; i++) run->lines[i].line = lines[i];
    free(lines);
    lay_run_explain(unit, run);
}

const lay_explained_line *evidence_line(const lay_run_evidence *run, double order) {
    for (size_t i = 0; i < run->line_count; i++)
        if (fabs(run->lines[i].line.order - order) < 0.02) return &run->lines[i];
    fail_msg("no line at order %g", order);
    return NULL;
}
