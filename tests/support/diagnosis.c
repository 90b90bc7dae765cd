#include "diagnosis.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cmocka_all.h"

const char fixture_unit_text[] =
    "[unit]\nname = Bench five-speed\ndriven by = input shaft\noutput = mainshaft\n"
    "[mesh headset]\ndriver = input shaft, 23\ndriven = countershaft, 36\n"
    "[mesh third pair]\ndriver = countershaft, 27\ndriven = third gear, 29\n"
    "[gear 3]\nlock = third gear, mainshaft\n"
    "[gear 4]\nlock = input shaft, mainshaft\n"
    "[gear N]\nlock = mainshaft, case\n"
    "[bearing countershaft front]\ninner = countershaft\nouter = case\nrolling elements = 9\n"
    "element diameter = 9.5 mm\npitch diameter = 46 mm\ncontact angle = 0 deg\n"
    "[engine]\ncylinders = 6\nstrokes = 4\nturns with = input shaft\n"
    "[axle]\npinion = 11\nring = 41\n"
    "[other alternator]\nturns with = input shaft\nratio = 2.7\norders = 1, 6\n";

typedef struct line_row {
    lay_line_class class_;
    const char *part, *body;
    int harmonic, sideband;
    double order, level_db; /* re 1 um/s2 */
} line_row;

/* Orders of third gear: headset 23; countershaft 23/36; third pair 17.25; third gear 17.25/29. */
static const line_row rows[FIXTURE_LINES] = {
    {LAY_LINE_SHAFT, NULL, "input shaft", 1, 0, 1.0, 58.0},
    {LAY_LINE_ENGINE, "engine", NULL, 1, 0, 3.0, 66.0},
    {LAY_LINE_ENGINE, "engine", NULL, 2, 0, 6.0, 60.0},
    {LAY_LINE_AXLE, "axle", NULL, 1, 0, 11.0 * 17.25 / 29.0, 52.0},
    {LAY_LINE_MESH, "third pair", "third gear", 1, -1, 17.25 - 17.25 / 29.0, 55.0},
    {LAY_LINE_MESH, "third pair", NULL, 1, 0, 17.25, 71.2},
    {LAY_LINE_MESH, "third pair", "third gear", 1, 1, 17.25 + 17.25 / 29.0, 56.0},
    {LAY_LINE_MESH, "headset", NULL, 1, 0, 23.0, 61.0},
    {LAY_LINE_GHOST, "third pair", "third gear", 47, 0, 47.0 * 17.25 / 29.0, 54.0},
    {LAY_LINE_MESH, "third pair", NULL, 2, 0, 34.5, 64.0},
    {LAY_LINE_FIXED_HZ, NULL, NULL, 0, 0, 41.3, 50.0},
    {LAY_LINE_UNKNOWN, NULL, NULL, 0, 0, 48.77, 51.0},
};

static int part_of(const lay_run_evidence *run, const char *name) {
    for (size_t i = 0; name != NULL && i < run->expected_count; i++)
        if (strcmp(run->expected[i].name, name) == 0) return (int)i;
    return -1;
}

/* Mean square in digital full scale of 490.3 m/s2. */
static double power_of(double level_db) {
    return pow(10.0, (level_db - 120.0) / 10.0) / (490.3 * 490.3);
}

static void make_lines(fixture *f, lay_run_evidence *run) {
    for (int i = 0; i < FIXTURE_LINES; i++) {
        const line_row *r = &rows[i];
        lay_explained_line *l = &f->lines[i];
        l->line = (lay_line){.order = r->order,
                             .order_sd = 0.002,
                             .hz = r->order * 2110.4 / 60.0,
                             .power = power_of(r->level_db),
                             .above_floor_db = r->level_db - 42.0,
                             .significance = 12.0,
                             .tnr_db = r->level_db - 57.0,
                             .pr_db = r->level_db - 57.0,
                             .bin = (size_t)(r->order * 64.0)};
        if (r->class_ == LAY_LINE_UNKNOWN) continue;
        l->claims[0] = (lay_claim){r->class_,
                                   part_of(run, r->part),
                                   r->harmonic,
                                   r->sideband,
                                   r->body != NULL ? lay_unit_body(f->unit, r->body) : -1,
                                   r->order,
                                   0.97};
        l->claim_count = 1;
    }
    f->lines[9].claims[1] = (lay_claim){LAY_LINE_ROTOR, part_of(run, "alternator"), 12, 0, -1, 34.5, 0.03};
    f->lines[9].claim_count = 2;
    run->lines = f->lines;
    run->line_count = FIXTURE_LINES;
}

static void make_spectrum(lay_run_evidence *run) {
    lay_order_spectrum *s = &run->spectrum;
    lay_random random;
    lay_random_seed(&random, 2385);
    s->step = 1.0 / 64.0;
    s->bins = FIXTURE_BINS;
    s->power = lay_calloc(FIXTURE_BINS, sizeof(double));
    s->floor = lay_calloc(FIXTURE_BINS, sizeof(double));
    assert_non_null(s->power);
    assert_non_null(s->floor);
    for (size_t i = 0; i < FIXTURE_BINS; i++) {
        s->floor[i] = power_of(44.0 - 0.15 * (double)i / 64.0);
        double wobble = 1.0 + 0.25 * lay_random_normal(&random);
        s->power[i] = s->floor[i] * (wobble > 0.2 ? wobble : 0.2);
    }
    for (size_t i = 0; i < run->line_count; i++) s->power[run->lines[i].line.bin] += run->lines[i].line.power;
}

