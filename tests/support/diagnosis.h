/* A diagnosis made by hand: an invented five-speed with two runs, every class of line, names on demand. */
#ifndef TESTS_SUPPORT_DIAGNOSIS_H
#define TESTS_SUPPORT_DIAGNOSIS_H

#include <layshaft/judge.h>

/* A literal where a struct wants an owned string; fixtures never free these. */
#define BORROWED(text) ((char *)(text))

#define FIXTURE_RUNS 2
#define FIXTURE_LINES 12
#define FIXTURE_BINS 6401 /* orders 0..100 in steps of 1/64 */

typedef struct fixture {
    lay_unit *unit;
    lay_run_table table;
    lay_diagnosis diagnosis;
    lay_run_spec specs[FIXTURE_RUNS];
    lay_run_evidence runs[FIXTURE_RUNS];
    lay_explained_line lines[FIXTURE_LINES];
    lay_suspect suspects[3];
} fixture;

/* Text of the unit: gears 3, 4, N; meshes headset and third pair; a bearing, engine, axle and a rotor. */
extern const char fixture_unit_text[];
/* That text parsed: group set-up and tear-down of the tests that need it. */
extern lay_unit *fixture_unit;
int fixture_unit_make(void **state);
int fixture_unit_free(void **state);

/* Run 1: usable, third gear, drive, calibrated in m/s2, twelve lines. Run 2: not usable, with two warnings. The verdict
 * is attention with three suspects, the first one third pair at 71.2 dB. Strings are borrowed: replace them freely by
 * literals. Release with fixture_free, never with lay_diagnosis_free. */
void fixture_make(fixture *f);
void fixture_free(fixture *f);

#endif
