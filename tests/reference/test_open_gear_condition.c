/* Gear condition on open measurements (origins in the README beside the data): what the gear bench holds is reported as
 * what it is; what the healthy and the broken gear rig show by the usual indicators, and what they do not. */
#include <layshaft/judge.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/open_record.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Counts as in test_open_gear.c: the bench's wheel of 47 is invented, the rig's counts make its lines. */
static const char bench[] = "[unit]\nname = Gear bench\ndriven by = pinion shaft\noutput = wheel shaft\n"
                            "[mesh pair]\ndriver = pinion shaft, 23\ndriven = wheel shaft, 47\n[gear 1]\n";
static const char rig[] = "[unit]\nname = Gear rig\ndriven by = input shaft\noutput = output shaft\n"
                          "[mesh first stage]\ndriver = input shaft, 32\ndriven = layshaft, 96\n"
                          "[mesh second stage]\ndriver = layshaft, 32\ndriven = output shaft, 64\n[gear 1]\n";

static lay_run_table table_of(const char *const *files, size_t count, double rpm) {
    lay_text rows = {0};
    lay_run_table table = {0};
    lay_error err = {0};
    lay_text_add(&rows, "file,gear,load,rpm\n");
    for (size_t i = 0; i < count; i++) lay_text_add(&rows, "%s,1,drive,%.0f\n", files[i], rpm);
    char *place = lay_path_join(open_data_folder(), "runs.csv");
    if (lay_run_table_parse(rows.text, rows.length, place, &table, &err) != LAY_OK) fail_msg("%s", err.message);
    free(place);
    lay_text_free(&rows);
    return table;
}

static const lay_explained_line *line_near(const lay_run_evidence *run, double order) {
    const lay_explained_line *best = NULL;
    for (size_t i = 0; i < run->line_count; i++)
        if (fabs(run->lines[i].line.order - order) < 0.02 && (!best || run->lines[i].line.power > best->line.power))
            best = &run->lines[i];
    return best;
}

/* Mesh 23, its sidebands one turn of the pinion away, the blows at 5.148 that nothing in the unit file makes, and their
 * sidebands 1.188 about the mesh, which belong to no wheel: labels.csv and the README beside the data. */
static void the_bench_is_reported_as_what_it_is(void **state) {
    (void)state;
    static const char *const files[] = {"gear_bench_chan01.wav", "gear_bench_chan11.wav", "gear_bench_chan12.wav",
                                        "gear_bench_chan25.wav"};
    lay_unit *unit = unit_of(bench);
    lay_run_table table = table_of(files, 4, 2000);
    lay_diagnosis d = {0};
    lay_error err = {0};
    if (lay_diagnose(unit, &table, NULL, NULL, NULL, &d, &err) != LAY_OK) fail_msg("%s", err.message);
    for (size_t r = 0; r < 4; r++) {
        const lay_run_evidence *run = &d.runs[r];
        for (int side = -1; side <= 1; side += 2) {
            const lay_explained_line *own = line_near(run, 23.0 + side), *strange = line_near(run, 23.0 + 1.188 * side);
            assert_non_null(own);
            assert_int_equal(own->claims[0].class_, LAY_LINE_MESH);
            assert_int_equal(own->claims[0].sideband, side);
            assert_string_equal(unit->bodies[own->claims[0].body].name, "pinion shaft");
            assert_non_null(strange);
            assert_true(strange->claim_count == 0 || strange->claims[0].class_ == LAY_LINE_UNKNOWN);
        }
        const lay_explained_line *family = line_near(run, 5.148);
        assert_non_null(family);
        assert_true(family->claim_count == 0 || family->claims[0].class_ == LAY_LINE_UNKNOWN);
    }
    assert_true(d.verdict.stranger.found);
    assert_close(d.verdict.stranger.times, 5.148, 0.003, 0);
    for (size_t i = 0; i < d.verdict.suspect_count; i++)
        assert_int_equal(d.verdict.suspects[i].kind == LAY_KIND_CHIP, 0);
    lay_diagnosis_free(&d);
    lay_run_table_free(&table);
    lay_unit_free(unit);
}

/* ---- the rig ---- */

typedef struct indicators {
    double fm0, fm4, na4, kurtosis, er, slf, place;
} indicators;

static lay_status feed(const double *frames, size_t count, void *user, lay_error *err) {
    return lay_tsa_feed(user, frames, count, err);
}

