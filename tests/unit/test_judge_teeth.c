/* A tooth count of the unit file that the recordings contradict is named; a correct file is not doubted. */
#include <layshaft/judge.h>

#include "support/cmocka_all.h"
#include "support/simulated.h"
#include "support/unit_text.h"

#include <stdio.h>
#include <string.h>

/* Counts to fill in: headset, third pair, second pair. */
static const char form[] = "[unit]\nname = Bench five-speed\ndriven by = input shaft\noutput = mainshaft\n"
                           "[mesh headset]\ndriver = input shaft, %d\ndriven = countershaft, %d\n"
                           "[mesh third pair]\ndriver = countershaft, %d\ndriven = third gear, %d\n"
                           "[mesh second pair]\ndriver = countershaft, %d\ndriven = second gear, %d\n"
                           "[gear 2]\nlock = second gear, mainshaft\n"
                           "[gear 3]\nlock = third gear, mainshaft\n"
                           "[gear 4]\nlock = input shaft, mainshaft\n"
                           "[gear N]\nlock = mainshaft, case\n";

typedef struct counts {
    int teeth[6];
} counts;

static const counts truth = {{23, 36, 27, 29, 21, 35}};

static void write_unit(const counts *c, char *out, size_t size) {
    snprintf(out, size, form, c->teeth[0], c->teeth[1], c->teeth[2], c->teeth[3], c->teeth[4], c->teeth[5]);
}

/* Diagnose a whine of mesh `mesh` (0 headset, 1 third, 2 second pair) with the file's counts; all warnings go to
 * `said`. */
static void listen(int mesh, const counts *file, uint64_t seed, lay_text *said) {
    char made[1200], read_as[1200];
    write_unit(&truth, made, sizeof made);
    write_unit(file, read_as, sizeof read_as);
    lay_unit *unit = unit_of(made), *used = NULL;
    lay_fault fault = {.kind = LAY_FAULT_MESH, .index = mesh, .drive = true, .coast = true, .strength_db = 14};
    lay_sim_options options = {.seed = seed,
                               .world = LAY_WORLD_STAND,
                               .tach = true,
                               .rate = 16000,
                               .seconds = 6,
                               .faults = &fault,
                               .fault_count = mesh >= 0};
    if (mesh < 0) options.kinds = 1u << LAY_FAULT_NONE;
    lay_diagnosis d = {0};
    simulated_diagnosis(unit, &options, read_as, &d, &used);
    for (size_t r = 0; r < d.run_count; r++)
        if (d.runs[r].warnings.text) lay_text_add(said, "%s", d.runs[r].warnings.text);
    lay_diagnosis_free(&d);
    lay_unit_free(used);
    lay_unit_free(unit);
}

static void expect_named(int mesh, int wheel, int by, const char *sentence) {
    counts file = truth;
    lay_text said = {0};
    file.teeth[wheel] += by;
    listen(mesh, &file, 11, &said);
    if (!said.text || !strstr(said.text, sentence))
        fail_msg("'%s' is not in: %s", sentence, said.text ? said.text : "");
    lay_text_free(&said);
}

static void a_wrong_driver_is_named(void **state) {
    (void)state;
    expect_named(1, 2, 1, "third pair: the wheel on 'countershaft' behaves like 27 teeth, the unit file says 28");
    expect_named(2, 4, -1, "second pair: the wheel on 'countershaft' behaves like 21 teeth, the unit file says 20");
    expect_named(0, 0, 1, "headset: the wheel on 'input shaft' behaves like 23 teeth, the unit file says 24");
}

static void a_wrong_wheel_before_the_whine_is_named(void **state) {
    (void)state;
    expect_named(1, 1, 1, "headset: the wheel on 'countershaft' behaves like 36 teeth, the unit file says 37");
    expect_named(2, 0, -1, "headset: the wheel on 'input shaft' behaves like 23 teeth, the unit file says 22");
}

static void a_right_file_is_not_doubted(void **state) {
    (void)state;
    for (int mesh = -1; mesh < 3; mesh++) {
        lay_text said = {0};
        listen(mesh, &truth, (uint64_t)(20 + mesh), &said);
        if (said.text && strstr(said.text, "behaves like")) fail_msg("%s", said.text);
        lay_text_free(&said);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_wrong_driver_is_named),
        cmocka_unit_test(a_wrong_wheel_before_the_whine_is_named),
        cmocka_unit_test(a_right_file_is_not_doubted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