static void make_runs(fixture *f) {
    lay_error err;
    lay_run_evidence *run = &f->runs[0];
    *run = (lay_run_evidence){.gear = lay_unit_gear(f->unit, "3"),
                              .load = LAY_LOAD_DRIVE,
                              .sensor = LAY_SENSOR_ACCEL,
                              .quantity = LAY_ACCELERATION,
                              .duration_s = 18.2,
                              .usable = true,
                              .speed_source = LAY_SPEED_TACH,
                              .speed_confidence = 0.99,
                              .mean_hz = 2110.4 / 60.0,
                              .min_hz = 1204.0 / 60.0,
                              .max_hz = 3187.2 / 60.0,
                              .revolutions = 640.0};
    assert_int_equal(lay_unit_solve(f->unit, run->gear, &run->kinematics, &err), LAY_OK);
    assert_int_equal(lay_unit_expect(f->unit, &run->kinematics, &run->expected, &run->expected_count, &err), LAY_OK);
    make_lines(f, run);
    make_spectrum(run);
    f->runs[1] = (lay_run_evidence){.gear = -1, .quantity = LAY_FULL_SCALE, .duration_s = 4.0};
    lay_text_add(&f->runs[1].warnings,
                 "no speed: the table gives neither tach_channel nor rpm for this run; add one of them\n"
                 "channel 1: 214 samples are clipped: record again with less gain\n");
    f->specs[0] = (lay_run_spec){.file = BORROWED("third.wav"),
                                 .path = BORROWED("third.wav"),
                                 .gear = BORROWED("3"),
                                 .load = LAY_LOAD_DRIVE,
                                 .full_scale = 490.3,
                                 .quantity = LAY_ACCELERATION,
                                 .line = 2};
    f->specs[1] = (lay_run_spec){.file = BORROWED("unknown.wav"),
                                 .path = BORROWED("unknown.wav"),
                                 .gear = BORROWED(""),
                                 .full_scale = 1.0,
                                 .line = 3};
    f->table = (lay_run_table){.path = BORROWED("runs.csv"), .runs = f->specs, .count = FIXTURE_RUNS};
}

static char *first_reasons[] = {
    BORROWED("The order 17.250 and its double stand 21 dB over the noise under drive and vanish on coast."),
    BORROWED("Sidebands at the turns of the third gear show that this wheel takes part.")};
static char *first_checks[] = {
    BORROWED("Tooth flanks of third gear on the drive side: contact pattern, pitting, scoring."),
    BORROWED("Backlash of the pair, and the needle bearing under third gear.")};
static char *first_twins[] = {BORROWED("axle")};
static char *second_reasons[] = {BORROWED("It makes order 23.000, which is 3.9 dB over the noise.")};
static char *to_add[] = {BORROWED("gear 4 on drive, 15 s, rising slowly from 1200 to 3200 rpm")};

static void make_verdict(fixture *f) {
    f->suspects[0] = (lay_suspect){.part = BORROWED("third pair"),
                                   .kind = LAY_KIND_MESH,
                                   .body = BORROWED("third gear"),
                                   .probability = 0.94,
                                   .level_db = 71.2,
                                   .quantity = LAY_ACCELERATION,
                                   .above_floor_db = 21.3,
                                   .prominence_db = 14.2,
                                   .audible = true,
                                   .best_run = 0,
                                   .reasons = {first_reasons, 2, 2},
                                   .checks = {first_checks, 2, 2},
                                   .not_separable_from = {first_twins, 1, 1}};
    f->suspects[1] = (lay_suspect){.part = BORROWED("headset"),
                                   .kind = LAY_KIND_MESH,
                                   .probability = 0.04,
                                   .level_db = 61.0,
                                   .quantity = LAY_ACCELERATION,
                                   .above_floor_db = 19.0,
                                   .prominence_db = 3.9,
                                   .reasons = {second_reasons, 1, 1}};
    f->suspects[2] = (lay_suspect){.part = NULL,
                                   .kind = LAY_KIND_OUTSIDE,
                                   .probability = 0.004,
                                   .level_db = NAN,
                                   .above_floor_db = NAN,
                                   .prominence_db = NAN,
                                   .best_run = -1};
    f->diagnosis = (lay_diagnosis){.runs = f->runs, .run_count = FIXTURE_RUNS};
    f->diagnosis.verdict = (lay_verdict){
        .outcome = LAY_ATTENTION,
        .summary = BORROWED("The third pair sings in gear 3 on drive; the wheel of third gear is the likelier one."),
        .suspects = f->suspects,
        .suspect_count = 3,
        .add = {to_add, 1, 1}};
}

void fixture_make(fixture *f) {
    lay_error err;
    *f = (fixture){0};
    assert_int_equal(lay_unit_parse(fixture_unit_text, strlen(fixture_unit_text), "unit.ini", &f->unit, &err), LAY_OK);
    make_runs(f);
    make_verdict(f);
}

void fixture_free(fixture *f) {
    for (int i = 0; i < FIXTURE_RUNS; i++) {
        lay_kinematics_free(&f->runs[i].kinematics);
        free(f->runs[i].expected);
        free(f->runs[i].spectrum.power);
        free(f->runs[i].spectrum.floor);
        lay_text_free(&f->runs[i].warnings);
    }
    lay_unit_free(f->unit);
}