/* Indicators of a wheel of 32 teeth that turns `order` times, of every channel. */
static size_t measure(const lay_unit *unit, const lay_run_table *table, double order, indicators *out) {
    static const int teeth[] = {32};
    const lay_condition_options options = {.teeth = teeth, .mesh_count = 1, .shaft = -1, .sidebands = -1};
    lay_run_evidence run;
    lay_run_stream *stream = NULL;
    lay_tsa *tsa = NULL;
    lay_tsa_average a;
    lay_error err = {0};
    if (lay_run_analyse(unit, &table->runs[0], table->path, NULL, &run, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_true(run.usable);
    assert_int_equal(lay_run_stream_open(unit, &table->runs[0], table->path, &stream, &err), LAY_OK);
    const lay_tsa_options o = {.rate = lay_run_stream_rate(stream),
                               .channels = lay_run_stream_channels(stream),
                               .bodies = &order,
                               .body_count = 1,
                               .max_order = fmin(100 * order, 0.45 * lay_run_stream_rate(stream) / run.max_hz),
                               .records = 4};
    assert_int_equal(lay_tsa_new(&o, &run.shaft, &tsa, &err), LAY_OK);
    assert_int_equal(lay_run_stream_each(stream, feed, tsa, &err), LAY_OK);
    assert_int_equal(lay_tsa_finish(tsa, &a, &err), LAY_OK);
    for (size_t c = 0; c < a.channels; c++) {
        lay_condition k;
        assert_int_equal(lay_condition_of(a.mean + c * a.points, a.points, NULL, 0, &options, &k, &err), LAY_OK);
        out[c] = (indicators){k.fm0, k.fm4, k.na4, k.kurtosis, k.er, k.slf, k.worst_ratio};
    }
    size_t channels = a.channels;
    lay_tsa_average_free(&a);
    lay_tsa_free(tsa);
    lay_run_stream_close(stream);
    lay_run_evidence_free(&run);
    return channels;
}

/* Healthy without load, broken without load, healthy under 90 %: where the broken one lies between or beside the two
 * healthy ones depends on the channel, and the two healthy ones differ as much from one another. No indicator orders
 * them alike on all channels of both wheels; docs/accuracy.md holds the table printed here. */
static void the_rig_does_not_separate(void **state) {
    (void)state;
    static const char *const files[] = {"sq_gearbox_h30hz0.wav", "sq_gearbox_b30hz0.wav", "sq_gearbox_h30hz90.wav"};
    static const char *const names[] = {"healthy, no load", "broken, no load", "healthy, 90 %"};
    static const double orders[] = {1, 1.0 / 3};
    lay_unit *unit = unit_of(rig);
    int above[7] = {0}, cases = 0;
    for (int w = 0; w < 2; w++) {
        indicators all[3][8];
        size_t channels = 0;
        for (size_t f = 0; f < 3; f++) {
            lay_run_table table = table_of(&files[f], 1, 1800);
            channels = measure(unit, &table, orders[w], all[f]);
            lay_run_table_free(&table);
            for (size_t c = 0; c < channels; c++) {
                const indicators *i = &all[f][c];
                print_message("%-17s wheel at %.3f, channel %zu: FM0 %.2f FM4 %.2f NA4 %.2f kurtosis %.2f ER %.2f SLF "
                              "%.2f one tooth %.1f\n",
                              names[f], orders[w], c + 1, i->fm0, i->fm4, i->na4, i->kurtosis, i->er, i->slf, i->place);
                assert_true(isfinite(i->fm4) && i->fm4 > 1);
            }
        }
        for (size_t c = 0; c < channels; c++, cases++) {
            const double *h0 = &all[0][c].fm0, *b = &all[1][c].fm0, *h9 = &all[2][c].fm0;
            for (int k = 0; k < 7; k++) above[k] += b[k] > h0[k] && b[k] > h9[k];
        }
    }
    for (int k = 0; k < 7; k++) {
        print_message("indicator %d: broken above both healthy ones in %d of %d\n", k, above[k], cases);
        assert_true(above[k] < cases);
    }
    lay_unit_free(unit);
}

int main(void) {
    if (!open_data_present()) {
        printf("skipped: open data not present\n");
        return 77;
    }
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_bench_is_reported_as_what_it_is),
        cmocka_unit_test(the_rig_does_not_separate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
